"""The newest word of `ribangle live`, which runs as a process of its own, for the page to show."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec


def page_tree(shop: Path, now: float) -> dict[str, Any] | None:
    """The newest word of a live run that is on, for the page; None where none is. now : seconds since the epoch."""
    try:
        tree = msgspec.json.decode((shop / "live.json").read_bytes(), type=dict[str, Any])
        if tree["ended"] or now - float(tree["written"]) > max(60.0, 3 * float(tree["every_s"])):
            return None
        return tree
    except (OSError, msgspec.MsgspecError, KeyError, TypeError, ValueError):
        return None
