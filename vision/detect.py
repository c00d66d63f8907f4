"""What is detected about a rib, in order: chord line, level reference, spar line, marks."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from shared.job.model import Job, Station
from shared.lines import Role
from shared.numerics.small_sums import straight
from vision.cards.detect import Card
from vision.evidence.belief import beliefs, believed_at
from vision.evidence.kinds import PLACES
from vision.evidence.views import Photograph, level_view, upright_view
from vision.image.photo import Picture
from vision.image.rectified import Plane
from vision.level.gravity import Gravity, find_gravity
from vision.level.rib import Rib
from vision.lines.chord import RIM_MM, ChordChoice, as_measured, choose_chord
from vision.lines.hints import Hint
from vision.lines.marks import Mark, find_marks, locate
from vision.lines.measure import Stroke, measure
from vision.lines.spar import SparChoice, find_spar
from vision.lines.tracing import hinted_ends, line_seen, reach_px, same_ink, segment
from vision.solution.solve import LineSeen, Solution

F64 = NDArray[np.float64]
Box = tuple[float, float, float, float]

MARK_REACH_MM = 10.0
"""How far off the line a printed mark is still looked for."""
STEEP = 0.75
"""Least cosine between the card's arrow and the photo's horizontal for the photo to count as upright."""
TOO_FAINT = "the chord line is too faint to measure: draw it darker"
SIDEWAYS = (
    "the card's arrow points up or down in the photo: turn the photo upright, or lay the card with its arrow towards the "
    "leading edge"
)


@dataclass(frozen=True)
class LocatedMark:
    """A mark, its centre in pixels (2,) with standard deviation; NaN deviation where only roughly known."""

    mark: Mark
    pixel: F64
    sigma_px: float


@dataclass(frozen=True)
class Detections:
    """Everything detected beside the cards, or the reason why it ends here.

    strokes : the measured lines, in the order of `lines`. chance : probability that the chord line, as measured, is it.
    """

    plane: Plane
    forward_right: bool
    reason: str | None
    lines: tuple[LineSeen, ...] = ()
    strokes: tuple[Stroke, ...] = ()
    chord: ChordChoice | None = None
    chord_ends: F64 | None = None
    chance: float = 0.0
    gravity: Gravity | None = None
    spar: SparChoice | None = None
    marks: tuple[LocatedMark, ...] = ()

    @property
    def reference(self) -> str | None:
        """What shows gravity."""
        return self.gravity.reference if self.gravity else None


def detect(
    picture: Picture,
    solution: Solution,
    cards: tuple[Card, ...],
    others: tuple[Card, ...],
    station: Station,
    job: Job,
    hints: tuple[Hint, ...],
) -> Detections:
    """Find and measure every line on and before the rib plane of `solution`. others : cards of other stations."""
    plane = sheet_plane(solution, cards)
    toward = float(solution.state.rotation[:, 0] @ plane.along_u)
    right = toward > 0
    if abs(toward) < STEEP:
        return Detections(plane, right, SIDEWAYS)
    papers = [plane.to_sheet(c.at(c.spec.paper())) for c in cards]
    foreign = [plane.to_sheet(c.at(c.spec.paper())) for c in others]
    boxes = tuple(_box(p) for p in papers)
    scale = float(np.median([c.px_per_mm for c in cards]))
    blur = 0.8 * float(np.median([c.blur_px for c in cards]))
    photo = Photograph.of(picture, scale)
    by_role = {h.role: h for h in hints}
    mm = station.chord_mm
    level = level_view(photo, plane, papers, foreign, mm)
    middle = (min(b[0] for b in boxes) + max(b[2] for b in boxes)) / 2
    levels = beliefs(level, mm, np.full(len(level.candidates), middle), right)
    choice = choose_chord(photo.half, plane, levels, boxes, 2.0 / scale, partial(same_ink, picture, plane, scale, blur))
    if Role.CHORD in by_role:
        ends = hinted_ends(plane, by_role[Role.CHORD])
    elif choice.chosen is None:
        return Detections(plane, right, choice.reason, chord=choice)
    else:
        ends = _further(choice.chosen.belief.ends, mm / PLACES)
    stroke = measure(
        picture.gray, plane, ends[0], ends[1], half_px=reach_px(scale), segment_mm=segment(ends), blur_px=blur
    )
    if stroke is None:
        return Detections(plane, right, TOO_FAINT, chord=choice, chord_ends=ends)
    ends = _seen_ends(stroke)
    chance = 1.0
    if Role.CHORD not in by_role and choice.chosen is not None:
        again = believed_at(level, ends, mm, middle, right)
        chance = as_measured(choice, again.of("chord"))
    rib = Rib(photo, plane, ends, mm, right, blur, boxes)
    upright = upright_view(photo, plane, papers, foreign, mm, ends, False)
    gravity = find_gravity(rib, level, levels, middle, upright, station, job, by_role)
    so_far = Detections(
        plane, right, gravity.reason, (line_seen(Role.CHORD, stroke), *gravity.lines), (stroke, *gravity.strokes), choice,
        ends, chance, gravity,
    )  # fmt: skip
    if gravity.reason:
        return so_far
    across = upright_view(photo, plane, papers, foreign, mm, ends, True)
    spar = find_spar(rib, across, stroke, station, by_role.get(Role.SPAR))
    lines, strokes = so_far.lines, so_far.strokes
    if spar.stroke is not None:
        lines, strokes = (*lines, line_seen(Role.SPAR, spar.stroke)), (*strokes, spar.stroke)
    marks = tuple(m for m in (_located(picture, plane, k) for k in _marks(photo, plane, ends, boxes)) if m is not None)
    return Detections(plane, right, None, lines, strokes, choice, ends, chance, gravity, spar, marks)


def sheet_plane(solution: Solution, cards: tuple[Card, ...]) -> Plane:
    """The rib plane with its origin in the middle of the first card."""
    middle = np.array([*(np.array(cards[0].spec.size_mm) / 2), 0.0])
    s = solution.state
    return Plane.from_pose(s.rotation, s.rotation @ middle + s.shift, solution.theta())


def _marks(photo: Photograph, plane: Plane, ends: F64, boxes: tuple[Box, ...]) -> list[Mark]:
    """Looked for well beyond the line: a mark beside it means that one of the two is wrong."""
    return [
        m
        for m in find_marks(photo.half, plane, ends, 0.05, 2.0 / photo.scale, MARK_REACH_MM)
        if not any(b[0] - RIM_MM < m.uv[0] < b[2] + RIM_MM and b[1] - RIM_MM < m.uv[1] < b[3] + RIM_MM for b in boxes)
    ]


def _further(ends: F64, mm: float) -> F64:
    """Both ends (2, 2) moved out: the witness says to a place of the strip where a line ends."""
    way = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0]) * mm
    return np.stack([ends[0] - way, ends[1] + way])


def _seen_ends(stroke: Stroke) -> F64:
    """(2, 2) sheet mm on the measured line, left end first, half a segment beyond the first and last one used."""
    slope, at = straight(stroke.uv[:, 0], stroke.uv[:, 1])
    half = 0.5 * float(np.median(np.diff(stroke.place)))
    u = np.array([stroke.uv[:, 0].min() - half, stroke.uv[:, 0].max() + half])
    return np.stack([u, slope * u + at], axis=1)


def _box(ring: F64) -> Box:
    (u0, v0), (u1, v1) = ring.min(0), ring.max(0)
    return float(u0), float(v0), float(u1), float(v1)


def _located(picture: Picture, plane: Plane, mark: Mark) -> LocatedMark | None:
    if mark.kind == "quartered":
        got = locate(picture.gray, plane, mark)
        return None if got is None else LocatedMark(mark, *got)
    return LocatedMark(mark, plane.to_pixels(mark.uv[None])[0], float("nan"))
