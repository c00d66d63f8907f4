"""A levelled straightedge held across the rib, as the job states it: two long straight edges a known width apart.

An edge alone is not believed: benches, shelves and boards have edges, too. What counts is what only a
straightedge before the rib shows: two edges as far apart as the job says and parallel, both seen over one
long stretch, before the rib (on its face, where a thing behind is hidden) *and* past one of its ends (where
tape or a capstrip on the rib has ended). Two such things in one photo are not decided between.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np

from shared.numerics.arrays import F32, F64, Bools
from vision.image.rectified import Plane, Reduced, Sheet, lay_flat
from vision.lines.edges import EdgeLook, Pair, edge_pairs, edge_votes, measure_pair, seen_along
from vision.lines.measure import Stroke
from vision.lines.rib import RibFace, ring_of

LONG, ON_RIB, PAST_MM = 0.35, 0.10, 20.0
"""Both edges must be seen over at least this part of the chord, this part before the rib, so far past one of its ends.
By judgement: what is shorter is more often a ruler or an offcut."""
RIM_MM, WHOLE = 3.0, 0.8
"""Where "past the end" begins, mm, and how much of the stretch from there must show both edges: something elsewhere
beyond the end is another thing. By judgement."""
SAME_BAR_MM = 3.0
"""Two finds nearer than this at both ends are one. Narrower than any bar."""
ONE_FACE = 0.15
"""Most that the face between the edges may change in brightness along its length, natural logarithm, robust standard deviation:
lamps and shadows change a bar's by 0.02 to 0.1, and what lies between two edges of different things by 0.25 and more
(ray-traced photos, few)."""
FACE_PARTS = 160
"""Places along the face at which that is looked at."""
ASKEW_DEG = 0.5
"""How flat it is held against the rib, standard uncertainty, about the upright (common practice, no source): it is level all the
same, but seen from above or below, its line in the picture turns by that times the slope of the view."""


@dataclass(frozen=True)
class Straightedge:
    """The middle line as measured, or the reason why there is none."""

    stroke: Stroke | None = None
    reason: str | None = None


def find_straightedge(rib: RibFace, width_mm: float) -> Straightedge:
    """Find and measure it. width_mm : between its long edges.

    rib : where it is looked for: on and about the rib's face, in its plane.
    """
    chord, c, scale = rib.chord, rib.chord_mm, rib.photo.scale
    middle = chord.mean(0)
    box = (chord[0, 0] - 0.35 * c, middle[1] - 0.3 * c, chord[1, 0] + 0.35 * c, middle[1] + 0.3 * c)
    sheet = lay_flat(Reduced.of(rib.photo.picture.gray, 4, 2), rib.plane, box, 8.0 / scale, 2.0 / scale)
    covers = tuple(ring_of(b) for b in rib.boxes)
    votes = edge_votes(sheet, covers)
    look = EdgeLook(rib.photo.picture.gray, rib.plane, covers, width_mm, rib.blur)
    found: list[Stroke] = []
    unclear = False
    for pair in edge_pairs(sheet, votes, width_mm):
        if _stands_before(sheet, votes, pair, rib):
            stroke = _measured(rib, look, sheet, votes, pair)
            unclear |= stroke is None
            if stroke is not None and _changes(rib, stroke) > ONE_FACE:
                unclear, stroke = True, None
            if stroke is not None and not any(_same(stroke, other) for other in found):
                found.append(stroke)
    if len(found) > 1:
        return Straightedge(
            None,
            f"two things in the photo look like a straightedge {width_mm:g} mm wide: take one away, or give a hint",
        )
    if found:
        return Straightedge(found[0])
    if unclear:
        return Straightedge(
            None,
            "the straightedge's edges are not seen clearly, or are not parallel and "
            f"{width_mm:g} mm apart: hold it flat against the rib, before a ground that it stands out from",
        )
    return Straightedge(
        None,
        f"the job says that a levelled straightedge {width_mm:g} mm wide is the level reference, but no "
        "two such edges were seen across the rib and past its end: hold it flat against the rib, one end "
        "standing out past the leading or trailing edge",
    )


def _same(a: Stroke, b: Stroke) -> bool:
    lines = [np.polyfit(s.uv[:, 0], s.uv[:, 1], 1) for s in (a, b)]
    u = a.uv[[0, -1], 0]
    return bool(np.abs(np.polyval(lines[0], u) - np.polyval(lines[1], u)).max() < SAME_BAR_MM)


def _stands_before(sheet: Sheet, votes: F32, p: Pair, rib: RibFace) -> bool:
    """Whether both edges are seen far enough, on the rib's face, and past one of its ends."""
    chord, chord_mm = rib.chord, rib.chord_mm
    cols = np.arange(votes.shape[1])
    both = seen_along(votes, p.upper, p.slope) & seen_along(votes, p.lower, p.slope)
    u = sheet.u0 + sheet.mm_u * cols.astype(np.float64)
    slope = (chord[1, 1] - chord[0, 1]) / (chord[1, 0] - chord[0, 0])
    line = chord[0, 1] + slope * (u - chord[0, 0])
    tail = np.abs(u - (chord[0, 0] if rib.forward_right else chord[1, 0]))
    along = (u > chord[0, 0]) & (u < chord[1, 0])
    on = np.zeros(len(cols), dtype=bool)
    for row in (p.upper, p.lower):
        height = line - (sheet.v0 + sheet.mm_v * (row + p.slope * cols))
        on |= (height < np.minimum(0.055 * chord_mm, 0.1 * tail)) & (height > -np.minimum(0.05 * chord_mm, 0.12 * tail))
    mm = sheet.mm_u
    past = any((both & _past(u, chord, way)).sum() * mm > WHOLE * PAST_MM for way in (-1, 1))
    return bool(both.sum() * mm >= LONG * chord_mm and (both & on & along).sum() * mm >= ON_RIB * chord_mm and past)


def _changes(rib: RibFace, stroke: Stroke) -> float:
    """Robust standard deviation, along a straightedge, of its face's brightness, natural logarithm."""
    slope, at = np.polyfit(stroke.uv[:, 0], stroke.uv[:, 1], 1)
    u = np.linspace(stroke.uv[0, 0], stroke.uv[-1, 0], FACE_PARTS)
    for u0, _, u1, _ in rib.boxes:  # a card may hang over it
        u = u[(u < u0) | (u > u1)]
    across = np.linspace(-0.35, 0.35, 8)[:, None] * stroke.width_mm
    uv = np.stack(np.broadcast_arrays(u, slope * u + at + across), axis=-1)
    half = (rib.plane.to_pixels(uv.reshape(-1, 2)).reshape(uv.shape).astype(np.float32) - 0.5) / 2
    seen = cv2.remap(rib.photo.half.image, half[..., 0], half[..., 1], cv2.INTER_LINEAR).astype(np.float64)
    tone = np.log(seen + 12.0).mean(0)
    return float(1.4826 * np.median(np.abs(tone - np.median(tone)))) if len(tone) else 0.0


def _past(u: F64, chord: F64, way: int) -> Bools:
    """Which of u (n,) sheet mm lie in the stretch just past the chord line's left (-1) or right (1) end."""
    beyond = chord[0, 0] - u if way < 0 else u - chord[1, 0]
    return np.asarray((beyond > RIM_MM) & (beyond < RIM_MM + PAST_MM))


def _askew(plane: Plane, uv: F64, scale: float) -> F64:
    """(n,) pixels by which one standard deviation of its turn against the rib, about the upright, moves each point."""
    middle = uv.mean(0)
    point = plane.origin + middle[0] * plane.along_u + middle[1] * plane.along_v
    rise = float(point @ plane.along_v) / float(point @ plane.normal)
    along = (uv - middle) @ (uv[-1] - uv[0]) / np.linalg.norm(uv[-1] - uv[0])
    return np.asarray(math.radians(ASKEW_DEG) * rise * along * scale)


def _measured(rib: RibFace, look: EdgeLook, sheet: Sheet, votes: F32, pair: Pair) -> Stroke | None:
    """The middle line, where both edges are clear past one of the rib's ends."""
    found = measure_pair(look, sheet, votes, pair)
    if found is None:
        return None
    u = found.centres[:, 0]
    enough = max(1, int(WHOLE * PAST_MM / look.segment(found.centres[-1] - found.centres[0])))
    if not any(found.both[_past(u, rib.chord, way)].sum() >= enough for way in (-1, 1)):
        return None
    stroke = found.stroke
    return replace(stroke, shade_px=_askew(rib.plane, stroke.uv, stroke.px_per_mm))
