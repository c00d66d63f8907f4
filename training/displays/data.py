"""Draws the training examples: python -m training.displays.data [--scenes 80000] [--seed 1] [--jobs 1] [--out FOLDER]"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

import numpy as np
from joblib import Parallel, delayed

from training.displays.cuts import Patch, Strip, cut_patch, cut_strip
from training.displays.scene import draw_scene

BLOCK = 250


def block(seed: int, number: int) -> tuple[list[Patch], list[Strip]]:
    """The examples of one block of scenes; each scene has a seed of its own."""
    patches, strips = [], []
    for i in range(number * BLOCK, (number + 1) * BLOCK):
        rng = np.random.default_rng([seed, i])
        scene = draw_scene(rng)
        if i % 2 == 0:
            patches.append(cut_patch(scene, rng))
        strips.append(cut_strip(scene, rng))
    return patches, strips


def main() -> None:
    """Write patches.npz and strips.npz."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=int, default=80_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--out", type=Path, default=Path("build/displays"))
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    done = Parallel(n_jobs=args.jobs)(delayed(block)(args.seed, b) for b in range(args.scenes // BLOCK))
    for name, kind in (("patches", 0), ("strips", 1)):
        rows = [one for pair in done for one in pair[kind]]
        columns: dict[str, Any] = {key: np.stack([getattr(r, key) for r in rows]) for key in rows[0]._fields}
        np.savez(args.out / f"{name}.npz", **columns)
        print(f"{name}: {len(rows)}")


if __name__ == "__main__":
    main()
