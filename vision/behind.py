"""The ribs that stand behind the foremost one: whose line is whose, and what else shows gravity before them.

What stands before hides what stands behind. So where a card can be read, no nearer rib's face is; a line that runs into a
rib's own card, or passes close by it, and shows right there lies on that rib's face, and one that runs into the card of a
farther rib cannot lie on a nearer one's. Where the cards do not decide, the station is refused with a reason: no angle goes
under another's name.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from shared.job.model import Job, Station
from shared.lines import Role
from shared.numerics.arrays import F64
from vision.cards.detect import Card
from vision.detect import SIDEWAYS, UPRIGHT_COSINE, Detections
from vision.evidence.belief import SHOWN_FROM, Belief
from vision.evidence.posterior import DOUBT, sure
from vision.evidence.views import upright_view
from vision.image.photo import Picture
from vision.image.rectified import Plane
from vision.level.gravity import Gravity, find_gravity
from vision.lines.chord_line import ChordLine, Sight, find_chord, look, sheet_plane
from vision.lines.rib import RibFace
from vision.lines.tracing import line_seen
from vision.solution.solve import Solution

DEPTH = 0.18
"""Greatest depth of a rib, chords (common practice, no source: ribs are up to 17 % deep)."""
BESIDE_CARD = 0.12
"""Within this of its own card, in chords, a line must show: farther off another rib's face may have come before it. By
judgement: of the order of a rib's depth; halved, lines that something hides beside the card are refused, doubled,
another rib's face may lie between."""
ON_THE_CARD = 0.03
"""A line that passes a card this close, in chords, lies on the card's own face: no outline of a nearer rib fits
between. By judgement: a third of the depth of a slender rib."""
LEAST_SHOWN = 0.25
"""Part of the chord over which a line behind must be measured. By judgement: a short line's direction is less sure in
proportion, and the shorter a find the likelier it is an edge between ribs."""
LONGER_THAN_CHORD = 1.08
"""A line this much longer than the chord is another rib's, nearer or farther than the plane it was laid flat in. By
judgement: a rib bay of 0.1 to 0.3 m seen from 1 to 2 m makes 5 to 30 %."""
SAME_PX = 6.0
"""Lines that keep this close to each other in the photo are one. By judgement: a little more than a drawn line's
breadth; halved, a line found twice counts as two."""
OVERLAP_PX = 60.0
"""Over so much, at least, two lines must run beside each other to be one. By judgement: ten times `SAME_PX`, so that
crossing lines are never one."""


@dataclass(frozen=True)
class Behind:
    """A station behind the foremost. poses : of its plane by its cards alone, best first. found : its lines, or None with a
    reason."""

    station: Station
    cards: tuple[Card, ...]
    poses: tuple[Solution, ...] = ()
    found: Detections | None = None
    reason: str | None = None


def look_behind(
    picture: Picture,
    main: tuple[Station, tuple[Card, ...], Detections],
    further: Sequence[Behind],
    strangers: tuple[Card, ...],
    job: Job,
) -> tuple[Behind, ...]:
    """Find the lines of the stations behind, the nearer first.

    further : with their poses, or with the reason why there are none. strangers : cards of no station.

    picture : the whole photo. main : the foremost station, its cards, its lines. job : for chord lengths and what is
    stated of the level reference.
    """
    station, cards, found = main
    before: list[Detections] = [found]
    unread = [] if found.strokes else [station.name]
    out: list[Behind] = []
    for k, one in enumerate(further):
        if one.reason is None:
            rest = (*cards, *strangers, *(c for b in further if b is not one for c in b.cards))
            one = _found(picture, one, rest, tuple(before), tuple(further[:k]), tuple(further[k + 1 :]), unread, job)
        if one.found is not None and one.found.strokes:
            before.append(one.found)
        out.append(one)
    return tuple(out)


def _found(
    picture: Picture,
    one: Behind,
    rest: tuple[Card, ...],
    before: tuple[Detections, ...],
    nearer: tuple[Behind, ...],
    farther: tuple[Behind, ...],
    unread: list[str],
    job: Job,
) -> Behind:
    """One station's chord line, measured, or the reason why it is not read."""
    if unread:
        return replace(
            one, reason=f"no line of {unread[0]}, which stands before it, was found: whose line is whose is open"
        )
    plane = sheet_plane(one.poses[0], one.cards)
    toward = float(one.poses[0].state.rotation[:, 0] @ plane.along_u)
    if abs(toward) < UPRIGHT_COSINE:
        return replace(one, reason=SIDEWAYS)
    if (toward > 0) != before[0].forward_right:
        return replace(
            one, reason="the arrow of its card points the other way than the foremost rib's: turn the card round"
        )
    sight = look(picture, plane, one.cards, rest, toward > 0, one.station.chord_mm)
    taken = [line.pixels for d in before for line in d.lines if line.role in (Role.CHORD, Role.LEVEL)]
    line = find_chord(sight, None, _not_of(plane, taken), "chord behind")
    if line.stroke is None or line.ends is None:
        return replace(one, reason=f"its chord line does not show well enough: {line.reason}")
    if 1 - line.chance > DOUBT:
        return replace(one, reason="its chord line does not show well enough to be distinguished from other lines")
    reason = whose(one, sight, line, nearer, farther)
    if reason is not None:
        return replace(one, reason=reason)
    gravity = _gravity(sight, line, one.station, job, before)
    return replace(
        one,
        found=Detections(
            plane,
            sight.right,
            None,
            (line_seen(Role.CHORD, line.stroke), *gravity.lines),
            (line.stroke, *gravity.strokes),
            line.choice,
            line.ends,
            line.chance,
            gravity,
        ),
    )


def _not_of(plane: Plane, taken: list[F64]) -> Callable[[Belief], bool]:
    """Whether a candidate is none of the lines already measured on nearer ribs, pixels (n, 2) each."""

    def free(b: Belief) -> bool:
        ends = plane.to_pixels(b.ends)
        return not any(same_in_photo(ends, other) for other in taken)

    return free


def same_in_photo(ends: F64, other: F64) -> bool:
    """Whether the line through two pixels (2, 2) and one seen at pixels (n, 2) are one in the photo, as far as both reach.

    ends : of one line as measured. other : points of the other in order along it.
    """
    length = float(np.linalg.norm(ends[1] - ends[0]))
    way = (ends[1] - ends[0]) / length
    along = (other - ends[0]) @ way
    beside = (along > 0) & (along < length)
    if beside.sum() < 3 or np.ptp(along[beside]) < OVERLAP_PX:
        return False
    off = np.abs((other[beside] - ends[0]) @ np.array([-way[1], way[0]]))
    return bool(np.quantile(off, 0.8) < SAME_PX)


def whose(
    one: Behind, sight: Sight, line: ChordLine, nearer: tuple[Behind, ...], farther: tuple[Behind, ...]
) -> str | None:
    """Why a measured line is not shown to be this station's; None where it is.

    one : the station. sight : how its lines were looked for. line : with stroke and ends. nearer, farther : the other
    stations behind, seen from this one.
    """
    assert line.stroke is not None and line.ends is not None
    ends, plane = line.ends, sight.plane
    part = line.stroke.length_mm / sight.chord_mm
    if part < LEAST_SHOWN:
        return f"its chord line shows over only {100 * part:.0f} % of the chord: move so that the ribs hide less of each other"
    if part > LONGER_THAN_CHORD:
        return f"a line {100 * part:.0f} % of its chord long was found, which must be another rib's"
    for other in farther:
        if any(_runs_into(plane, ends, c) for c in other.cards):
            return f"the line found runs into {other.station.name}'s card, which stands farther back: it is no line of this rib"
    own = [c for c in one.cards if _touches(plane, ends, c, sight.chord_mm)]
    if own:
        return (
            None
            if any(_shows_beside(plane, line, c, sight.chord_mm) for c in own)
            else ("its chord line does not show beside its own card: it may be another rib's")
        )
    if not could_be(plane, ends, one.cards, sight.chord_mm):
        return "the line found does not pass its card as close as one on the same rib would"
    for other in (*nearer, *farther):
        if other.found is None and _could_be_of(plane.to_pixels(ends), other):
            return f"the line found may as well be {other.station.name}'s: lay the card on the chord line"
    return None


def could_be(plane: Plane, ends: F64, cards: tuple[Card, ...], chord_mm: float) -> bool:
    """Whether a line through (2, 2) sheet mm passes each of a rib's cards within what the rib's depth leaves beside it.

    plane : of the rib. ends : left end first. cards : of that rib. chord_mm : its chord.
    """
    for card in cards:
        ring = plane.to_sheet(card.at(card.spec.paper()))
        off = _above(ends, ring)
        gap = max(float(off.min()), -float(off.max()), 0.0)
        if gap > max(DEPTH * chord_mm - float(np.ptp(off)), 0.0):
            return False
    return True


def _could_be_of(pixels: F64, other: Behind) -> bool:
    """The same in another station's plane; a plane that is not known leaves it open."""
    if not other.poses:
        return True
    plane = sheet_plane(other.poses[0], other.cards)
    return could_be(plane, plane.to_sheet(pixels), other.cards, other.station.chord_mm)


def _runs_into(plane: Plane, ends: F64, card: Card) -> bool:
    """Whether a line measured between (2, 2) sheet mm runs into the part of a card that is seen: between its corners."""
    seen = plane.to_sheet(card.pixels)
    reached = ends[0, 0] < seen[:, 0].max() and ends[1, 0] > seen[:, 0].min()
    off = _above(ends, seen)
    return bool(reached and off.min() < 0 < off.max())


def _touches(plane: Plane, ends: F64, card: Card, chord_mm: float) -> bool:
    """Whether a line through (2, 2) sheet mm runs into the part of a card that is seen, or passes close by."""
    off = _above(ends, plane.to_sheet(card.pixels))
    rim = card.spec.square_mm + ON_THE_CARD * chord_mm
    return bool(off.min() < rim and off.max() > -rim)


def _above(ends: F64, points: F64) -> F64:
    """(n,) mm of points (n, 2) from the line through (2, 2), down the sheet, both sheet mm."""
    slope = (ends[1, 1] - ends[0, 1]) / (ends[1, 0] - ends[0, 0])
    return np.asarray(points[:, 1] - (ends[0, 1] + slope * (points[:, 0] - ends[0, 0])), dtype=np.float64)


def _shows_beside(plane: Plane, line: ChordLine, card: Card, chord_mm: float) -> bool:
    """Whether the line as measured shows at a card or next to it, on either side."""
    if line.belief is None:
        return True
    ring = plane.to_sheet(card.at(card.spec.paper()))[:, 0]
    u = line.belief.places[:, 0]
    gap = np.maximum(ring.min() - u, u - ring.max())
    return bool((line.belief.seen[gap < BESIDE_CARD * chord_mm] > SHOWN_FROM).any())


def _gravity(sight: Sight, line: ChordLine, station: Station, job: Job, before: tuple[Detections, ...]) -> Gravity:
    """References before this rib that are as good as sure and that no nearer rib's search has found already."""
    assert line.ends is not None
    rib = RibFace(sight.photo, sight.plane, line.ends, sight.chord_mm, sight.right, sight.blur, sight.boxes)
    view = upright_view(sight.photo, sight.plane, sight.papers, sight.foreign, sight.chord_mm, line.ends, False)
    no_bar = replace(job, level=replace(job.level, straightedge_mm=None))
    got = find_gravity(rib, sight.level, sight.levels, sight.middle, view, station, no_bar, {})
    if got.reason or not sure(got.chance):
        return Gravity(reason=got.reason or "no reference beside the foremost rib's", weighed=got.weighed)
    known = [ln.pixels for d in before for ln in d.lines if ln.role.is_reference]
    fresh = [
        (ln, s)
        for ln, s in zip(got.lines, got.strokes, strict=True)
        if not any(same_in_photo(s.pixels[[0, -1]], k) for k in known)
    ]
    if not fresh:
        return Gravity(reason="no reference beside the foremost rib's")
    return replace(got, lines=tuple(ln for ln, _ in fresh), strokes=tuple(s for _, s in fresh))
