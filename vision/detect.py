"""What is looked for on the rib plane, in order: chord line, level reference, spar line, marks."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, partial
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from shared.job.model import Job, Station
from shared.numerics.small_sums import straight
from vision.cards.detect import Card
from vision.image.photo import Picture
from vision.image.rectified import Plane, Reduced, Sheet, lay_flat
from vision.level.gravity import Gravity, find_gravity
from vision.level.laser import laser_map
from vision.lines.chord import WIDEST_MM, ChordChoice, choose_chord
from vision.lines.hints import Hint
from vision.lines.marks import Mark, find_marks, locate
from vision.lines.measure import Stroke, measure
from vision.lines.spar_line import find_spar
from vision.lines.tracing import hinted_ends, line_seen, order, reach_px, same_ink, segment
from vision.solution.solve import LineSeen, Solution

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
Box = tuple[float, float, float, float]

ROLL_FREE_DEG = 6.0
"""How far an unlevelled hand may roll the camera, on top of the gate on the chord angle."""
MARK_REACH_MM = 10.0
"""How far off the line a printed mark is still looked for."""
STEEP = 0.75
"""Least cosine between the card's arrow and the photo's horizontal for the photo to count as upright."""


@dataclass(frozen=True)
class LocatedMark:
    """A mark, its centre in pixels (2,) with standard deviation; NaN deviation where only roughly known."""

    mark: Mark
    pixel: F64
    sigma_px: float


@dataclass(frozen=True)
class Findings:
    """Everything seen beside the cards, or the reason why it ends here.

    strokes : the measured lines, in the order of `lines`.
    """

    plane: Plane
    forward_right: bool
    reason: str | None
    lines: tuple[LineSeen, ...] = ()
    strokes: tuple[Stroke, ...] = ()
    chord: ChordChoice | None = None
    chord_ends: F64 | None = None
    gravity: Gravity | None = None
    spar_reason: str | None = None
    marks: tuple[LocatedMark, ...] = ()
    reference: Literal["plumb", "level", "both"] | None = None


def look(
    picture: Picture, solution: Solution, cards: tuple[Card, ...], station: Station, job: Job, hints: tuple[Hint, ...]
) -> Findings:
    """Find and measure every line on and before the rib plane of `solution`."""
    plane = sheet_plane(solution, cards)
    toward = float(solution.state.rotation[:, 0] @ plane.along_u)
    if abs(toward) < STEEP:
        return Findings(
            plane,
            toward > 0,
            "the card's arrow points up or down in the photo: turn the photo upright, or "
            "lay the card with its arrow towards the leading edge",
        )
    forward_right = toward > 0
    papers = [plane.to_sheet(c.at(c.spec.paper())) for c in cards]
    boxes = [_box(p) for p in papers]
    scale = float(np.median([c.px_per_mm for c in cards]))
    photo = Reduced(picture.half(), 2, 2)
    blur = 0.8 * float(np.median([c.blur_px for c in cards]))
    band = chord_band(picture, photo.further(4, 1), plane, boxes, station.chord_mm, scale)

    @cache
    def laser() -> F32:
        return laser_map(picture.small_colour(), band)

    by_role = {h.role: h for h in hints}
    choice = choose_chord(
        photo,
        band,
        boxes,
        papers,
        station.chord_mm,
        -station.chord_deg if forward_right else station.chord_deg,
        ROLL_FREE_DEG,
        laser,
        partial(same_ink, picture, plane, scale, blur),
    )
    if "chord" in by_role:
        ends = hinted_ends(plane, by_role["chord"])
    elif choice.chosen is None:
        return Findings(plane, forward_right, choice.reason, chord=choice)
    else:
        ends = choice.chosen.ends
    stroke = measure(
        picture.gray, plane, ends[0], ends[1], half_px=reach_px(scale), segment_mm=segment(ends), blur_px=blur
    )
    if stroke is None:
        return Findings(
            plane,
            forward_right,
            "the chord line is too faint to measure: draw it darker",
            chord=choice,
            chord_ends=ends,
        )
    if "chord" not in by_role and stroke.width_mm > WIDEST_MM:
        return Findings(
            plane,
            forward_right,
            f"what was found is {stroke.width_mm:.1f} mm wide, no pen draws so broad: the edge "
            "of a board, a shadow? Draw the chord line darker, or give a hint",
            chord=choice,
            chord_ends=ends,
        )
    ends = _onto(stroke, order(ends))
    tall = photo.further(1, 4)
    lit = laser() if any(dict(c.evidence)["laser colour"] > 0.3 for c in choice.candidates) else None
    gravity = find_gravity(
        picture, tall, plane, band, lit, ends, station, job, scale, blur, forward_right, by_role, tuple(boxes)
    )
    so_far = Findings(
        plane,
        forward_right,
        gravity.reason,
        (line_seen("chord", stroke), *gravity.lines),
        (stroke, *gravity.strokes),
        choice,
        ends,
        gravity,
        reference=gravity.reference,
    )
    if gravity.reason:
        return so_far
    spar, spar_reason = find_spar(
        picture,
        tall,
        plane,
        ends,
        stroke,
        gravity.string_ends,
        station,
        papers,
        scale,
        blur,
        forward_right,
        by_role.get("spar"),
    )
    lines, strokes = so_far.lines, so_far.strokes
    if spar is not None:
        lines, strokes = (*lines, line_seen("spar", spar)), (*strokes, spar)
    # looked for well beyond the line: a mark beside it means that one of the two is wrong
    marks = [
        m
        for m in find_marks(photo, plane, ends, 0.05, 2.0 / scale, MARK_REACH_MM)
        if not any(b[0] - 8 < m.uv[0] < b[2] + 8 and b[1] - 8 < m.uv[1] < b[3] + 8 for b in boxes)
    ]
    located = tuple(m for m in (_located(picture, plane, k) for k in marks) if m is not None)
    return Findings(
        plane, forward_right, None, lines, strokes, choice, ends, gravity, spar_reason, located, gravity.reference
    )


def sheet_plane(solution: Solution, cards: tuple[Card, ...]) -> Plane:
    """The rib plane with its origin in the middle of the first card."""
    middle = np.array([*(np.array(cards[0].spec.size_mm) / 2), 0.0])
    s = solution.state
    return Plane.from_pose(s.rotation, s.rotation @ middle + s.shift, solution.theta())


def chord_band(picture: Picture, wide: Reduced, plane: Plane, boxes: list[Box], chord_mm: float, scale: float) -> Sheet:
    """The strip of the rib plane in which the chord line must lie: a chord either way of the cards as far as the
    photo reaches, an eighth of it above and below."""
    b = np.array(boxes)
    middle = plane.to_pixels(np.array([[(b[:, 0].min() + b[:, 2].max()) / 2, (b[:, 1].min() + b[:, 3].max()) / 2]]))[0]
    sides = plane.to_sheet(np.array([[0.0, middle[1]], [picture.width - 1.0, middle[1]]]))[:, 0]
    u0, u1 = max(b[:, 0].min() - chord_mm, sides.min()), min(b[:, 2].max() + chord_mm, sides.max())
    return lay_flat(
        wide,
        plane,
        (u0, b[:, 1].min() - 0.12 * chord_mm, u1, b[:, 3].max() + 0.12 * chord_mm),
        max(8.0 / scale, (u1 - u0) / 511),
        2.0 / scale,
    )


def _onto(stroke: Stroke, ends: F64) -> F64:
    """The ends as found, moved across onto the measured line."""
    slope, at = straight(stroke.uv[:, 0], stroke.uv[:, 1])
    return np.stack([ends[:, 0], slope * ends[:, 0] + at], axis=1)


def _box(ring: F64) -> Box:
    (u0, v0), (u1, v1) = ring.min(0), ring.max(0)
    return float(u0), float(v0), float(u1), float(v1)


def _located(picture: Picture, plane: Plane, mark: Mark) -> LocatedMark | None:
    if mark.kind == "quartered":
        got = locate(picture.gray, plane, mark)
        return None if got is None else LocatedMark(mark, *got)
    return LocatedMark(mark, plane.to_pixels(mark.uv[None])[0], float("nan"))
