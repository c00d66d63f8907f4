"""Two lines of one part, one set against the other: is the part wrong, or what carries it?

    deviation of the line = deviation of its base (what carries it) + deviation of the angle built in between them

`rigging.survey.rib_or_jig` is the case of a rib's chord line on its spar line; here it is said of any two: a rib set against
a fitting, a strut on a web. The angle between them is taken within each photo, so that what the two share cancels.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rigging.survey.causes import Cause, cause_of, washout_left
from rigging.survey.decision import Decision, decide
from rigging.survey.drawn_line import with_marking
from rigging.survey.named_lines import between, design_a
from rigging.survey.repeats import combine_angles
from rigging.survey.station_lines import Asked
from shared.job.model import Job
from shared.job.named import LinePair, Place
from shared.quantity import Quantity
from shared.reading import Reading
from shared.rounding import degrees, number, places
from shared.turns import wrap_half_turn

Off = Mapping[tuple[str, str], tuple[Quantity, float, str | None]]
"""(station or place, line) -> its deviation counted as `a`, its tolerance, and why it must not be trusted."""


@dataclass(frozen=True)
class TwoLines:
    """A pair split. base_off, built_off : deviations, degrees, counted as `a` (`shared.job.named`); they add up to the line's.

    cause : "jig" where the base stands wrong, "rib" where the line is set wrong on it; the rest as of `RibOrJig`.
    """

    pair: LinePair
    cause: Cause
    base_off: Quantity | None
    built_off: Quantity | None
    base_decision: Decision | None
    built_decision: Decision | None
    words: str
    todo: str = ""


def split_pairs(job: Job, by_place: Mapping[str, Sequence[Reading]], offs: Off, asked: Asked) -> tuple[TwoLines, ...]:
    """Every pair of the job, and every line that is counted from another one."""
    known = {(p.at, p.line, p.base) for p in job.pairs}
    implied = (
        LinePair(line.at, line.name, line.to, line.tolerance_deg)
        for line in job.lines
        if line.to not in ("level", "plumb") and (line.at, line.name, line.to) not in known
    )
    return tuple(_split(job, pair, by_place.get(pair.at, ()), offs, asked) for pair in (*job.pairs, *implied))


def _split(job: Job, pair: LinePair, readings: Sequence[Reading], offs: Off, asked: Asked) -> TwoLines:
    every = combine_angles(
        [(r, between(r, pair.line, pair.base)) for r in readings],
        f"{pair.at} {pair.line} on {pair.base}",
        set_aside=asked.set_aside,
    )
    line, base = (design_a(job, pair.at, name) for name in (pair.line, pair.base))
    if every.quantity is None or line is None or base is None:
        return TwoLines(pair, "untold", None, None, None, None, f"{_head(pair)}: not told apart: {every.reason}")
    q = with_marking(with_marking(every.quantity, job, pair.at, pair.line), job, pair.at, pair.base)
    built = q.shifted(wrap_half_turn(q.value - (line - base)) - q.value)
    built_decision = decide(built, pair.tolerance_deg, every.doubt)
    carried = offs.get((pair.at, pair.base))
    if carried is None:
        sense = _sense(job, pair.at, built.value)
        said = f"{pair.line} {degrees(built, sign=True)} off {pair.base} ({sense}); how {pair.base} stands was not read"
        return TwoLines(pair, "untold", None, built, None, built_decision, f"{_head(pair)}: {said}")
    off, tolerance, doubt = carried
    base_decision = decide(off, tolerance, doubt)
    whole = offs.get((pair.at, pair.line))
    cause = cause_of(base_decision, built_decision, None if whole is None else decide(whole[0], whole[1], whole[2]))
    words = f"{_head(pair)}: {_what(pair, cause, base_decision, built_decision)}: {pair.base} {degrees(off, sign=True)} off "
    words += f"({_sense(job, pair.at, off.value)}); {pair.line} {degrees(built, sign=True)} off {pair.base} "
    words += f"({_sense(job, pair.at, built.value)}){_washout(job, pair, off)}"
    return TwoLines(pair, cause, off, built, base_decision, built_decision, words, _todo(job, pair, cause, off, built))


def _head(pair: LinePair) -> str:
    return f"{pair.at}: {pair.line} on {pair.base}"


def _sense(job: Job, at: str, value: float) -> str:
    """Which way a positive or negative turn goes on this face."""
    place = next((p for p in job.places if p.name == at), None)
    if isinstance(place, Place) and place.arrow == "outboard":
        return "outboard end up, top inboard" if value > 0 else "outboard end down, top outboard"
    return "nose-up, top aft" if value > 0 else "nose-down, top forward"


def _what(pair: LinePair, cause: Cause, base: Decision, built: Decision) -> str:
    true, right = built.outcome == "conforming", base.outcome == "conforming"
    heads: dict[Cause, str] = {
        "neither": "neither is shown to be wrong",
        "jig": f"{pair.base} stands wrong; {pair.line} is " + ("true to it" if true else "not shown to be wrong on it"),
        "rib": f"{pair.line} is set wrong on {pair.base}, which "
        + ("stands right" if right else "is not shown to be wrong"),
        "both": f"{pair.base} stands wrong and {pair.line} is set wrong on it as well",
        "sum": "each is within its own tolerance, but they add up to more than is allowed",
        "untold": "they cannot be told apart"
        + (f" ({base.why or built.why})" if base.why or built.why else " at this U"),
    }
    return heads[cause]


def _todo(job: Job, pair: LinePair, cause: Cause, off: Quantity, built: Quantity) -> str:
    carried = f"turn {pair.base} {number(abs(off.value), places(off.U))}° {_sense(job, pair.at, -off.value)}"
    own = f"set {pair.line} on {pair.base} {number(abs(built.value), places(built.U))}° {_sense(job, pair.at, -built.value)}"
    return {
        "jig": f"{carried}: both come right together; leave {pair.line} as it is set",
        "rib": f"{own}; leave {pair.base} alone",
        "both": f"{carried} first, then {own}",
        "sum": f"either will do: {carried}, or {own}",
    }.get(cause, "")


def _washout(job: Job, pair: LinePair, off: Quantity) -> str:
    """What a base that leans takes off the washout of a chord line set against it."""
    station = next((s for s in job.stations if s.name == pair.at), None)
    if station is None or pair.line != "chord" or station.name == job.wing.root or abs(off.value) <= off.U:
        return ""
    design = job.station(job.wing.root).chord_deg - station.chord_deg
    left, lost = washout_left(design, off.value)
    if not design or lost <= 0:
        return ""
    n = places(off.U)
    return (
        f"; its lean takes {number(off.value, n)}° of the {number(design, 2)}° washout away ({100 * lost:.0f} %), "
        f"{number(left, n)}° are left"
    )
