"""A level bar photographed as laid and turned end for end, from one tripod: how its edge lies in both."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calibration.edges import Edge, find_edges
from calibration.lens.model import Lens
from shared.errors import UserError
from shared.numerics.arrays import F64, U8
from shared.turns import wrap_half_turn

LEAST_BAR_LENGTH = 0.12
"""Least length of an edge, parts of the diagonal. By judgement: 600 pixels of a 12-megapixel photo, over which an edge
point's noise of 0.1 pixel is worth under 0.01 degrees."""
NEAR_BAR = 0.08
"""How far from the point given the bar may lie, and how far it may have moved, in parts of the diagonal. By judgement:
a person points to within some centimetres; at twice this a neighbouring edge may be taken."""
STEEPEST_DEG = 20.0
"""Steepest that the bar may seem: a level bar seen by a camera held by hand. By judgement; no upright edge comes
near."""
STILL = 0.004
"""Background edges that moved less than this, in parts of the diagonal, are taken for the same. 20 pixels at 12
megapixels; by judgement: other edges parallel to an edge lie farther off."""
MOVED_DEG = 0.5
"""Turn of the camera that is still taken off. By judgement: what turns so far has been carried as well, and near and
far edges then differ."""
NAMED_DEG = 0.02
"""Turn of the camera from which it is named in a note: below it nothing but the edges' own noise."""
AS_LONG = 0.6
"""The bar's length in one photo over that in the other, at least. By judgement: less is another edge, or a bar half
covered."""
REMEDY = "give --at X Y, a pixel on the bar's edge, and take both photos from one tripod"


@dataclass(frozen=True)
class BarPair:
    """Inclination of the bar's edge in the two photos, degrees, left end up positive, camera's own roll
    included (it is the same in both and drops out of the difference). notes : doubts."""

    laid_deg: float
    turned_deg: float
    notes: tuple[str, ...]


def bar_pair(laid: U8, turned: U8, lens: Lens, at: tuple[float, float] | None = None) -> BarPair:
    """Find the bar's edge in both photos.

    at : a pixel near it; None: the middle. If the camera turned between the photos, the edges of the
    background tell, and it is taken off. A camera that looks 15 deg askew along the bar alters a difference
    by 3 %. Raises UserError where the edge is not found in both, or the camera moved too far.

    laid, turned : (h, w) grey pictures of the bar as laid down and after it was turned end for end, the camera left
    where it stood. lens : of both.
    """
    h, w = laid.shape
    diagonal = math.hypot(w, h)
    spot = np.array(at if at is not None else ((w - 1) / 2, (h - 1) / 2))
    first, second = find_edges(laid, LEAST_BAR_LENGTH), find_edges(turned, LEAST_BAR_LENGTH)
    bar = _bar(first, spot, NEAR_BAR * diagonal, lens)
    if bar is None:
        raise UserError("the bar's edge", "is not found as laid", REMEDY)
    there = _bar(second, bar.points[len(bar.points) // 2], NEAR_BAR * diagonal, lens)
    if there is None:
        raise UserError("the bar's edge", "is not found after turning", REMEDY)
    if min(bar.length, there.length) < AS_LONG * max(bar.length, there.length):
        raise UserError("the bar's edge", f"shows {bar.length:.0f} px as laid and {there.length:.0f} px turned", REMEDY)
    turns = [
        wrap_half_turn(_slope(b, lens) - _slope(a, lens))
        for a in first
        if not _beside(a, bar, NEAR_BAR * diagonal, lens)
        for b in second
        if _same(a, b, STILL * diagonal)
    ]
    notes = []
    turn = 0.0
    if len(turns) >= 3:
        turn = float(np.median(turns))
        if abs(turn) > MOVED_DEG:
            raise UserError("the camera", f"turned by {turn:.2f} deg between the photos", REMEDY)
        if abs(turn) > NAMED_DEG:
            notes.append(f"the camera turned by {turn:+.3f} deg between the photos: taken off")
    else:
        notes.append("too little background to check that the camera stood still")
    return BarPair(_slope(bar, lens), _slope(there, lens) - turn, tuple(notes))


def _bar(edges: list[Edge], spot: F64, near: float, lens: Lens) -> Edge | None:
    """The longest near-level edge that passes the spot."""
    for e in edges:
        if abs(_slope(e, lens)) <= STEEPEST_DEG and float(np.linalg.norm(e.points - spot, axis=1).min()) <= near:
            return e
    return None


def _beside(e: Edge, bar: Edge, near: float, lens: Lens) -> bool:
    """Whether an edge is the bar's own or its other rim, which says nothing of the camera."""
    off = float(np.linalg.norm(bar.points[:, None] - e.points[None, ::4], axis=2).min())
    return e is bar or (off <= near and abs(wrap_half_turn(_slope(e, lens) - _slope(bar, lens))) < 3.0)


def _same(a: Edge, b: Edge, near: float) -> bool:
    """Whether two edges are the same: both of b's ends near the line of a, and the middles together."""
    middle = float(np.linalg.norm(a.points[len(a.points) // 2] - b.points[len(b.points) // 2]))
    along = (a.points[-1] - a.points[0]) / a.length
    off = np.abs((b.points[[0, -1]] - a.points[0]) @ np.array([-along[1], along[0]]))
    return middle <= 5 * near and bool(np.all(off <= near)) and b.length > 0.7 * a.length


def _slope(e: Edge, lens: Lens) -> float:
    """Inclination of an edge by a straight line through its undistorted points, degrees, left end up
    positive.

    Only meaningful modulo 180 for steep edges, which serve for differences.
    """
    rays = lens.rays(e.points)
    along = np.linalg.svd(rays - rays.mean(axis=0), full_matrices=False)[2][0]
    if along[0] < 0:
        along = -along
    return math.degrees(math.atan2(along[1], along[0]))
