"""The camera a plan is made for: a kept lens profile, or a typical phone described in a word.

A phone is described as "27mm" (35 mm equivalent focal length, as in EXIF), with "27mm@4000x3000" for the
picture size and "27mm@4000x3000 uncalibrated" for one without a profile.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from calibration.lens.model import Lens, distort
from shared.errors import UserError
from shared.numerics.arrays import F64

PHONE = "26mm@4000x3000"
"""A common phone's main camera: 26 mm equivalent, 12 megapixels (common practice, no source)."""
_WORD = re.compile(r"^\s*(\d+(?:[.,]\d+)?)\s*mm(?:\s*@\s*(\d+)\s*[x×]\s*(\d+))?(\s+uncalibrated)?\s*$", re.I)
_VIEWS, _CORNER_PX = 14, 0.10


@dataclass(frozen=True)
class _Exif:
    """What `calibration.lens.match.guess_lens` wants to know."""

    focal35_mm: float
    make: str | None = None
    model: str | None = "planned camera"
    lens_model: str | None = None
    focal_mm: float | None = None
    digital_zoom: float | None = None
    taken: str | None = None
    orientation: int = 1


def planned_lens(word: str, folder: Path = Path()) -> Lens:
    """The lens for `--camera`: a profile's path, or a description such as "27mm@4000x3000".

    Raises UserError for a word that is neither.

    >>> lens = planned_lens("27mm@4000x3000")
    >>> lens.size, round(float(lens.theta[0]))  # focal length, pixels
    ((4000, 3000), 3120)
    """
    found = _WORD.match(word)
    if found is None:
        path = folder / word
        if path.suffix.lower() == ".json" or path.is_file():
            from calibration.lens.profiles import load_lens

            return load_lens(path).lens
        raise UserError(
            f"camera '{word}'",
            "is neither a lens profile nor a description",
            "give a profile's path, or the 35 mm equivalent focal length as 27mm or 27mm@4000x3000",
        )
    focal35 = float(found[1].replace(",", "."))
    size = (int(found[2]), int(found[3])) if found[2] else (4000, 3000)
    if not 8 <= focal35 <= 400 or not 300 <= min(size) <= max(size) <= 30_000:
        raise UserError(
            f"camera '{word}'",
            "8 to 400 mm and 300 to 30000 pixels are allowed",
            "give the figures from the photo's EXIF",
        )
    if found[4]:
        from calibration.lens.match import guess_lens

        return guess_lens(_Exif(focal35), size)
    return typical_lens(focal35 / math.hypot(36.0, 24.0) * math.hypot(*size), size)


def kept_lens(folder: Path) -> Lens | None:
    """The best profile in a lens folder (from a board before from station cards, then the newest); None without one.

    Raises UserError for a broken one.
    """
    from calibration.lens.profiles import profiles_in

    found = [p for _, p in profiles_in(folder)] if folder.is_dir() else []
    best = max(found, key=lambda p: (p.sound, not p.from_cards, p.date), default=None)
    return None if best is None else best.lens


def with_board(lens: Lens) -> Lens | None:
    """The same lens as a board session would leave it; None where it is known as well as that already."""
    board = typical_lens(float(lens.theta[0]), lens.size)
    better = float(lens.covariance[0, 0] / lens.theta[0] ** 2) > 4 * float(board.covariance[0, 0] / board.theta[0] ** 2)
    return board if better else None


def typical_lens(focal_px: float, size: tuple[int, int], seed: int = 20) -> Lens:
    """A lens calibrated by the book: the covariance that 14 tilted photos of the 9 x 6 board leave.

    Computed, not measured: Zhang's least squares (IEEE TPAMI 22, 2000, 1330) with corner noise of 0.10 px,
    its poses eliminated by the Schur complement. fx and fy are one parameter, as in calibrated profiles.
    """
    rng = np.random.default_rng(seed)
    width, height = size
    theta = np.array([focal_px, focal_px, (width - 1) / 2, (height - 1) / 2, 0, 0, 0, 0, 0])
    tie = np.delete(np.eye(9), 1, axis=1)
    tie[1, 0] = 1.0
    x, y = np.meshgrid(np.arange(9) * 25.0 - 100.0, np.arange(6) * 25.0 - 62.5)
    board = np.stack([x.ravel(), y.ravel(), np.zeros(54)], axis=1)
    information = np.zeros((8, 8))
    for _ in range(_VIEWS):
        tilt = np.radians([*rng.uniform(-32, 32, 2), rng.uniform(-32, 32)])
        depth = 300.0 * focal_px / width / rng.uniform(0.35, 0.62)
        room = np.array([width, height]) / 2 / focal_px * depth - [120.0, 90.0]
        place = np.array([*(rng.uniform(-1, 1, 2) * np.maximum(room, 0)), depth])
        pose = np.concatenate([tilt, place])

        def seen(lens: F64, p: F64) -> F64:
            q = board @ _turn(p[:3]).T + p[3:]
            return distort(q[:, :2] / q[:, 2:], lens).ravel()

        by_lens = _columns(lambda d, p=pose: seen(theta + tie @ d, p), 8)
        by_pose = _columns(lambda d, p=pose: seen(theta, p + d), 6)
        left = by_lens - by_pose @ np.linalg.lstsq(by_pose, by_lens, rcond=None)[0]
        information += left.T @ left / _CORNER_PX**2
    scale = np.sqrt(np.diag(information))
    covariance = np.linalg.inv(information / np.outer(scale, scale)) / np.outer(scale, scale)
    return Lens(f"typical {width}x{height} f {focal_px:.0f}", size, theta, tie @ covariance @ tie.T)


def _columns(f, n: int) -> F64:  # type: ignore[no-untyped-def]
    """Central differences of f, (m, n)."""
    steps = np.eye(n) * 1e-5
    return np.stack([(f(h) - f(-h)) / 2e-5 for h in steps], axis=1)


def _turn(angles: F64) -> F64:
    (cx, cy, cz), (sx, sy, sz) = np.cos(angles), np.sin(angles)
    rx = np.array([[1, 0, 0], [0, cx, -sx], [0, sx, cx]])
    ry = np.array([[cy, 0, sy], [0, 1, 0], [-sy, 0, cy]])
    rz = np.array([[cz, -sz, 0], [sz, cz, 0], [0, 0, 1]])
    return np.asarray(rz @ rx @ ry, dtype=np.float64)
