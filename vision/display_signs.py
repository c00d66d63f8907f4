"""The decimal point, the minus, and what else stands in a row and must be explained."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.display_glyphs import Glyphs
from vision.display_row import TALL, UPRIGHT, Part, Row, upright
from vision.display_segments import Cell, dash_ink, point_ink
from vision.display_types import F32, F64


def point_inks(strip: F32, places: list[Cell], thick: float) -> F64:
    """(n,) ink of a decimal point after each digit."""
    found = []
    for i, c in enumerate(places):
        h = c.bottom - c.top
        stop = places[i + 1].part.left if i + 1 < len(places) else c.right + 0.32 * h
        found.append(point_ink(strip, c.right + 0.02 * h, min(stop, c.right + 0.5 * h) - 0.02 * h, c.top, c.bottom,
                               thick, i + 1 < len(places)))  # fmt: skip
    return np.array(found)


def point_after(ink_of: F64, decimals: int | None) -> tuple[int | None, float, str]:
    """After which digit the point stands (None: nowhere), how surely, and why it cannot be told."""
    lit = np.nan_to_num(ink_of, nan=0.0)
    seen = np.flatnonzero(lit > 0.45)
    if decimals is not None:
        wanted = len(lit) - 1 - decimals if decimals else None
        if wanted is not None and wanted < 0:
            return None, 0.0, f"fewer digits than the {decimals} after the point that the gauge shows"
        if [*seen] != ([wanted] if wanted is not None else []) and len(seen):
            return None, 0.0, "the decimal point is not where this gauge shows it"
        return wanted, 1.0, ""
    if len(seen) and int(seen[0]) < len(lit) - 1:
        # no gauge shows a point after its last digit as well: what is there is a unit's foot
        lit, seen = lit[:-1], seen[seen < len(lit) - 1]
    if len(seen) > 1:
        return None, 0.0, "more than one decimal point"
    others = np.delete(lit, seen)
    doubt = float(others.max()) if len(others) else 0.0
    if doubt > 0.33:
        return None, 0.0, "a decimal point is doubtful"
    if len(seen) == 0:
        return None, float(np.clip((0.33 - doubt) / 0.33, 0, 1)), ""
    at = int(seen[0])
    if at == len(ink_of) - 1:
        return None, 0.0, "no digit after the decimal point"
    return at, float(np.clip(min((lit[at] - 0.25) / 0.4, (0.45 - doubt) / 0.45), 0, 1)), ""


def minus_before(strip: F32, places: list[Cell], everything: list[Part], thick: float, g: Glyphs,
           mask: NDArray[np.bool_]) -> tuple[bool, float, str]:  # fmt: skip
    """Whether a minus stands before the digits, how surely, and why it cannot be told."""
    first = places[0]
    h = first.bottom - first.top
    reach = max(first.part.left - 3.0 * h, 0.0)
    before = [p for p in everything if p.right <= first.part.left and p.left >= reach]
    signs = [p for p in before if _is_triangle(p, mask)]
    seen = strip.copy() if signs else strip
    for p in signs:  # a triangle or a letter is no bar, whatever a slice of it looks like
        seen[max(p.top - 4, 0) : p.bottom + 4, max(p.left - 4, 0) : p.right + 4] = 0
    level = dash_ink(seen, reach, first.part.left - 0.05 * h, first.top, first.bottom, thick) / max(g.full, 1e-6)
    dashes = [p for p in before if _is_dash(p, first) and p not in signs]
    if dashes and level > 0.5:
        if not any(_is_bar(p, mask, thick) or _is_short(p, first, mask, thick) for p in dashes):
            return False, 0.0, "a minus before the digits is doubtful"
        return True, float(np.clip((level - 0.25) / 0.4, 0, 1)), ""
    astray = [p for p in before if p not in signs and p not in dashes and _is_bar(p, mask, thick)
              and 0.15 * h < (p.top + p.bottom) / 2 - first.top < 0.85 * h]  # fmt: skip
    if level > 0.28 or dashes or astray:
        return False, 0.0, "a minus before the digits is doubtful"
    return False, float(np.clip((0.34 - level) / 0.3, 0, 1)), ""


def _is_dash(p: Part, first: Cell) -> bool:
    h = first.bottom - first.top
    middle = (p.top + p.bottom) / 2 - first.top
    return bool(0.38 * h < middle < 0.62 * h and p.height < 0.34 * h and 0.1 * h < p.width < 0.8 * h)


def _lean(p: Part, mask: NDArray[np.bool_]) -> tuple[float, float]:
    """How far a part's ink lies off the middle of its box, as shares of its width and height; and how full it is."""
    box = mask[p.top : p.bottom, p.left : p.right]
    rows, columns = np.nonzero(box)
    off = max(abs(float(columns.mean() + 0.5) / box.shape[1] - 0.5), abs(float(rows.mean() + 0.5) / box.shape[0] - 0.5))
    return off, float(box.mean())


def _is_bar(p: Part, mask: NDArray[np.bool_], thick: float) -> bool:
    """Whether a part is drawn as a minus: even about its middle, full, not higher than wide, of a stroke's height."""
    off, full = _lean(p, mask)
    return off < 0.07 and full > 0.66 and p.width >= 1.05 * p.height and p.height < 1.8 * thick + 5


def _is_short(p: Part, first: Cell, mask: NDArray[np.bool_], thick: float) -> bool:
    """Whether a part is a minus hardly wider than high: a full square a stroke high, at half height exactly.

    What grows to a side, as a triangle does, is none: a quarter in from opposite sides its lengths must be alike.
    """
    off, full = _lean(p, mask)
    middle = ((p.top + p.bottom) / 2 - first.top) / (first.bottom - first.top)
    if off > 0.03 or full < 0.85 or p.width < 0.85 * p.height or p.height > 1.5 * thick + 3 or abs(middle - 0.5) > 0.05:
        return False
    box = mask[p.top : p.bottom, p.left : p.right]
    for lengths in (box.sum(axis=1), box.sum(axis=0)):
        n = len(lengths)
        sides = sorted((int(lengths[n // 5]), int(lengths[n - 1 - n // 5])))
        if sides[0] < 0.88 * sides[1]:
            return False
    return True


def _is_triangle(p: Part, mask: NDArray[np.bool_]) -> bool:
    """Whether a part is surely no minus but a triangle: its ink lies a sixth off the middle, its lines grow evenly."""
    off, full = _lean(p, mask)
    if off < 0.09 or full > 0.75 or not 0.6 < p.width / p.height < 1.7:
        return False
    box = mask[p.top : p.bottom, p.left : p.right]
    for lengths in (box.sum(axis=1).astype(float), box.sum(axis=0).astype(float)):
        n = len(lengths)
        if n < 6:
            continue
        fit = np.polyfit(np.arange(n), lengths, 1)
        left = lengths - np.polyval(fit, np.arange(n))
        total = float(((lengths - lengths.mean()) ** 2).sum())
        if abs(fit[0]) * (n - 1) > 0.65 * lengths.max() and float((left**2).sum()) < 0.15 * total:
            return True
    return False


def crowned(row: Row, c: Cell) -> bool:
    """Whether ink lies over or under the empty part of a 1's cell, where another figure would have a level bar."""
    strip = row.strip
    usual = float(np.median(strip[c.part.top : c.part.bottom, c.part.left : c.part.right].max(axis=1)))
    x0, x1 = max(round(c.left), 0), max(c.part.left - 3, round(c.left) + 1)
    zones = strip[max(c.part.top - 22, 0) : c.part.top + 4, x0:x1], strip[c.part.bottom - 4 : c.part.bottom + 22, x0:x1]
    return any(z.size > 0 and float(z.mean(axis=1).max()) > 0.4 * usual for z in zones)


def unexplained(places: list[Cell], everything: list[Part], mask: NDArray[np.bool_]) -> str:
    """Strokes in the row that are no digit, minus or small sign, and might be a digit lost.

    A degree ring over a word is as high as a digit, but has no stroke as long as a digit's.
    """
    taken = {id(c.part) for c in places}
    for p in everything:
        if id(p) in taken:
            continue
        near = p.right > places[0].left - 1.2 * TALL and p.left < places[-1].right + 1.2 * TALL
        if p.height > (0.42 if near else 0.62) * TALL and upright(mask, p) > UPRIGHT:
            return "a tall stroke beside the digits is not understood"
        between = places[0].right < p.left and p.right < places[-1].left
        if between and p.height > 0.12 * TALL:
            return "something stands between the digits"
    return ""
