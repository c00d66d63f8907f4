"""Which annotated picture shows which photo."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from rigging.batch.readings_file import iter_trees, to_tree
from shared.reading import Reading


def overlays_of(readings_file: Path, readings: Sequence[Reading] | None = None) -> dict[str, Path]:
    """SHA-256 of each photo -> its annotated picture, as far as it is there; empty without the file.

    readings : those that are reported; a picture that shows another result (the photo was measured again
    since) is left out.
    """
    wanted = None if readings is None else {(r.photo.sha256, r.station): _results(to_tree(r)) for r in readings}
    found: dict[str, Path] = {}
    if readings_file.is_file():
        for tree in iter_trees(readings_file):
            sha = tree["photo"]["sha256"]
            path = readings_file.parent / str(tree["overlay"])
            same = wanted is None or wanted.get((sha, tree["station"])) == _results(tree)
            if tree["overlay"] and same and path.is_file():
                found[sha] = path
    return found


def _results(tree: dict[str, Any]) -> tuple[object, ...]:
    return tuple(tree[line][key] for line in ("chord", "spar") for key in ("value", "U", "reason"))
