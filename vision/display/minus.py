"""The minus before the digits: seen as a bar, or its place seen to be empty; what is neither is doubtful.

A lost minus turns an angle round, so its absence needs evidence as its presence does: nothing in the row before the
digits may have the ink of a bar at half height, also where light lies above or below it, unless it is known for
something else (a triangle, a tall stroke, what reaches in from the border).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.display.row import TALL, Part, Row
from vision.display.segments import Cell
from vision.display.types import F32, F64

REACH = 3.0
"""How far before the digits a minus may stand, in figure heights: blank places may lie between."""
DOUBT = "a minus before the digits is doubtful"
SEEN = 0.5
"""Share of the digits' ink from which a bar is a minus."""
HIDDEN = 0.4
"""Share of a minus's place that must not be seen for one to be lost there."""
FAINT = 0.28
"""Share of the digits' ink from which a place may hold a faded minus."""


@dataclass(frozen=True, eq=False)
class Piece:
    """Connected ink: its box in the strip, and the ink in the box (rows, columns)."""

    part: Part
    ink: NDArray[np.bool_]


def pieces(mask: NDArray[np.bool_], left: int = 0, right: int | None = None) -> list[Piece]:
    """What hangs together in columns [left, right) of a strip; specks of less than 9 pixels left out."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask[:, left:right].astype(np.uint8), connectivity=8)
    found = []
    for i in range(1, count):
        x, y, w, h, area = (int(v) for v in stats[i])
        if area >= 9:
            found.append(Piece(Part(left + x, left + x + w, y, y + h), labels[y : y + h, x : x + w] == i))
    return found


def minus_before(strip: F32, places: list[Cell], thick: float, full: float,
                 mask: NDArray[np.bool_]) -> tuple[bool, float, str]:  # fmt: skip
    """Whether a minus stands before the digits, how surely, and why it cannot be told. full : ink of a lit segment."""
    first = places[0]
    h = first.bottom - first.top
    reach, stop = round(max(first.part.left - REACH * h, 0.0)), round(first.part.left - 0.04 * h)
    if stop - reach < 0.1 * h:
        return False, 1.0, ""
    before = pieces(mask, reach, stop)
    # what hangs on to the first digit is its own: a minus stands clear of it
    other = [p for p in before if is_triangle(p, thick) or _is_upright_line(p, first)
             or (p.part.right == stop and p.part.width < 0.15 * h)]  # fmt: skip
    seen = strip.copy()
    for p in other:
        spot = seen[max(p.part.top - 4, 0) : p.part.bottom + 4, max(p.part.left - 4, 0) : p.part.right + 4]
        grown = cv2.dilate(np.pad(p.ink.astype(np.uint8), 4), np.ones((9, 9), np.uint8)) > 0
        y, x = max(4 - p.part.top, 0), max(4 - p.part.left, 0)
        spot[grown[y : y + spot.shape[0], x : x + spot.shape[1]]] = 0
    level, beside = (v / max(full, 1e-6) for v in dash_ink(seen, reach, stop, first.top, first.bottom, thick))
    bars = [p for p in before if p not in other and _stands_as_minus(p.part, first)
            and (_is_bar(p, thick) or _is_short(p, first, thick))]  # fmt: skip
    if bars and level > SEEN:
        return True, float(np.clip((level - 0.25) / 0.4, 0, 1)), ""
    astray = [p for p in before if p not in other and _is_bar(p, thick) and p.part.width > 0.2 * h
              and 0.15 * h < (p.part.top + p.part.bottom) / 2 - first.top < 0.85 * h]  # fmt: skip
    if level > FAINT or beside > SEEN or astray:
        return False, 0.0, DOUBT
    return False, float(np.clip((0.38 - level) / 0.2, 0, 1)), ""


def dash_ink(strip: F32, left: float, right: float, top: float, bottom: float, thick: float) -> tuple[float, float]:
    """Ink of the most minus-like spot in columns [left, right): a level bar at half height, that ends at one side.

    First by what it has more than the place above and the place below; then more than the emptier of the two, as light
    that lies across a minus gives one of them ink. The edge of a shade goes on at both sides; an unlit figure that
    shows has as much ink at its top and its foot.
    """
    h = bottom - top
    x0, x1 = max(round(left), 0), round(right)
    wide = int(0.2 * h)
    if x1 - x0 < wide:
        return 0.0, 0.0
    n = max(round(0.6 * thick), 2)

    def band(y: float) -> F64:
        lines = strip[max(round(y - n / 2), 0) : round(y + n / 2), x0:x1].mean(axis=0, dtype=np.float64)
        sums = np.concatenate([[0.0], np.cumsum(lines)])
        return np.asarray((sums[wide:] - sums[:-wide]) / wide)

    middle = (top + bottom) / 2
    at = np.max([band(middle + d) for d in np.arange(-0.12, 0.121, 0.03) * h], axis=0)
    above, below = (np.maximum(band(middle + s * (1.6 * thick + 0.05 * h)), 0) for s in (-1, 1))
    far = round(0.75 * h)
    round_it = np.pad(np.maximum(at, 0), far)
    goes_on = np.minimum(round_it[: len(at)], round_it[2 * far :])
    top_bar, foot_bar = (np.max([band(y + d * h) for d in (-0.04, 0.0, 0.04)], axis=0)
                         for y in (top + thick / 2, bottom - thick / 2))  # fmt: skip
    other = np.maximum(goes_on, np.minimum(top_bar, foot_bar))
    level = at - np.maximum(np.maximum(above, below), other)
    return float(level.max()), float((at - np.maximum(np.minimum(above, below), other)).max())


def hidden(row: Row, places: list[Cell], unseen: F32, thick: float) -> bool:
    """Whether a minus could stand where the picture shows nothing (`unseen`, in the window: 1 there)."""
    first = places[0]
    h = first.bottom - first.top
    lost = cv2.warpAffine(unseen, row.to_window, row.strip.shape[::-1], flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
    if all(float(lost[_hole(c)].mean()) > 0.35 for c in places):
        return False  # the ground of all the digits is as bright, and they are seen
    left, right = round(max(first.part.left - REACH * h, 0.0)), round(first.part.left - 0.04 * h)
    middle, n = (first.top + first.bottom) / 2, max(round(0.6 * thick), 2)
    band = lost[round(middle - 0.12 * h) : round(middle + 0.12 * h) + 1, left:right]
    if band.shape[1] < 0.2 * h:
        return False
    return (
        float(cv2.blur(band, (int(0.2 * h), n), borderType=cv2.BORDER_ISOLATED | cv2.BORDER_REPLICATE).max()) > HIDDEN
    )


def _hole(c: Cell) -> tuple[slice, slice]:
    """The middle of a digit's two holes' columns, from top to foot: mostly ground."""
    w = c.right - c.left
    return slice(max(round(c.top), 0), round(c.bottom)), slice(
        max(round(c.left + 0.35 * w), 0), round(c.left + 0.65 * w)
    )


def _stands_as_minus(p: Part, first: Cell) -> bool:
    h = first.bottom - first.top
    middle = (p.top + p.bottom) / 2 - first.top
    return bool(0.38 * h < middle < 0.62 * h and p.height < 0.34 * h and 0.1 * h < p.width < 0.8 * h)


def _is_upright_line(p: Piece, first: Cell) -> bool:
    """Whether a piece is higher than any minus and nowhere about half height as wide as one."""
    h = first.bottom - first.top
    at = round(first.top + 0.5 * h) - p.part.top
    about = p.ink[max(at - round(0.2 * h), 0) : max(at + round(0.2 * h), 0)]
    return p.part.height > 0.5 * h and (not about.size or int(about.sum(axis=1).max()) < 0.15 * h)


def _lean(ink: NDArray[np.bool_]) -> tuple[float, float]:
    """How far ink lies off the middle of its box, as a share of width and height; and how full the box is."""
    rows, columns = np.nonzero(ink)
    off = max(abs(float(columns.mean() + 0.5) / ink.shape[1] - 0.5), abs(float(rows.mean() + 0.5) / ink.shape[0] - 0.5))
    return off, float(ink.mean())


def _is_bar(p: Piece, thick: float) -> bool:
    """Whether a piece is drawn as a minus: even about its middle, full, not higher than wide, of a stroke's height."""
    off, full = _lean(p.ink)
    return off < 0.07 and full > 0.66 and p.part.width >= 1.05 * p.part.height and p.part.height < 1.8 * thick + 5


def _is_short(p: Piece, first: Cell, thick: float) -> bool:
    """Whether a piece is a minus hardly wider than high: a full square a stroke high, at half height exactly.

    What grows to a side, as a triangle does, is none: a quarter in from opposite sides its lengths must be alike.
    """
    off, full = _lean(p.ink)
    box = p.part
    middle = ((box.top + box.bottom) / 2 - first.top) / (first.bottom - first.top)
    if (
        off > 0.03
        or full < 0.85
        or box.width < 0.85 * box.height
        or box.height > 1.5 * thick + 3
        or abs(middle - 0.5) > 0.05
    ):
        return False
    for lengths in (p.ink.sum(axis=1), p.ink.sum(axis=0)):
        n = len(lengths)
        sides = sorted((int(lengths[n // 5]), int(lengths[n - 1 - n // 5])))
        if sides[0] < 0.88 * sides[1]:
            return False
    return True


def is_triangle(p: Piece, thick: float) -> bool:
    """Whether a piece is surely no minus but a triangle: higher than a stroke, its lines growing from side to side.

    From top to foot, or else from left to right only: blur rounds a bar at both its ends alike. (Where the row's slant
    is taken out, an upright triangle leans and grows both ways.)
    """
    high, wide = p.ink.shape
    if high < max(1.2 * thick, 8) or high > 0.5 * TALL or not 0.6 < wide / high < 1.7:
        return False
    (down, down_even), (along, along_even) = (_growth(p.ink.sum(axis=axis)) for axis in (1, 0))
    grows_down, grows_along = down < 0.75 and down_even > 0.85, along < 0.75 and along_even > 0.85
    if p.part.left <= 2:  # cut by the strip's end
        return grows_down or grows_along
    return (down < 0.6 and down_even > 0.9) or (grows_down and along > 0.6) or (grows_along and down > 0.6)


def _growth(lengths: NDArray[np.int64]) -> tuple[float, float]:
    """Ratio of the lengths a fifth in from both ends, the shorter over the longer; how evenly they grow (correlation)."""
    n = len(lengths)
    sides = sorted((int(lengths[n // 5]), int(lengths[n - 1 - n // 5])))
    inner = lengths[n // 8 : n - n // 8].astype(np.float64)
    even = abs(float(np.corrcoef(np.arange(len(inner)), inner)[0, 1])) if float(np.ptp(inner)) > 0 else 0.0
    return sides[0] / max(sides[1], 1), even
