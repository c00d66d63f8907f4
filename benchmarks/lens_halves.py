"""Is a lens's covariance honest on real photos? Random halves of a camera's photos, each calibrated by itself.

    python -m benchmarks.lens_halves [--draws 100] [--seed 5]

Photos of two real cameras (tests/data/opencv-doc), 13 each. The halves' difference should lie within 2u of each of the
eight parameters in 95 % of the draws, and its chi-square have a median of 7.34 (8 degrees of freedom).
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np

from calibration.lens.boards import Chessboard
from calibration.lens.bundle import View, fit
from calibration.lens.calibrate import calibrate_lens
from calibration.lens.models import FULL, free_columns
from vision.image.photo import open_photo

DATA = Path(__file__).parents[1] / "tests" / "data" / "opencv-doc"
SIZE = (640, 480)


def halves(views: list[View], draws: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """(draws, 8) differences over their u, and (draws,) chi-square."""
    rng = np.random.default_rng(seed)
    back = np.linalg.pinv(free_columns(FULL))
    pulls, squares = [], []
    for _ in range(draws):
        order = rng.permutation(len(views))
        a, b = (fit([views[k] for k in part], SIZE, FULL) for part in np.array_split(order, 2))
        gap, c = back @ (a.theta - b.theta), back @ (a.covariance + b.covariance) @ back.T
        pulls.append(gap / np.sqrt(np.diag(c)))
        squares.append(gap @ np.linalg.solve(c, gap))
    return np.array(pulls), np.array(squares)


def main() -> None:
    """Print what each camera's halves show."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--draws", type=int, default=100)
    parser.add_argument("--seed", type=int, default=5)
    args = parser.parse_args()
    for side in ("left", "right"):
        photos = [open_photo(p) for p in sorted(DATA.glob(f"{side}*.jpg"))]
        views = list(calibrate_lens(photos, Chessboard(9, 6, 25.0)).views)
        pulls, squares = halves(views, args.draws, args.seed)
        inside = np.mean(np.abs(pulls) < 2, axis=0)
        print(
            f"{side}: {len(views)} photos; within 2u {inside.mean():.1%}, the least of a parameter {inside.min():.0%}; "
            f"chi-square's median {np.median(squares):.1f}"
        )


if __name__ == "__main__":
    main()
