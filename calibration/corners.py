"""Finding a chessboard in a photo, and its corners to about a twentieth of a pixel."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.lens_model import F64

U8 = NDArray[np.uint8]

SEARCH_SIDE = 1000
"""The board is first looked for in a picture shrunk to about this length, pixels."""


@dataclass(frozen=True)
class Chessboard:
    """A flat chessboard: inner corners across and down, and the side of a square, mm."""

    columns: int
    rows: int
    square_mm: float


@dataclass(frozen=True)
class BoardView:
    """A board found in a photo: places on the board (n, 2), mm; corners (n, 2), pixels."""

    board: F64
    pixels: F64


def find_chessboard(gray: U8, board: Chessboard) -> BoardView | None:
    """The whole board, corners refined; None where it is not seen whole."""
    factor = max(1, round(max(gray.shape) / SEARCH_SIDE))
    flags = cv2.CALIB_CB_NORMALIZE_IMAGE
    while True:
        small = gray if factor == 1 else cv2.resize(gray, None, fx=1 / factor, fy=1 / factor,
                                                    interpolation=cv2.INTER_AREA)
        found, seen = cv2.findChessboardCornersSB(small, (board.columns, board.rows), flags=flags)
        if found or factor == 1:
            break
        factor = max(1, factor // 2)
    if not found:
        return None
    rough = (np.asarray(seen, np.float64).reshape(-1, 2) + 0.5) * factor - 0.5
    y, x = np.mgrid[0:board.rows, 0:board.columns]
    places = np.stack([x.ravel(), y.ravel()], axis=1) * board.square_mm
    return BoardView(places, refine_corners(gray, rough, board))


def refine_corners(gray: U8, rough: F64, board: Chessboard) -> F64:
    """Corners (n, 2) of a whole board refined to sub-pixel."""
    grid = rough.reshape(board.rows, board.columns, 2)
    step = min(float(np.linalg.norm(np.diff(grid, axis=k), axis=2).min()) for k in (0, 1))
    half = int(np.clip(0.3 * step, 3, 16))
    ends = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 60, 1e-4)
    fine = cv2.cornerSubPix(gray, rough.astype(np.float32).reshape(-1, 1, 2), (half, half), (-1, -1), ends)
    return np.asarray(fine, np.float64).reshape(-1, 2)
