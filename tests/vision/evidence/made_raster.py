"""Rasters and planes with known lines, made of plain arrays."""

from __future__ import annotations

import numpy as np

from vision.evidence.raster import Family, Raster
from vision.image.rectified import Plane

LENS = np.array([3000.0, 3000.0, 2000.0, 1500.0, 0.0, 0.0, 0.0, 0.0, 0.0])


def plane() -> Plane:
    """A rib plane square to the camera, a metre away, its origin in the picture's middle."""
    return Plane(np.array([0.0, 0.0, 1000.0]), np.array([1.0, 0, 0]), np.array([0, 1.0, 0]), LENS)


def raster(
    grey: np.ndarray,
    family: Family = "level",
    step: tuple[float, float] = (3.0, 0.75),
    start: tuple[float, float] = (-600.0, -150.0),
) -> Raster:
    """A raster of a grey picture without colour, all of it inside the photo."""
    h, w = grey.shape
    image = np.clip(np.rint(grey), 0, 255).astype(np.uint8)
    return Raster(plane(), family, start, step, image, np.zeros((h // 2, w // 2, 2), np.float32), np.ones((h, w), bool))


def with_line(
    grey: np.ndarray, row: float, slope: float, depth: float, half: float = 0.6, first: int = 0, last: int | None = None
) -> np.ndarray:
    """The picture with a dark straight stripe, `depth` grey levels deep, `half` rows to either side."""
    h, w = grey.shape
    rows = np.arange(h)[:, None] - (row + slope * np.arange(w))
    cover = np.clip(half + 0.5 - np.abs(rows), 0, 1)
    cover[:, :first] = 0
    cover[:, w if last is None else last :] = 0
    return grey - depth * cover


def noise(seed: int, sigma: float, shape: tuple[int, int] = (400, 400), level: float = 150.0) -> np.ndarray:
    """An even picture with noise."""
    return level + np.random.default_rng(seed).normal(0, sigma, shape)
