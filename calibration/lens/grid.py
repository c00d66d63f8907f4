"""Growing a chessboard's grid of corners over a photo, square by square, each corner checked on its own.

OpenCV's finder gives a piece of the board; from there neighbours are predicted by a homography of the
nearest corners, refined, and kept only where four squares of alternating colour really meet. So the whole
board is found, or as much of it as the picture holds, and never a corner that is none.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.lens.flat import apply_homography, homography
from shared.numerics import saddles
from shared.numerics.arrays import F64, U8

Cell = tuple[int, int]

MISFIT = 0.35
"""Largest residual of the saddle fit, in parts of its contrast."""
LEAST_CONTRAST = 6.0
REACH = 3
MIN_STEP_PX = 7.0
"""Squares smaller than this leave no room for a window inside them."""


@dataclass(frozen=True)
class Corner:
    """One corner of the grid. contrast : signed, see `saddles`. blur_px : width of its flanks."""

    x: float
    y: float
    contrast: float
    sigma_px: float
    blur_px: float


def grow(gray: U8, seed: F64, limit: int = 60) -> dict[Cell, Corner]:
    """Corners by (column, row) from a seed grid.

    seed : (rows, columns, 2) pixels. limit : most columns or rows. Empty where the seed does not hold.
    """
    h, w = gray.shape
    guess = {(i, j): seed[j, i] for j in range(seed.shape[0]) for i in range(seed.shape[1])}
    grid = _verified(gray, guess, {})
    if len(grid) < 6:
        return {}
    tried: set[Cell] = set()
    for _ in range(limit):
        wanted = {}
        for i, j in grid:
            for cell in ((i + 1, j), (i - 1, j), (i, j + 1), (i, j - 1)):
                if cell not in grid and cell not in tried and cell not in wanted:
                    place = _predict(grid, cell)
                    if place is not None and 0 <= place[0] < w and 0 <= place[1] < h:
                        wanted[cell] = place
        if not wanted:
            break
        new = _verified(gray, wanted, grid)
        grid.update(new)
        # a refused cell is tried again only when its surroundings have grown
        tried = (tried | (wanted.keys() - new.keys())) if not new else set(wanted.keys() - new.keys())
    return _trimmed(grid)


def _near(grid: dict[Cell, Corner], cell: Cell) -> tuple[F64, F64]:
    cells = [c for c in grid if abs(c[0] - cell[0]) <= REACH and abs(c[1] - cell[1]) <= REACH]
    return (
        np.array(cells, np.float64).reshape(-1, 2),
        np.array([(grid[c].x, grid[c].y) for c in cells]).reshape(-1, 2),
    )


def _predict(grid: dict[Cell, Corner], cell: Cell) -> F64 | None:
    cells, pixels = _near(grid, cell)
    if len(cells) < 6 or min(len(set(cells[:, 0])), len(set(cells[:, 1]))) < 2:
        return None
    return np.asarray(apply_homography(homography(cells, pixels), np.array([cell], np.float64))[0])


def _verified(gray: U8, guess: dict[Cell, F64], grid: dict[Cell, Corner]) -> dict[Cell, Corner]:
    """Refine guessed corners and keep those where four squares meet."""
    everything = {**{c: np.array([k.x, k.y]) for c, k in grid.items()}, **guess}
    cells = list(guess)
    steps = {c: a for c in cells if (a := _axes(everything, c)) is not None and _room(*a) >= MIN_STEP_PX}
    if not steps:
        return {}
    cells = list(steps)
    ax, ay = (np.array([a[k] for a in steps.values()]) for k in (0, 1))
    room = np.array([_room(*a) for a in steps.values()])
    ax, ay = (a / np.linalg.norm(a, axis=1)[:, None] for a in (ax, ay))
    half = np.clip(0.3 * room, 2.5, 14)
    fit = saddles.refine(gray, np.array([guess[c] for c in cells]), ax, ay, half)
    sign = np.array([1 if (i + j) % 2 == 0 else -1 for i, j in cells])
    strength = fit.contrast * sign
    good = np.isfinite(fit.points).all(axis=1) & (fit.misfit < MISFIT) & (fit.moved < np.maximum(0.25 * room, 1.5))
    if grid:
        typical = float(np.median([k.contrast * (1 if (i + j) % 2 == 0 else -1) for (i, j), k in grid.items()]))
    else:
        typical = float(np.median(strength[good])) if good.any() else 0.0
    if abs(typical) < LEAST_CONTRAST:
        return {}
    good &= strength / typical > 0.3
    found = {
        c: Corner(float(x), float(y), float(b), float(s), float(w))
        for c, (x, y), b, s, w, g in zip(cells, fit.points, fit.contrast, fit.sigma_px, fit.blur_px, good, strict=True)
        if g
    }
    return _apart(found, grid)


def _room(ax: F64, ay: F64) -> float:
    """Distance from a corner to the far edges of its squares, pixels; 0 where two neighbours are one place."""
    lx, ly = float(np.hypot(*ax)), float(np.hypot(*ay))
    room = abs(float(ax[0] * ay[1] - ax[1] * ay[0])) / max(lx, ly) if lx > 0 and ly > 0 else 0.0
    return room if np.isfinite(room) else 0.0


def _apart(found: dict[Cell, Corner], grid: dict[Cell, Corner]) -> dict[Cell, Corner]:
    """New corners less those that ran to one place with another cell's: which cell it is of is then open."""
    places = np.array([(k.x, k.y) for k in (*found.values(), *grid.values())]).reshape(-1, 2)
    gap = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    np.fill_diagonal(gap, np.inf)
    alone = gap.min(axis=1, initial=np.inf) >= MIN_STEP_PX / 2
    return {c: k for (c, k), a in zip(found.items(), alone, strict=False) if a}


def _axes(places: dict[Cell, F64], cell: Cell) -> tuple[F64, F64] | None:
    """Steps to the next column and row at a cell, pixels; None without neighbours on both axes."""
    out = []
    for di, dj in ((1, 0), (0, 1)):
        here, up, down = (
            places[cell],
            places.get((cell[0] + di, cell[1] + dj)),
            places.get((cell[0] - di, cell[1] - dj)),
        )
        if up is not None and down is not None:
            out.append((up - down) / 2)
        elif up is not None:
            out.append(up - here)
        elif down is not None:
            out.append(here - down)
        else:
            # no neighbour along this axis yet: borrow the step of a neighbour across it
            borrowed = [
                places[b] - places[a]
                for a, b in (
                    ((cell[0] + s * dj, cell[1] + s * di), (cell[0] + s * dj + di, cell[1] + s * di + dj))
                    for s in (1, -1)
                )
                if a in places and b in places
            ]
            if not borrowed:
                return None
            out.append(borrowed[0])
    return out[0], out[1]


def _trimmed(grid: dict[Cell, Corner]) -> dict[Cell, Corner]:
    """Without corners that hang on by one neighbour: they make no board."""
    grid = dict(grid)
    while True:
        loose = [
            c for c in grid if sum((c[0] + di, c[1] + dj) in grid for di, dj in ((1, 0), (-1, 0), (0, 1), (0, -1))) < 2
        ]
        if not loose:
            return grid
        for c in loose:
            del grid[c]
