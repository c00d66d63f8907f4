"""The job's dimensions judged: each from all photos that show it, against its design, and left against right.

The decision rule is that of the angles (`rigging.survey.decision`, JCGM 106:2012).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

from rigging.survey.decision import Decision, decide
from rigging.survey.dimension_words import exact_words, limit_of, value_words
from rigging.survey.repeats import Combined, combine_angles
from shared.dimensions import Dimension
from shared.flags import Flag, FlagCode, Scope
from shared.job.model import Job
from shared.quantity import Component, Quantity
from shared.reading import Advice, Angle, Measured, Reading
from shared.turns import wrap_half_turn

WAVES = frozenset({"pen waviness", "waviness of line or edge"})
"""Components that belong to the drawn line or the edge itself, and so are the same in every photo of it."""
OF_FILE = frozenset({FlagCode.SAME_PHOTO, FlagCode.NO_OVERLAY})
"""Flags of a reading that concern its dimensions as well; those of its string and of its lines do not."""


@dataclass(frozen=True)
class DimensionResult:
    """One dimension.

    combined : from all photos (mm or degrees). deviation : from design; None where it has no design or no value. decision :
    None likewise. limits : what limits its U, in words. words : the outcome in one sentence.
    """

    dimension: Dimension
    combined: Combined
    deviation: Quantity | None
    decision: Decision | None
    limits: str
    words: str

    @property
    def quantity(self) -> Quantity | None:
        """The value."""
        return self.combined.quantity

    @property
    def state(self) -> str:
        """The decision's outcome, "measured" for a value without a design, or "not measured"."""
        if self.decision is not None:
            return self.decision.outcome
        return "measured" if self.quantity is not None else "not measured"


@dataclass(frozen=True)
class SidesResult:
    """Left minus right of one dimension, the designs' own difference taken out; what both share has cancelled."""

    left: Dimension
    right: Dimension
    quantity: Quantity
    decision: Decision | None
    words: str


def judge(
    job: Job, readings: Sequence[Reading], set_aside: Mapping[str, str] | None = None
) -> tuple[tuple[DimensionResult, ...], tuple[SidesResult, ...]]:
    """Every dimension of the job, in its order, and every pair of left and right.

    readings : of all photos. set_aside : photo name or `Reading.key` -> the user's reason for leaving it out.
    """
    found = tuple(_judged(job, d, readings, set_aside or {}) for d in job.dimensions)
    return found, tuple(_sides(job, found))


def _judged(job: Job, d: Dimension, readings: Sequence[Reading], set_aside: Mapping[str, str]) -> DimensionResult:
    say = partial(value_words, job, d.kind.unit, sign=d.kind.signed)
    each = [(r, m) for r in readings for m in r.dimensions if (m.place, m.name) == (d.place, d.name)]
    seen = [(_bare(r), _of(d, m)) for r, m in _same_way_round(d, each)]
    combined = combine_angles(seen, d.key, set_aside=set_aside, say=say)
    if not seen:
        numbers = " or ".join(map(str, d.cards))
        combined = replace(combined, reason=f"no photo shows card {numbers}")
    q = combined.quantity
    if q is None:
        return DimensionResult(d, combined, None, None, "", f"{d.key}: not measured: {combined.reason}")
    limits = _limits(q)
    if d.design is None or d.tolerance is None:
        return DimensionResult(d, combined, None, None, limits, f"{d.key}: {say(q)}")
    off = q.shifted(-d.design)
    decision = decide(off, d.tolerance, combined.doubt)
    if decision.outcome == "undecided":
        decision = replace(decision, advice=(Advice(limits),) if limits else ())
    return DimensionResult(d, combined, off, decision, limits, _words(job, d, say(q), off, decision))


def _same_way_round(d: Dimension, each: Sequence[tuple[Reading, Measured]]) -> list[tuple[Reading, Measured]]:
    """Angles of one dimension by that half turn which lies nearest to its design, or to the first: a line has no head."""
    values = [m.quantity.value for _, m in each if m.quantity is not None]
    if d.kind.unit != "deg" or not values:
        return list(each)
    near = d.design if d.design is not None else values[0]
    return [
        (
            r,
            m
            if (q := m.quantity) is None
            else replace(m, quantity=q.shifted(near + wrap_half_turn(q.value - near) - q.value)),
        )
        for r, m in each
    ]


def _bare(reading: Reading) -> Reading:
    """The reading with those of its flags that its dimensions share; each has its own of card, lens and sharpness."""
    kept = tuple(f for f in reading.flags if f.code in OF_FILE or f.code.scope is Scope.BATCH)
    return replace(reading, flags=kept)


def _of(d: Dimension, m: Measured) -> Angle:
    """One photo's value; the line's own waviness as one error of all its photos."""
    if m.quantity is None:
        return Angle(None, m.reason, m.flags)
    waves = [c.u for c in m.quantity.components if c.name in WAVES]
    parts = tuple(c for c in m.quantity.components if c.name not in WAVES)
    if waves:
        name = next(c.name for c in m.quantity.components if c.name in WAVES)
        size = math.sqrt(math.fsum(u * u for u in waves))
        parts += (Component(name, f"drawn:{d.place} {' '.join(f.text for f in d.features)}", size),)
    return Angle(Quantity(m.quantity.value, parts), None, m.flags)


def _limits(q: Quantity) -> str:
    name, share, remedy = limit_of(q)
    return f"{name}, {100 * share:.0f} % of u²" + (f": {remedy}" if remedy else "")


def _words(job: Job, d: Dimension, value: str, off: Quantity, decision: Decision) -> str:
    unit = d.kind.unit
    text = (
        f"{d.key}: {decision.outcome}: {value}, {value_words(job, unit, off, sign=True)} from design, "
        f"tolerance ±{exact_words(job, unit, decision.tolerance_deg)}"
    )
    if decision.outcome != "undecided":
        return text
    return f"{text} ({decision.why})" if decision.why else f"{text}; {100 * decision.p_conforming:.0f} % likely within"


def _sides(job: Job, found: Sequence[DimensionResult]) -> list[SidesResult]:
    """Left against right: dimensions of one name and kind on both sides, where the sides have one of it each."""
    out = []
    by_name: dict[tuple[str, str], dict[str, list[DimensionResult]]] = {}
    for r in found:
        key = (r.dimension.name.casefold(), r.dimension.kind.value)
        by_name.setdefault(key, {}).setdefault(r.dimension.side, []).append(r)
    for each in by_name.values():
        lefts, rights = each.get("left", []), each.get("right", [])
        if len(lefts) == 1 and len(rights) == 1 and lefts[0].quantity and rights[0].quantity:
            out.append(_pair(job, lefts[0], rights[0], lefts[0].quantity, rights[0].quantity))
    return out


def _pair(job: Job, left: DimensionResult, right: DimensionResult, a: Quantity, b: Quantity) -> SidesResult:
    off = (a - b).shifted((right.dimension.design or 0.0) - (left.dimension.design or 0.0))
    limits = [d.tolerance for d in (left.dimension, right.dimension) if d.tolerance is not None]
    decision = decide(off, min(limits), left.combined.doubt or right.combined.doubt) if limits else None
    outcome = f"{decision.outcome}: " if decision else ""
    d = left.dimension
    words = (
        f"{d.name}: {outcome}{d.place} minus {right.dimension.place} "
        f"{value_words(job, d.kind.unit, off, sign=True)}"
        + (f", tolerance ±{exact_words(job, d.kind.unit, decision.tolerance_deg)}" if decision else "")
    )
    return SidesResult(d, right.dimension, off, decision, words)


def findings(found: Sequence[DimensionResult], sides: Sequence[SidesResult]) -> tuple[str, ...]:
    """What stands wrong, one sentence each. found, sides : as `judge` gives them."""
    wrong = [r.words for r in found if r.state == "nonconforming"]
    return (*wrong, *(s.words for s in sides if s.decision is not None and s.decision.outcome == "nonconforming"))


def verdict(stations: str, found: Sequence[DimensionResult], sides: Sequence[SidesResult]) -> str:
    """The wing's verdict. stations : that of the angles. found, sides : as `judge` gives them."""
    if not found:
        return stations
    wrong = [r.dimension.key for r in found if r.state == "nonconforming"]
    wrong += [
        f"{s.left.name}, left against right" for s in sides if s.decision and s.decision.outcome == "nonconforming"
    ]
    open_ = {k: [r.dimension.key for r in found if r.state == k] for k in ("undecided", "not measured")}
    tail = [f"{len(names)} {k} ({', '.join(names)})" for k, names in open_.items() if names]
    good = sum(r.state == "conforming" for r in found)
    judged = sum(r.decision is not None for r in found)
    said = [f"{good} of {judged} dimensions judged conform"] if judged else []
    rest = f" Dimensions: {'; '.join([*said, *tail])}." if said or tail else ""
    if wrong:
        are = "is" if len(wrong) == 1 else "are"
        return f"Not right as it stands: {', '.join(wrong)} {are} out of tolerance.{rest} Angles: {stations}"
    return stations + rest


def flags_of(found: Sequence[DimensionResult]) -> tuple[Flag, ...]:
    """Doubts, each named with the dimension that it is of. found : as `judge` gives them."""
    out = []
    for r in found:
        own = [f for p in r.combined.photos if p.weight > 0 for f in p.flags]
        out += [replace(f, text=f"{r.dimension.key}: {f.text}") for f in dict.fromkeys((*r.combined.flags, *own))]
    return tuple(out)
