"""The newest word of `ribangle live`, which runs as a process of its own, for the page to show."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec

FORGOTTEN_S = 24 * 3600.0
"""After so long without a word, seconds, a run that never said that it ended is no news any more."""


def silent_after(every_s: float) -> float:
    """Seconds without a word after which a run is said to be silent: three photos missed, a minute at least."""
    return max(60.0, 3 * every_s)


def page_tree(shop: Path, now: float) -> dict[str, Any] | None:
    """The newest word of a live run that has not ended, for the page; None where none is. now : seconds since the epoch.

    silent_s : where the run has said nothing for too long, since when, in whole minutes' seconds; else None. A run that
    was killed says nothing: that must not look like a run in which nothing moves.
    """
    try:
        tree = msgspec.json.decode((shop / "live.json").read_bytes(), type=dict[str, Any])
        age = now - float(tree["written"])
        if tree["ended"] or age > FORGOTTEN_S:
            return None
        late = age > silent_after(float(tree["every_s"]))
        return {**tree, "silent_s": int(age // 60) * 60 if late else None}
    except (OSError, msgspec.MsgspecError, KeyError, TypeError, ValueError):
        return None
