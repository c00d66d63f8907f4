"""Whether the true lines are among the candidates: python -m training.recall WINGS [--processes P]

A line counts where it shows over SHOWN of the chord at least (level) or on the rib (upright); its rank among the candidates of
its family, by their sums alone, is what `vision.evidence.views.MOST_CANDIDATES` was chosen by.
"""

from __future__ import annotations

import argparse
import json
import os
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import cv2
import numpy as np

from training.gather import taken, wing_job
from training.labels import TrueLine
from vision.evidence.kinds import KINDS
from vision.image.photo import open_photo

ASKED = (("chord", 0), ("laser", 0), ("string", 1), ("spar", 2))
SHOWN = 0.35
"""Share of its samples that must show."""


def ranks(folder: Path, name: str, record: dict[str, object]) -> dict[str, int | None] | str:
    """The rank of each true line, None where it is not among the candidates."""
    try:
        picture = open_photo(folder / "stations" / f"{name}.jpg")
        lines = [TrueLine.of(r) for r in record["lines"]]  # type: ignore[attr-defined]
        got = taken(
            picture, wing_job(folder), str(record["station"]), None, lines, record["forward"] == "right", len(name)
        )
    except Exception as error:
        return f"{type(error).__name__}: {error}"
    if got is None:
        return "no cards"
    out: dict[str, int | None] = {}
    for kind, family in ASKED:
        if not any(t.kind == kind and t.visible.mean() >= SHOWN for t in lines):
            continue
        there = np.flatnonzero((got.family == family) & (got.kinds == KINDS.index(kind)))
        out[kind] = int(got.rank[there].min()) if len(there) else None
    return out


def main() -> None:
    """Command line."""
    p = argparse.ArgumentParser(description=__doc__)
    p.add_argument("wings", type=Path)
    p.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    a = p.parse_args()
    photos = [
        (truth.parent, name, record)
        for truth in sorted(a.wings.glob("*/truth.json"))
        for name, record in json.loads(truth.read_text("utf-8")).items()
    ]
    found: dict[str, list[int | None]] = {kind: [] for kind, _ in ASKED}
    unread = 0
    with ProcessPoolExecutor(a.processes, initializer=cv2.setNumThreads, initargs=(1,)) as pool:
        for (folder, name, _), got in zip(photos, pool.map(ranks, *zip(*photos, strict=True)), strict=True):
            if isinstance(got, str):
                unread += 1
                print(f"{folder.name}/{name}: {got}", flush=True)
                continue
            for kind, rank in got.items():
                found[kind].append(rank)
                if rank is None:
                    print(f"{folder.name}/{name}: no {kind} among the candidates", flush=True)
    print(f"{len(photos)} photos, {unread} without cards that can be read")
    for kind, some in found.items():
        there = [r for r in some if r is not None]
        if some:
            share = 100 * len(there) / len(some)
            print(f"{kind:7} {len(there)} of {len(some)} ({share:.1f} %), worst rank {max(there, default=-1) + 1}")


if __name__ == "__main__":
    main()
