"""A drawn photo of the printed chessboard, for calibrating the lens of a drawn camera."""

from __future__ import annotations

import cv2
import numpy as np

from calibration.lens.boards import Chessboard
from calibration.lens.flat import rotation
from calibration.lens.model import distort
from shared.numerics.arrays import F64, U8
from shop.camera import Camera, Rays

DARK, PAPER, WALL = 25.0, 225.0, 120.0
MARGIN_MM = 15.0
FINE = 16
"""Samples a pixel, on a rank-1 lattice."""


def board_photo(camera: Camera, board: Chessboard, seed: int, noise: float = 2.0, blur_px: float = 0.8) -> U8:
    """A photo (h, w, 3) of the board, wholly in the picture, tilted by up to 30 degrees to any side."""
    rng = np.random.default_rng([seed, 47])
    r, t, box = _placed(camera, board, rng)
    shade = np.full((camera.height, camera.width), WALL, np.float32)
    x0, y0, x1, y1 = box
    shade[y0:y1, x0:x1] = _ink(camera, board, r, t, box)
    shade = cv2.GaussianBlur(shade, (0, 0), blur_px) + noise * rng.standard_normal(shade.shape, np.float32)
    return np.repeat(np.clip(np.rint(shade), 0, 255).astype(np.uint8)[..., None], 3, axis=2)


def _placed(camera: Camera, board: Chessboard, rng: np.random.Generator) -> tuple[F64, F64, tuple[int, int, int, int]]:
    half = (np.array([board.columns, board.rows]) + 1) / 2 * board.square_mm + MARGIN_MM
    corners = np.array([[x, y, 0.0] for x in (-half[0], half[0]) for y in (-half[1], half[1])])
    size = np.array([camera.width, camera.height])
    while True:
        r = rotation(np.array([*rng.uniform(-0.5, 0.5, 2), rng.uniform(-0.5, 0.5)]))
        z = float(rng.uniform(1.8, 3.2) * half[0] * 2 * camera.focal / camera.width)
        t = np.array([*(rng.uniform(-0.5, 0.5, 2) * size / camera.focal * z), z])
        p = corners @ r.T + t
        seen = distort(p[:, :2] / p[:, 2:], np.array(camera.theta))
        low, high = seen.min(axis=0) - 4, seen.max(axis=0) + 5
        if np.all(low > 0) and np.all(high < size):
            x0, y0, x1, y1 = (int(v) for v in (*low, *high))
            return r, t, (x0, y0, x1, y1)


def _ink(camera: Camera, board: Chessboard, r: F64, t: F64, box: tuple[int, int, int, int]) -> F64:
    """Mean grey of each pixel of a box; places on the board between pixels follow their slopes."""
    rx, ry = Rays(camera).grid(box)
    flat = np.linalg.inv(np.column_stack([r[:, 0], r[:, 1], t]))
    q = [row[0] * rx + row[1] * ry + row[2] for row in flat]
    x, y = q[0] / q[2], q[1] / q[2]
    slopes = [np.gradient(v, axis=k) for v in (x, y) for k in (1, 0)]
    total = np.zeros_like(x)
    for k in range(FINE):
        dx, dy = (k + 0.5) / FINE - 0.5, (k * 7 % FINE + 0.5) / FINE - 0.5
        total += _grey(board, x + slopes[0] * dx + slopes[1] * dy, y + slopes[2] * dx + slopes[3] * dy)
    return np.asarray(total / FINE)


def _grey(board: Chessboard, x: F64, y: F64) -> F64:
    across, down = board.columns + 1, board.rows + 1
    i, j = np.floor(x / board.square_mm + across / 2), np.floor(y / board.square_mm + down / 2)
    dark = (i >= 0) & (i < across) & (j >= 0) & (j < down) & ((i + j) % 2 == 0)
    paper = (np.abs(x) < across / 2 * board.square_mm + MARGIN_MM) & (
        np.abs(y) < down / 2 * board.square_mm + MARGIN_MM
    )
    return np.where(dark, DARK, np.where(paper, PAPER, WALL))
