"""Measures the seven segments of each digit in a row's strip, the points between them, and the minus before them.

A segment is judged by its core only, away from its ends and its neighbours, as a share of full brightness between
the digit's own dark holes (0) and the row's lit segments (1).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.display.row import OVER, TALL, Part, inner
from vision.display.types import F32, F64

NAMES = "abcdefg"
OUT = 0.04 * TALL
"""How far a digit may reach out of the row."""


@dataclass(frozen=True)
class Cell:
    """Where a digit stands in the strip: columns and rows of its outline, and the part it was found as."""

    left: float
    right: float
    top: float
    bottom: float
    part: Part


def stroke(mask: NDArray[np.bool_], digits: list[Part]) -> float:
    """Width of the strokes, strip pixels: median run of ink along rows that cross upright segments only."""
    runs: list[int] = []
    for p in digits:
        for share in (0.22, 0.27, 0.32, 0.68, 0.73, 0.78):
            row = mask[OVER + int(share * TALL), p.left : p.right].astype(np.int8)
            edges = np.flatnonzero(np.diff(np.concatenate([[0], row, [0]])))
            runs.extend((edges[1::2] - edges[::2]).tolist())
    runs = [r for r in runs if r >= 3]
    return float(np.clip(np.median(runs), 0.06 * TALL, 0.24 * TALL)) if runs else 0.13 * TALL


def cells(digits: list[Part], thick: float) -> list[Cell]:
    """Outlines of the digits: a narrow one is a 1 and stands at the right of its cell."""
    wide = [p.width / p.height for p in digits if p.width > 0.36 * p.height]
    usual = float(np.median(wide)) if wide else 0.55
    tall = [p for p in digits if p.height > 0.88 * TALL]
    top = inner([p.top for p in tall], 1) if tall else float(OVER)
    foot = inner([p.bottom for p in tall], -1) if tall else float(OVER + TALL)
    found = []
    for p in digits:
        small = p.top > top + 0.2 * TALL and abs(p.bottom - foot) < 0.09 * TALL
        blunt = p.width < 0.3 * TALL and not small
        # words over and under a digit may touch it: its outline keeps to the row's
        y0 = float(p.top) if small else top if blunt else max(min((p.top + top) / 2, p.top), top - OUT)
        y1 = foot if blunt else min(max((p.bottom + foot) / 2, p.bottom), foot + OUT)
        left = float(p.left)
        if p.width < max(0.36 * p.height, 0.3 * usual * (y1 - y0) + thick):
            left = p.right - usual * (y1 - y0)
        found.append(Cell(left, float(p.right), y0, y1, p))
    return found


def measure(strip: F32, cell: Cell, thick: float) -> tuple[F64, float]:
    """Ink of the seven segments' cores (a to g), and of the two holes between them (the darker one's mean)."""
    w, h = cell.right - cell.left, cell.bottom - cell.top
    x = [cell.left + f * w for f in (0.32, 0.68)]
    upper = [cell.top + f * h for f in (0.5 * (thick / h + 0.5) - 0.09, 0.5 * (thick / h + 0.5) + 0.09)]
    lower = [cell.top + f * h for f in (0.5 * (1.5 - thick / h) - 0.09, 0.5 * (1.5 - thick / h) + 0.09)]
    middle = (cell.top + cell.bottom) / 2
    values = {
        "a": _bar(strip, x, (cell.top - 0.02 * h, cell.top + 1.25 * thick), thick),
        "g": _bar(strip, x, (middle - 0.95 * thick, middle + 0.95 * thick), thick),
        "d": _bar(strip, x, (cell.bottom - 1.25 * thick, cell.bottom + 0.02 * h), thick),
        "f": _bar(strip.T, upper, (cell.left - 0.02 * h, cell.left + 1.25 * thick), thick),
        "b": _bar(strip.T, upper, (cell.right - 1.25 * thick, cell.right + 0.02 * h), thick),
        "e": _bar(strip.T, lower, (cell.left - 0.02 * h, cell.left + 1.25 * thick), thick),
        "c": _bar(strip.T, lower, (cell.right - 1.25 * thick, cell.right + 0.02 * h), thick),
    }
    inner = (cell.left + max(1.3 * thick, 0.36 * w), cell.right - max(1.3 * thick, 0.36 * w))
    if inner[1] - inner[0] < 3:
        inner = (cell.left + 0.45 * w, cell.right - 0.45 * w)
    holes = [_mean(strip, inner, (r[0] + 0.02 * h, r[1] - 0.02 * h)) for r in (upper, lower)]
    return np.array([values[n] for n in NAMES]), min(holes)


def _mean(strip: F32, x: tuple[float, float], y: tuple[float, float]) -> float:
    box = strip[max(round(y[0]), 0) : max(round(y[1]), round(y[0]) + 1),
                max(round(x[0]), 0) : max(round(x[1]), round(x[0]) + 1)]  # fmt: skip
    return float(box.mean()) if box.size else 0.0


def _bar(strip: F32, along: list[float], across: tuple[float, float], thick: float) -> float:
    """Ink of a bar lying along columns `along`, at the best place within rows `across`."""
    x0, x1 = max(round(along[0]), 0), max(round(along[1]), round(along[0]) + 1)
    y0, y1 = max(round(across[0]), 0), min(round(across[1]) + 1, strip.shape[0])
    if y1 - y0 < 1 or min(x1, strip.shape[1]) - x0 < 1:
        return 0.0
    lines = strip[y0:y1, x0:x1].mean(axis=1)
    n = int(np.clip(round(0.55 * thick), 1, len(lines)))
    sums = np.concatenate([[0.0], np.cumsum(lines, dtype=np.float64)])
    return float(((sums[n:] - sums[:-n]) / n).max())


def point_ink(strip: F32, left: float, right: float, top: float, bottom: float, thick: float,
              mirror: bool) -> float:  # fmt: skip
    """Ink of the brightest spot of a point's size between two digits near the foot, less what stands above it.

    mirror : take off what bleeds into the gap at the top, too (not beside a degree sign).
    """
    h = bottom - top
    n = max(int(0.75 * thick), 3)
    x0, x1 = max(round(left), 0), min(round(right), strip.shape[1])
    y0, y1 = round(top + 0.72 * h), round(bottom + 0.06 * h)
    if x1 - x0 < 3:
        return float("nan")
    n = min(n, x1 - x0)
    spot = _box(strip[y0:y1, x0:x1], n)
    above = _box(strip[round(top + 0.45 * h) : round(top + 0.68 * h), x0:x1], n)
    # level bars bleed into the gap at the top as at the foot
    bleed = _box(strip[round(top + 0.0 * h) : round(top + 0.2 * h), x0:x1], n) if mirror else above
    if not spot.size:
        return float("nan")
    at = int(np.unravel_index(int(spot.argmax()), spot.shape)[1])
    over = max(float(f[:, max(at - n // 2, 0) : at + n // 2 + 1].mean()) if f.size else 0.0 for f in (above, bleed))
    return float(spot.max()) - max(over, 0.0)


def _box(field: F32, n: int) -> F64:
    """Means of all n x n boxes inside a field."""
    if min(field.shape) < n:
        return np.zeros((0, 0))
    sums = np.pad(field.astype(np.float64).cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0)))
    return np.asarray((sums[n:, n:] - sums[:-n, n:] - sums[n:, :-n] + sums[:-n, :-n]) / (n * n))


def explained(mask: NDArray[np.bool_], cell: Cell, lit: str, thick: float) -> float:
    """Share of the cell's ink that the glyph's segments, drawn with half a stroke to spare, cover."""
    w, h = cell.right - cell.left, cell.bottom - cell.top
    y0, x0 = max(round(cell.top - 0.05 * h), 0), max(round(cell.left - 0.04 * h), 0)
    seen = mask[y0 : round(cell.bottom + 0.05 * h), x0 : round(cell.right + 0.04 * h)]
    yy, xx = np.mgrid[0 : seen.shape[0], 0 : seen.shape[1]]
    x, y = xx + x0 - cell.left, yy + y0 - cell.top
    r = 0.9 * thick
    half = thick / 2
    lines = {"a": (half, w - half, half), "g": (half, w - half, h / 2), "d": (half, w - half, h - half),
             "f": (half, h / 2, half), "e": (h / 2, h - half, half), "b": (half, h / 2, w - half),
             "c": (h / 2, h - half, w - half)}  # fmt: skip
    drawn = np.zeros(seen.shape, dtype=bool)
    for name in lit:
        start, stop, at = lines[name]
        along, across = (x, y) if name in "agd" else (y, x)
        drawn |= (along >= start - r) & (along <= stop + r) & (np.abs(across - at) <= r)
    total = int(seen.sum())
    return float((seen & drawn).sum()) / total if total else 0.0
