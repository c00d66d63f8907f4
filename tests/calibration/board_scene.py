"""Boards seen through a known lens: corners by the thousand, or rendered photos."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np
from scipy.interpolate import RectBivariateSpline

from calibration.lens.flat import rotation
from calibration.lens.model import distort, undistort

SIZE = (800, 600)
TRUE = np.array([640.0, 640.0, 404.0, 296.0, 0.06, -0.13, 0.0008, -0.0006, 0.05])


@dataclass(frozen=True)
class FakeExif:
    make: str | None = "Fieldcam"
    model: str | None = "F1"
    lens_model: str | None = None
    focal_mm: float | None = 4.6
    focal35_mm: float | None = 27.0
    digital_zoom: float | None = None
    taken: str | None = "2026-05-16T08:30:00"
    orientation: int = 1


@dataclass(frozen=True)
class FakePhoto:
    name: str
    gray: np.ndarray
    sha256: str
    exif: FakeExif = field(default_factory=FakeExif)


def poses(
    count: int, seed: int, half: tuple[float, float], theta: np.ndarray = TRUE, size: tuple[int, int] = SIZE
) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Boards (half width and height in mm) wholly in the picture, tilted to all sides."""
    rng = np.random.default_rng(seed)
    outline = np.array([[x, y, 0.0] for x in (-half[0], half[0]) for y in (-half[1], half[1])])
    found = 0
    while found < count:
        r = rotation(np.array([*rng.uniform(-0.6, 0.6, 2), rng.uniform(-0.5, 0.5)]))
        z = rng.uniform(2.2, 4.2) * half[0]
        t = np.array([rng.uniform(-0.6, 0.6) * z, rng.uniform(-0.45, 0.45) * z, z])
        p = outline @ r.T + t
        seen = distort(p[:, :2] / p[:, 2:], theta)
        if np.all((seen > 4) & (seen < np.array(size) - 5)):
            found += 1
            yield r, t


def chess_ink(columns: int, rows: int, square: float) -> Callable[[np.ndarray, np.ndarray], np.ndarray]:
    """Grey value of a chessboard of `columns` x `rows` inner corners at places in mm from its centre."""

    def ink(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        i = np.floor(x / square + (columns + 1) / 2)
        j = np.floor(y / square + (rows + 1) / 2)
        inside = (i >= 0) & (i <= columns) & (j >= 0) & (j <= rows)
        paper = (np.abs(x) < (columns + 1) / 2 * square + 12) & (np.abs(y) < (rows + 1) / 2 * square + 12)
        return np.where(inside & ((i + j) % 2 == 0), 25.0, np.where(paper, 225.0, 120.0))

    return ink


def image_ink(image: np.ndarray, width_mm: float) -> Callable[[np.ndarray, np.ndarray], np.ndarray]:
    """Grey value of a printed picture, its centre at 0, 0."""
    scale = image.shape[1] / width_mm

    def ink(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        i = np.floor(x * scale + image.shape[1] / 2).astype(int)
        j = np.floor(y * scale + image.shape[0] / 2).astype(int)
        inside = (i >= 0) & (j >= 0) & (i < image.shape[1]) & (j < image.shape[0])
        return np.where(inside, image[np.clip(j, 0, image.shape[0] - 1), np.clip(i, 0, image.shape[1] - 1)], 120.0)

    return ink


def _rays(theta: np.ndarray, size: tuple[int, int], x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Rays (n, 2) of a grid of pixels: a cubic spline over a coarse one, good to 1e-6 of a pixel."""
    gx, gy = np.arange(-10.0, size[0] + 20, 10), np.arange(-10.0, size[1] + 20, 10)
    coarse = undistort(np.stack(np.meshgrid(gx, gy), axis=-1).reshape(-1, 2), theta).reshape(len(gy), len(gx), 2)
    return np.stack([RectBivariateSpline(gy, gx, coarse[..., k])(y, x) for k in (0, 1)], axis=-1).reshape(-1, 2)


def photograph(
    ink: Callable[[np.ndarray, np.ndarray], np.ndarray],
    pose: tuple[np.ndarray, np.ndarray],
    seed: int,
    theta: np.ndarray = TRUE,
    size: tuple[int, int] = SIZE,
    noise: float = 2.0,
    fine: int = 3,
) -> np.ndarray:
    """A photo (h, w) uint8 of a flat board, `fine` x `fine` samples a pixel."""
    w, h = size
    x = (np.arange(w * fine) + 0.5) / fine - 0.5
    y = (np.arange(h * fine) + 0.5) / fine - 0.5
    rays = _rays(theta, size, x, y)
    r, t = pose
    flat = np.linalg.inv(np.column_stack([r[:, 0], r[:, 1], t]))
    p = np.column_stack([rays, np.ones(len(rays))])
    q = p @ flat.T
    bx, by = q[:, 0] / q[:, 2], q[:, 1] / q[:, 2]
    shade = ink(bx, by).reshape(h, fine, w, fine).mean(axis=(1, 3))
    shade = shade + np.random.default_rng(seed).normal(0, noise, shade.shape)
    return np.clip(np.rint(shade), 0, 255).astype(np.uint8)
