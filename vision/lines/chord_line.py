"""The chord line of one rib: looked for in its plane, chosen, measured, and judged once more as measured."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from shared.numerics.arrays import F64, Box
from shared.numerics.small_sums import straight
from vision.cards.detect import Card
from vision.evidence.belief import Belief, beliefs, believed_at
from vision.evidence.kinds import PLACES
from vision.evidence.posterior import Line
from vision.evidence.views import Photograph, View, level_view
from vision.image.photo import Picture
from vision.image.rectified import Plane
from vision.lines.chord import ChordChoice, as_measured, choose_chord
from vision.lines.hints import Hint
from vision.lines.measure import Stroke, measure
from vision.lines.tracing import hinted_ends, reach_px, same_ink, segment
from vision.solution.solve import Solution

TOO_FAINT = "the chord line is too faint to measure: draw it darker"


@dataclass(frozen=True)
class Sight:
    """One rib as its lines are looked for.

    right : whether the leading edge points to the right. papers, foreign : (4, 2) sheet mm of its own and of other cards.
    boxes : (u0, v0, u1, v1) sheet mm of its own. scale : pixels a mm. blur : standard deviation of the picture's, pixels.
    level, levels : the view of level lines and what is believed of each, strips centred at `middle`, sheet mm.
    """

    photo: Photograph
    plane: Plane
    right: bool
    papers: list[F64]
    foreign: list[F64]
    boxes: tuple[Box, ...]
    scale: float
    blur: float
    chord_mm: float
    level: View
    levels: list[Belief]
    middle: float


@dataclass(frozen=True)
class ChordLine:
    """The line found. stroke : None with a reason. ends : (2, 2) sheet mm. chance : that it is the chord line, as measured.
    belief : of the line as measured; None where a person pointed at it."""

    choice: ChordChoice
    stroke: Stroke | None = None
    ends: F64 | None = None
    chance: float = 0.0
    reason: str | None = None
    belief: Belief | None = None


def sheet_plane(solution: Solution, cards: tuple[Card, ...]) -> Plane:
    """The rib plane with its origin in the middle of the first card.

    solution : of the cards. cards : in the solution's order.
    """
    middle = np.array([*(np.array(cards[0].spec.size_mm) / 2), 0.0])
    s = solution.state
    return Plane.from_pose(s.rotation, s.rotation @ middle + s.shift, solution.theta())


def look(
    picture: Picture, plane: Plane, cards: tuple[Card, ...], others: tuple[Card, ...], right: bool, chord_mm: float
) -> Sight:
    """Lay a rib's plane flat and ask what its level lines are. others : cards of other stations.

    picture : the whole photo. plane : of the rib. cards : its own. right : whether the leading edge points to the
    right. chord_mm : of the rib.
    """
    papers = [plane.to_sheet(c.at(c.spec.paper())) for c in cards]
    foreign = [plane.to_sheet(c.at(c.spec.paper())) for c in others]
    boxes = tuple(_box(p) for p in papers)
    scale = float(np.median([c.px_per_mm for c in cards]))
    photo = Photograph.of(picture, scale)
    level = level_view(photo, plane, papers, foreign, chord_mm)
    middle = (min(b[0] for b in boxes) + max(b[2] for b in boxes)) / 2
    levels = beliefs(level, chord_mm, np.full(len(level.candidates), middle), right)
    blur = 0.8 * float(np.median([c.blur_px for c in cards]))
    return Sight(photo, plane, right, papers, foreign, boxes, scale, blur, chord_mm, level, levels, middle)


def find_chord(
    sight: Sight, hint: Hint | None = None, keep: Callable[[Belief], bool] | None = None, line: Line = "chord"
) -> ChordLine:
    """Find and measure it. keep : which candidates come into question; all by default. line : by which prior odds it is
    chosen (`posterior.PRIOR_NONE`).

    sight : how the rib is looked at. hint : the line pointed at by a person, which is then measured in place of a
    choice.
    """
    picture, plane, mm = sight.photo.picture, sight.plane, sight.chord_mm
    same = partial(same_ink, picture, plane, sight.scale, sight.blur)
    levels = sight.levels if keep is None else [b for b in sight.levels if keep(b)]
    choice = choose_chord(sight.photo.half, plane, levels, sight.boxes, 2.0 / sight.scale, same, line)
    if hint is not None:
        ends = hinted_ends(plane, hint)
    elif choice.chosen is None:
        return ChordLine(choice, reason=choice.reason)
    else:
        ends = _further(choice.chosen.belief.ends, mm / PLACES)
    stroke = measure(
        picture.gray,
        plane,
        ends[0],
        ends[1],
        half_px=reach_px(sight.scale),
        segment_mm=segment(ends),
        blur_px=sight.blur,
    )
    if stroke is None:
        return ChordLine(choice, None, ends, reason=TOO_FAINT)
    ends = _seen_ends(stroke)
    if hint is not None:
        return ChordLine(choice, stroke, ends, 1.0)
    again = believed_at(sight.level, ends, mm, sight.middle, sight.right)
    return ChordLine(choice, stroke, ends, as_measured(choice, again.of("chord"), line), None, again)


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
