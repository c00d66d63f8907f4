"""The decimal point, and what else stands in a row and must be explained."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.display.minus import is_triangle, pieces
from vision.display.row import OVER, TALL, UPRIGHT, Part, Row, upright
from vision.display.segments import Cell, point_ink
from vision.display.types import F32, F64

GAP = 23
"""Strip rows between two segments of one stroke, at most: they are tied."""


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
    # one point stands in the row: what another place has is held against it, not against nothing
    apart = (0.6 - doubt / min(float(lit[at]), 1.0)) / 0.45
    return at, float(np.clip(min((lit[at] - 0.25) / 0.4, apart), 0, 1)), ""


def crowned(row: Row, c: Cell) -> bool:
    """Whether ink lies over or under the empty part of a 1's cell, where another figure would have a level bar."""
    strip = row.strip
    usual = float(np.median(strip[c.part.top : c.part.bottom, c.part.left : c.part.right].max(axis=1)))
    x0, x1 = max(round(c.left), 0), max(c.part.left - 3, round(c.left) + 1)
    zones = strip[max(c.part.top - 22, 0) : c.part.top + 4, x0:x1], strip[c.part.bottom - 4 : c.part.bottom + 22, x0:x1]
    return any(z.size > 0 and float(z.mean(axis=1).max()) > 0.4 * usual for z in zones)


def _is_frame(p: Part, mask: NDArray[np.bool_]) -> bool:
    """Whether a piece is the window's frame: it runs out of the strip far over or under the row.

    A thin line that crosses the strip, or one that leaves it at two sides.
    """
    rows, columns = mask.shape
    out = p.top <= 1 or p.bottom >= rows - 1
    return out and ((p.height > 1.3 * TALL and p.width < 0.3 * TALL) or p.left <= 3 or p.right >= columns - 3)


def unexplained(places: list[Cell], everything: list[Part], mask: NDArray[np.bool_], thick: float) -> str:
    """Strokes in the row that are no digit, minus or small sign, and might be a digit lost.

    Each connected piece is judged by itself: words, rings and triangles over each other are no tall stroke. The
    upright segments of a digit are about half its height less a stroke long; letters and signs have none so long.
    """
    outside = mask.copy()
    for c in places:
        outside[:, max(round(min(c.left, c.part.left)) - 3, 0) : round(max(c.right, c.part.right)) + 4] = False
    for piece in pieces(outside):
        if is_triangle(piece, thick):
            p = piece.part
            outside[p.top : p.bottom, p.left : p.right] &= ~piece.ink
    tied = cv2.morphologyEx(outside.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((GAP, 1), np.uint8)) > 0
    for piece in pieces(tied):
        p = piece.part
        if _is_frame(p, mask):
            continue
        near = p.right > places[0].left - 1.2 * TALL and p.left < places[-1].right + 1.2 * TALL
        top, foot = max(p.top, OVER - 12), min(p.bottom, OVER + TALL + 12)
        if foot - top < (0.42 if near else 0.62) * TALL or foot < OVER + 0.6 * TALL:
            continue
        own = np.zeros_like(outside)
        own[p.top : p.bottom, p.left : p.right] = piece.ink & outside[p.top : p.bottom, p.left : p.right]
        # every digit has an upright segment in its lower half; a degree ring has its sides in the upper one
        low = replace(p, top=max(top, OVER + round(0.45 * TALL)), bottom=foot)
        if upright(own, low) > max(UPRIGHT, 0.8 * (0.46 * TALL - thick)):
            return "a tall stroke beside the digits is not understood"
    taken = {id(c.part) for c in places}
    for p in everything:
        if id(p) not in taken and places[0].right < p.left and p.right < places[-1].left and p.height > 0.12 * TALL:
            return "something stands between the digits"
    return ""
