"""What is detected about a rib, in order: chord line, level reference, spar line, marks."""

from __future__ import annotations

from dataclasses import dataclass

from shared.job.model import Job, Station
from shared.lines import Role
from shared.numerics.arrays import F64, Box
from vision.cards.detect import Card
from vision.evidence.views import Photograph, upright_view
from vision.image.photo import Picture
from vision.image.rectified import Plane
from vision.level.gravity import Gravity, find_gravity
from vision.lines.chord import RIM_MM, ChordChoice
from vision.lines.chord_line import find_chord, look, sheet_plane
from vision.lines.hints import Hint
from vision.lines.marks import Mark, find_marks, locate
from vision.lines.measure import Stroke
from vision.lines.rib import RibFace
from vision.lines.spar import SparChoice, find_spar
from vision.lines.tracing import line_seen
from vision.named.drawn import Around
from vision.named.find import find_named
from vision.named.found import FoundLine
from vision.solution.solve import LineSeen, Solution

MARK_REACH_MM = 10.0
"""How far off the line a printed mark is still looked for. By judgement: a mark whose rim touches the line (8 mm) is
reported as off the line, not overlooked."""
UPRIGHT_COSINE = 0.75
"""Least cosine between the card's arrow and the photo's horizontal for the photo to count as upright. 41 degrees of
roll: past 45 the photo lies on its side. By judgement; no rib stands like that."""
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
    named : the job's named lines.
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
    named: tuple[FoundLine, ...] = ()

    @property
    def observed(self) -> tuple[LineSeen, ...]:
        """Every line that the joint solution takes in."""
        return (*self.lines, *(line for found in self.named for line in found.lines))

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
    """Find and measure every line on and before the rib plane of `solution`. others : cards of other stations.

    picture : the whole photo. solution : from the cards alone. cards : of this station, in the solution's order.
    station, job : for chord length, spar place and the level reference; design angles are not read. hints : lines
    pointed at by a person, in place of a search.
    """
    plane = sheet_plane(solution, cards)
    toward = float(solution.state.rotation[:, 0] @ plane.along_u)
    right = toward > 0
    if abs(toward) < UPRIGHT_COSINE:
        return Detections(plane, right, SIDEWAYS)
    mm = station.chord_mm
    sight = look(picture, plane, cards, others, right, mm)
    by_role = {h.role: h for h in hints}
    line = find_chord(sight, by_role.get(Role.CHORD))
    stroke, ends, choice = line.stroke, line.ends, line.choice
    if stroke is None or ends is None:
        return Detections(plane, right, line.reason, chord=choice, chord_ends=ends)
    photo, level, papers, foreign, boxes = sight.photo, sight.level, sight.papers, sight.foreign, sight.boxes
    rib = RibFace(photo, plane, ends, mm, right, sight.blur, boxes)
    upright = upright_view(photo, plane, papers, foreign, mm, ends, False)
    gravity = find_gravity(rib, level, sight.levels, sight.middle, upright, station, job, by_role)
    so_far = Detections(
        plane, right, gravity.reason, (line_seen(Role.CHORD, stroke), *gravity.lines), (stroke, *gravity.strokes), choice,
        ends, line.chance, gravity,
    )  # fmt: skip
    # a rib's dimensions need no level reference
    if gravity.reason and not any(d.place == station.name for d in job.dimensions):
        return so_far
    across = upright_view(photo, plane, papers, foreign, mm, ends, True)
    spar = find_spar(rib, across, stroke, station, by_role.get(Role.SPAR))
    lines, strokes = so_far.lines, so_far.strokes
    if spar.stroke is not None:
        lines, strokes = (*lines, line_seen(Role.SPAR, spar.stroke)), (*strokes, spar.stroke)
    marks = tuple(m for m in (_located(picture, plane, k) for k in _marks(photo, plane, ends, boxes)) if m is not None)
    around = Around(ends, stroke, tuple(s.uv[[0, -1]] for s in strokes))
    named = find_named(sight, cards, station, job, around)
    return Detections(
        plane, right, gravity.reason, lines, strokes, choice, ends, line.chance, gravity, spar, marks, named
    )


def _marks(photo: Photograph, plane: Plane, ends: F64, boxes: tuple[Box, ...]) -> list[Mark]:
    """Looked for well beyond the line: a mark beside it means that one of the two is wrong."""
    return [
        m
        for m in find_marks(photo.half, plane, ends, 0.05, 2.0 / photo.scale, MARK_REACH_MM)
        if not any(b[0] - RIM_MM < m.uv[0] < b[2] + RIM_MM and b[1] - RIM_MM < m.uv[1] < b[3] + RIM_MM for b in boxes)
    ]


def _located(picture: Picture, plane: Plane, mark: Mark) -> LocatedMark | None:
    if mark.kind == "quartered":
        got = locate(picture.gray, plane, mark)
        return None if got is None else LocatedMark(mark, *got)
    return LocatedMark(mark, plane.to_pixels(mark.uv[None])[0], float("nan"))
