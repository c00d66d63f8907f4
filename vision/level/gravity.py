"""The level reference of a photo: every string that hangs before the rib, and the level line on it: a laser's, or the
levelled straightedge that the job states."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from importlib import import_module

import numpy as np

from calibration.level.reversal import level_zero
from shared.job.model import Job, Station
from shared.job.named import Place
from shared.lines import REFERENCES, Role, Shows, reference_of
from shared.numerics.arrays import F64
from vision.evidence.belief import Belief, beliefs, believed_at
from vision.evidence.kinds import KINDS, PLACES
from vision.evidence.posterior import LEAST_ERROR, POSSIBLE, Line, sure, true_reference
from vision.evidence.views import View
from vision.level.straightedge import Straightedge, find_straightedge
from vision.level.string import line_ends, measure_string, scatter
from vision.lines.crossing import crossing_of, crossings
from vision.lines.hints import Hint
from vision.lines.measure import Stroke, measure
from vision.lines.rib import RibFace
from vision.lines.tracing import hinted_ends, line_seen, segment
from vision.solution.solve import LineSeen

TAKEN = 0.2
"""Probability from which on a candidate counts as a level reference. By judgement, and not the last word: `GIVE` and
`DOUBT` judge what is used. Doubled, faint strings are refused rather than flagged; halved, shadows are taken."""
CROOKED_PX = 0.8
"""Scatter of its centres beyond which a string is not straight: a good one has a tenth of it. By judgement; doubled, a
swinging string's mean direction would be taken for plumb."""
SHORTEST_LEVEL_LINE = 0.1
"""A level line seen over less of the rib than this, in chords, is too short. On a chord of 1 m, 0.1 mm of waviness over
it is 0.06 degrees already."""
SURELY_STRAIGHTEDGE = 0.98
"""Probability that a straightedge found where the job states one is it (by judgement: nothing of the kind was seen taken for one
since its face is looked at, in photos too few to tell one in twenty)."""
SAME_STRING_MM = 12.0
"""Strings nearer to each other than this, at both ends, are one. By judgement: one string found twice askew; two
strings are hung a hand's breadth apart or more."""
NO_REFERENCE = "no level reference was found: hang a string before the rib, or throw a level laser line on it"
CROOKED = (
    "the string does not show as one straight line (draught, a knot, something like it beside it): let it hang still "
    "before a plain background"
)
FAINT_STRING = (
    "a string seems to hang before the rib but cannot be measured: use one of a colour that differs from rib and wall"
)


@dataclass(frozen=True)
class Judged:
    """A level reference as measured. kind : of line. share : the witness's probability of it by itself. used : or left out."""

    line: LineSeen
    kind: Line
    share: float
    used: bool


@dataclass(frozen=True)
class Gravity:
    """The references used, or the reason why none.

    strings : what is believed of each string used, as measured. chance : probability that all references are true. rival :
    what the least sure of them may be instead. judged : all that were measured, the used ones and those left out. weighed :
    all upright candidates, for the picture.
    """

    lines: tuple[LineSeen, ...] = ()
    strokes: tuple[Stroke, ...] = ()
    strings: tuple[Belief, ...] = ()
    reference: str | None = None
    reason: str | None = None
    chance: float = 0.0
    rival: str = ""
    judged: tuple[Judged, ...] = ()
    weighed: tuple[Belief, ...] = ()


@dataclass(frozen=True)
class Look:
    """What level references are looked for with.

    level, levels : the view along the chord line and what is believed of its candidates, strips centred at middle_mm.
    upright, uprights : the same of upright lines, each strip centred where its candidate crosses the chord line; empty
    where a person pointed at a reference.
    """

    rib: RibFace
    level: View
    levels: list[Belief]
    middle_mm: float
    upright: View
    uprights: list[Belief]
    station: Station | Place
    job: Job
    hints: Mapping[Role, Hint]

    @property
    def by_hand(self) -> bool:
        """Whether a person pointed at a level reference: no other is looked for."""
        return any(role.is_reference for role in self.hints)


@dataclass(frozen=True, eq=False)
class Found:
    """A level reference as measured: what kind of line it is, the witness's probability of it by itself, what it believes of
    it (None where it has no word for it), and the observation that it gives as the k-th one of its role, counted from 1."""

    role: Role
    stroke: Stroke
    kind: Line
    share: float
    belief: Belief | None
    line: Callable[[int], LineSeen]

    @property
    def chance(self) -> float:
        """Probability that it is one."""
        return true_reference(self.kind, self.share)


Finder = Callable[[Look], tuple[list[Found], str | None]]
"""Finds the references of one role, the surest first, or gives a reason why there is none (None: nothing to say)."""


def find_gravity(
    rib: RibFace,
    level: View,
    levels: list[Belief],
    middle_mm: float,
    upright: View,
    station: Station | Place,
    job: Job,
    hints: Mapping[Role, Hint],
) -> Gravity:
    """Find and measure the level references of every role. Parameters as of `Look`.

    rib : the one they are looked for at. level, levels : the view along the chord line and what is believed of each
    candidate. middle_mm : u of the strips' middle, sheet mm. upright : the view of upright lines. station, job : what
    is stated of reference and chord. hints : by role, lines pointed at by a person.
    """
    look = Look(rib, level, levels, middle_mm, upright, [], station, job, hints)
    if not look.by_hand:
        weighed = beliefs(upright, rib.chord_mm, crossings(upright, rib.chord), rib.forward_right)
        look = replace(look, uprights=weighed)
    found, reasons = [], []
    for role in REFERENCES:
        some, reason = _finder(role)(look)
        found += some
        reasons += [reason] if reason else []
    if job.level.straightedge_mm is not None and not any(f.kind == "straightedge" for f in found):
        found = [replace(f, kind="string instead") if f.kind == "string" else f for f in found]
    if not found:
        return Gravity(reason=reasons[-1] if reasons else NO_REFERENCE, weighed=tuple(look.uprights))
    best = max(f.chance for f in found)
    used = [f for f in found if sure(f.chance) or f.chance == best]
    judged = []
    count = dict.fromkeys(REFERENCES, 0)
    for f in sorted(found, key=lambda f: f not in used):
        count[f.role] += 1
        judged.append(Judged(f.line(count[f.role]), f.kind, f.share, f in used))
    strings = tuple(f.belief for f in used if f.role.shows is Shows.PLUMB and f.belief is not None)
    least = min(strings, key=lambda b: b.of("string"), default=None)
    return Gravity(
        tuple(j.line for j in judged if j.used),
        tuple(f.stroke for f in used),
        strings,
        reference_of(f.role for f in used),
        None,
        float(np.prod([f.chance for f in used])),
        least.instead_of("string") if least is not None else "",
        tuple(judged),
        tuple(look.uprights),
    )


def _finder(role: Role) -> Finder:
    """The finder that a role names, loaded on first use."""
    module, _, name = role.finder.partition(":")
    finder: Finder = getattr(import_module(module), name)
    return finder


def find_strings(look: Look) -> tuple[list[Found], str | None]:
    """Every string that hangs before the rib.

    look : see `Look`. Returns the strings, the surest first, and a reason where there are none.
    """
    strings, reason = _hinted_string(look.rib, look.hints), None
    if not look.by_hand:
        strings, reason = _strings(look.rib, look.upright, look.uprights)

    def line(stroke: Stroke, k: int) -> LineSeen:
        source = f"string {k} at {look.station.name}"
        return line_seen(Role.PLUMB, stroke, look.job.level.u_deg, source, Role.PLUMB.own)

    return [Found(Role.PLUMB, s, "string", b.of("string"), b, partial(line, s)) for s, b in strings], reason


def find_level_line(look: Look) -> tuple[list[Found], str | None]:
    """The level line on the rib: the levelled straightedge that the job states, else a laser's.

    look : see `Look`. Returns the line and a reason where there is none.
    """
    rib, level = look.rib, look.job.level
    bar = Straightedge()
    if level.straightedge_mm is not None and not look.by_hand:
        bar = find_straightedge(rib, level.straightedge_mm)
    kind: Line = "laser" if bar.stroke is None else "straightedge"
    found = (
        _laser(rib, look.level, look.levels, look.middle_mm, look.hints)
        if bar.stroke is None
        else (bar.stroke, SURELY_STRAIGHTEDGE)
    )
    if found is None:
        return [], bar.reason
    stroke, share = found

    def line(_: int) -> LineSeen:
        zero = level_zero(level, look.job.folder)
        source = f"level reference {level.profile or ''}".strip()
        return line_seen(Role.LEVEL, stroke, max(zero.u, 1e-4), source, Role.LEVEL.own, zero.value)

    return [Found(Role.LEVEL, stroke, kind, share, None, line)], None


def _hinted_string(rib: RibFace, hints: Mapping[Role, Hint]) -> list[tuple[Stroke, Belief]]:
    if Role.PLUMB not in hints:
        return []
    ends = hinted_ends(rib.plane, hints[Role.PLUMB])
    stroke = measure_string(rib, ends, None)
    return [] if stroke is None else [(stroke, _certain("string", ends))]


def _strings(rib: RibFace, view: View, weighed: list[Belief]) -> tuple[list[tuple[Stroke, Belief]], str | None]:
    """The strings measured, the surest first, each with what is believed of it as measured; a reason where none."""
    found: list[tuple[Stroke, Belief]] = []
    reason: str | None = None
    for belief in sorted(weighed, key=lambda b: -b.of("string")):
        if belief.of("string") < (
            TAKEN if any(sure(true_reference("string", b.of("string"))) for _, b in found) else POSSIBLE
        ):
            break  # beside a sure one only what may be as sure is worth a look
        if any(not _apart(belief.ends, _ends(s)) for s, _ in found):
            continue
        stroke = measure_string(rib, belief.ends, crossing_of(belief.ends, rib.chord))
        if stroke is None or scatter(stroke) > CROOKED_PX:
            reason = reason or (FAINT_STRING if stroke is None else CROOKED) if belief.of("string") > TAKEN else reason
            continue
        ends = np.stack(line_ends(stroke, float(belief.ends[0, 1]), float(belief.ends[1, 1])))
        v = float(crossing_of(ends, rib.chord)[1])
        again = believed_at(view, ends, rib.chord_mm, v, rib.forward_right)
        if again.of("string") > TAKEN and all(_apart(_ends(stroke), _ends(s)) for s, _ in found):
            found.append((stroke, again))
    return found, reason


def _laser(
    rib: RibFace, view: View, levels: list[Belief], middle_mm: float, hints: Mapping[Role, Hint]
) -> tuple[Stroke, float] | None:
    """The level line measured and the witness's probability of it."""
    if any(role.is_reference for role in hints):
        if Role.LEVEL not in hints:
            return None
        stroke = _level_stroke(rib, hinted_ends(rib.plane, hints[Role.LEVEL]))
        return None if stroke is None else (stroke, 1 - LEAST_ERROR)
    for belief in sorted(levels, key=lambda b: -b.of("laser")):
        if belief.of("laser") < POSSIBLE:
            return None
        ends = _within(belief.ends, rib.chord)
        stroke = _level_stroke(rib, ends) if ends[1, 0] - ends[0, 0] > SHORTEST_LEVEL_LINE * rib.chord_mm else None
        if stroke is None:
            continue
        again = believed_at(view, np.stack([stroke.uv[0], stroke.uv[-1]]), rib.chord_mm, middle_mm, rib.forward_right)
        if again.of("laser") > TAKEN:
            return stroke, again.of("laser")
    return None


def _level_stroke(rib: RibFace, ends: F64) -> Stroke | None:
    return measure(
        rib.photo.picture.gray,
        rib.plane,
        ends[0],
        ends[1],
        half_px=float(np.clip(3.2 * rib.photo.scale, 7, 12)),
        segment_mm=segment(ends),
        blur_px=max(rib.blur, 1.2),
        avoid=rib.boxes,
    )


def _within(ends: F64, chord: F64) -> F64:
    """A line's ends, brought in to where the chord line is: what lies beyond is no rib."""
    u = np.clip(ends[:, 0], chord[0, 0], chord[1, 0])
    slope = (ends[1, 1] - ends[0, 1]) / (ends[1, 0] - ends[0, 0])
    return np.stack([u, ends[0, 1] + slope * (u - ends[0, 0])], axis=1)


def _certain(kind: str, ends: F64) -> Belief:
    """What a person pointed at."""
    shares = np.zeros(len(KINDS))
    shares[KINDS.index(kind)] = 1.0
    places = ends[0] + np.linspace(0, 1, PLACES)[:, None] * (ends[1] - ends[0])
    return Belief(ends, places, np.ones(PLACES), shares)


def _ends(stroke: Stroke) -> F64:
    """(2, 2) sheet mm, top first."""
    return np.stack([stroke.uv[0], stroke.uv[-1]])


def _apart(a: F64, b: F64) -> bool:
    """Whether two upright lines (2, 2) sheet mm, top first, are two strings, not one found twice."""
    lo, hi = max(a[0, 1], b[0, 1]), min(a[1, 1], b[1, 1])
    if hi <= lo:
        lo, hi = min(a[0, 1], b[0, 1]), max(a[1, 1], b[1, 1])

    def at(ends: F64, v: float) -> float:
        d = ends[1] - ends[0]
        return float(ends[0, 0] + d[0] * (v - ends[0, 1]) / d[1])

    off = [at(a, v) - at(b, v) for v in (lo, hi)]
    return min(abs(off[0]), abs(off[1])) > SAME_STRING_MM and off[0] * off[1] > 0
