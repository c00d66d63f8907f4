"""A line by name that two edges mark: a bolt, a tube, the edge pair of any straight part."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from shared.lines import Role
from shared.numerics.arrays import F64
from vision.evidence.posterior import ALIKE, DOUBT
from vision.image.rectified import Reduced, lay_flat
from vision.lines.chord_line import Sight
from vision.lines.edges import EdgeLook, edge_pairs, edge_votes, measure_pair, seen_along
from vision.lines.measure import Stroke
from vision.lines.rib import ring_of
from vision.lines.tracing import line_seen
from vision.named.drawn import EQUAL, TILTED, place_odds
from vision.named.found import FoundLine
from vision.named.sought import Sought

SEEN = 0.5
"""Part of the stated length over which both edges must show."""
NO_BAR = 0.03
"""Odds of none of the pairs found being it, over those of one anywhere in the window."""
SEGMENT_MM = 1.5
"""Least length of a segment: bolts are short."""
NOT_FOUND = (
    "no two parallel edges {width:.1f} mm apart were found where the job says it is: correct from_card_mm or width_mm, or put a "
    "ground behind it that it stands out from"
)


def find_bar(sight: Sight, want: Sought) -> FoundLine:
    """Find and measure it."""
    name, width, length = want.line.name, want.line.width_mm, want.line.length_mm
    assert width is not None and length is not None and want.middle is not None
    half = 0.5 * length
    a, b = want.middle - half * want.along, want.middle + half * want.along
    plane = sight.plane.turned_to(a, b)
    scale = sight.photo.scale
    upright = want.line.runs == "upright"
    reduced = Reduced.of(sight.photo.picture.gray, 1, 4) if upright else Reduced.of(sight.photo.picture.gray, 4, 1)
    wide = 0.5 * width + 2 * want.within_mm + TILTED * half
    sheet = lay_flat(reduced, plane, (-want.within_mm, -wide, length + want.within_mm, wide), 4.0 / scale, 1.0 / scale)
    covers = tuple(_turned(ring_of(box), a, want.along) for box in sight.boxes)
    votes = edge_votes(sheet, covers)
    look = EdgeLook(sight.photo.picture.gray, plane, covers, width, sight.blur, SEGMENT_MM)
    found: list[Stroke] = []
    for pair in edge_pairs(sheet, votes, width):
        both = seen_along(votes, pair.upper, pair.slope) & seen_along(votes, pair.lower, pair.slope)
        if both.sum() * sheet.mm_u < SEEN * length:
            continue
        got = measure_pair(look, sheet, votes, pair)
        stroke = None if got is None else got.stroke
        if stroke is None or stroke.length_mm < SEEN * length or any(_same(stroke, s) for s in found):
            continue
        found.append(stroke)
    found = [_back(s, a, want.along) for s in found]
    odds = np.array([place_odds(want, s.uv[[0, -1]]) for s in found])
    if not len(odds) or odds.max() / (NO_BAR + odds.sum()) < 1 - DOUBT:
        alike = len(odds) > 1 and np.sort(odds)[-2] / odds.sum() > ALIKE
        return FoundLine(name, reason=EQUAL if alike else NOT_FOUND.format(width=width))
    best = int(odds.argmax())
    stroke = found[best]
    seen = replace(line_seen(Role.NAMED, stroke), name=name)
    chance = float(odds[best] / (NO_BAR + odds.sum()))
    return FoundLine(name, (seen,), None, chance, "edge", (stroke.uv[[0, -1]],), (stroke,))


def _turned(points: F64, a: F64, along: F64) -> F64:
    """Sheet points (n, 2) in the sheet with its origin at a and u along `along`."""
    q = np.array([-along[1], along[0]])
    return np.stack([(points - a) @ along, (points - a) @ q], axis=1)


def _back(stroke: Stroke, a: F64, along: F64) -> Stroke:
    """The stroke with its centres in the plane's own sheet."""
    q = np.array([-along[1], along[0]])
    return replace(stroke, uv=a + stroke.uv[:, :1] * along + stroke.uv[:, 1:] * q)


def _same(one: Stroke, other: Stroke) -> bool:
    slope = np.polyfit(other.uv[:, 0], other.uv[:, 1], 1)
    ends = one.uv[[0, -1]]
    return bool(np.abs(np.polyval(slope, ends[:, 0]) - ends[:, 1]).max() < 1.0)
