"""Finding a chessboard in a photo: a seed from OpenCV, grown corner by corner over what is seen of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np

from calibration.lens.boards import Chessboard
from calibration.lens.grid import Cell, Corner, grow
from shared.numerics.arrays import F64, U8

SEARCH_SIDES = (1000, 2000, 640)
"""The board is looked for in the picture shrunk to about these lengths in turn, pixels."""
ENOUGH = 16
"""Corners with which a grid is taken for the board, whatever the other searches might find."""


@dataclass(frozen=True)
class BoardView:
    """A board seen in a photo.

    board : (n, 2) places, mm, counted from the board's centre (whole) or from the seen part's. pixels : (n,
    2).
    size : corners seen across and down. whole : all the board's corners' extent is seen.
    blur_px, step_px : median width of the corners' flanks, and of a square, pixels. sigma_px : predicted
    standard deviation of a corner. place : number of the board in the photo (several cards: 0, 1, ...).
    marker_share : side of the ChArUco markers over that of a square, as seen (NaN: no markers).
    """

    board: F64
    pixels: F64
    size: tuple[int, int]
    whole: bool
    blur_px: float
    step_px: float
    sigma_px: float
    place: int = 0
    marker_share: float = float("nan")


def find_grid(gray: U8, board: Chessboard) -> dict[Cell, Corner]:
    """The largest verified grid of corners in the photo; empty where there is none."""
    best: dict[Cell, Corner] = {}
    for side in SEARCH_SIDES:
        factor = max(1.0, max(gray.shape) / side)
        small = (
            gray
            if factor == 1
            else np.asarray(
                cv2.resize(gray, None, fx=1 / factor, fy=1 / factor, interpolation=cv2.INTER_AREA), np.uint8
            )
        )
        for seed in _seeds(small, board):
            grid = grow(gray, (seed + 0.5) * factor - 0.5)
            if len(grid) > len(best):
                best = grid
            across, down = extent(best)
            whole = sorted((across, down)) == sorted((board.columns, board.rows))
            # a full rectangle could not be grown any further: it is the board, or all of it in the picture
            if whole or len(best) == across * down >= ENOUGH:
                return best
        if len(best) >= ENOUGH:
            return best
    return best


def _seeds(small: U8, board: Chessboard) -> Iterator[F64]:
    """Grids (rows, columns, 2) to start from, pixels of the small picture."""
    if board.columns:
        found, seen = cv2.findChessboardCornersSB(
            small, (board.columns, board.rows), flags=cv2.CALIB_CB_NORMALIZE_IMAGE
        )
        if found:
            yield np.asarray(seen, np.float64).reshape(board.rows, board.columns, 2)
            return
    for flags in (cv2.CALIB_CB_LARGER, cv2.CALIB_CB_LARGER | cv2.CALIB_CB_NORMALIZE_IMAGE):
        for start in ((4, 4), (3, 3)):
            found, seen, meta = cv2.findChessboardCornersSBWithMeta(small, start, flags)
            if found:
                yield np.asarray(seen, np.float64).reshape(*np.asarray(meta).shape[:2], 2)


def extent(grid: dict[Cell, Corner]) -> tuple[int, int]:
    """Columns and rows from the first corner to the last."""
    if not grid:
        return 0, 0
    i, j = [c[0] for c in grid], [c[1] for c in grid]
    return max(i) - min(i) + 1, max(j) - min(j) + 1


def as_view(grid: dict[Cell, Corner], board: Chessboard) -> BoardView:
    """The grid with the board's own axes, so that equal places are equal in all photos.

    Columns run along the board's first side; columns to rows turn clockwise as seen; of the two ways left
    the one whose first corner has its bright squares right-down is taken. A board that looks the same after
    a half turn may come out either way, which no part of the lens minds.
    """
    cells = list(grid)
    ij = np.array(cells, dtype=np.int64)
    ij -= ij.min(axis=0)
    pixels = np.array([(grid[c].x, grid[c].y) for c in cells])
    colour = np.array([np.sign(grid[c].contrast) for c in cells])
    across, down = (int(n) + 1 for n in ij.max(axis=0))
    # make the axes right-handed in the picture (y down)
    a = np.column_stack([ij, np.ones(len(ij))])
    steps = np.linalg.lstsq(a, pixels, rcond=None)[0]
    if steps[0, 0] * steps[1, 1] - steps[0, 1] * steps[1, 0] < 0:
        ij[:, 0] = across - 1 - ij[:, 0]
        colour = -colour
    want = (board.columns, board.rows) if board.columns else (max(across, down), min(across, down))
    fits = across <= want[0] and down <= want[1]
    turned_fits = down <= want[0] and across <= want[1]
    if (turned_fits and not fits) or (turned_fits and fits and down > across and want[0] > want[1]):
        ij = np.column_stack([ij[:, 1], across - 1 - ij[:, 0]])  # a quarter turn
        colour = -colour
        across, down = down, across
    first = colour * np.where(ij.sum(axis=1) % 2 == 0, 1, -1)
    if np.median(first) < 0 and (across + down) % 2 == 1:
        ij = np.array([across - 1, down - 1]) - ij  # a half turn
    elif np.median(first) < 0 and across == down and across % 2 == 1:
        ij = np.column_stack([ij[:, 1], across - 1 - ij[:, 0]])
    centred = ij - np.array([(across - 1) / 2, (down - 1) / 2])
    blur = float(np.median([grid[c].blur_px for c in cells]))
    step = float(np.sqrt(abs(steps[0, 0] * steps[1, 1] - steps[0, 1] * steps[1, 0])))
    return BoardView(
        centred * board.square_mm,
        pixels,
        (across, down),
        bool(board.columns) and (across, down) == (board.columns, board.rows),
        blur,
        step,
        float(np.median([grid[c].sigma_px for c in cells])),
    )
