"""One station's result put together, with its headline and its flags."""

from __future__ import annotations

from collections.abc import Sequence

from rigging.crosscheck.types import CrossCheck, Pair
from rigging.survey.decision import Decision
from rigging.survey.fairness import Fairness
from rigging.survey.gauge_marks import stands_out
from rigging.survey.model import LineResult, State, StationResult
from rigging.survey.rib_or_jig import RibOrJig
from rigging.survey.station_lines import Lines
from rigging.survey.wing import Symmetry, Washout
from shared.flags import Flag, FlagCode, remarks
from shared.job.model import Station
from shared.reading import Reading
from shared.rounding import degrees, number


def station_result(
    s: Station,
    lines: Lines,
    out: Washout | None,
    pairs: Sequence[Symmetry],
    fair: Fairness | None,
    part: RibOrJig,
    check: CrossCheck | None,
    readings: Sequence[Reading],
) -> StationResult:
    """Put one station together. pairs : symmetry of all pairs; its own is picked out."""
    decision = lines.chord.decision
    state: State = "not measured" if decision is None else decision.outcome
    gauge = tuple(p for p in check.pairs if p.station == s.name) if check else ()
    flags = [*lines.chord.flags, *lines.spar.flags]
    flags += [f for r in readings for f in remarks((*r.flags, *r.chord.flags, *r.spar.flags))]
    flags += [_at_odds(p, check) for p in gauge if check is not None and not p.agrees]
    mate = next((p for p in pairs if s.name in (p.left, p.right)), None)
    return StationResult(
        s,
        state,
        _headline(s, state, lines.chord),
        lines.chord,
        lines.spar,
        lines.built_in,
        out,
        mate,
        fair,
        part,
        gauge,
        tuple(dict.fromkeys(flags)),
    )


def _at_odds(pair: Pair, check: CrossCheck) -> Flag:
    """The flag of a pair that disagrees; its code tells whether a fault of all gauge readings explains it."""
    verdict = check.diagnosis.verdict
    text = (
        f"camera and inclinometer disagree on the {pair.line} line: {degrees(pair.camera)} against "
        f"{degrees(pair.gauge)}, En {number(pair.en, 1)}"
    )
    if verdict is not None and verdict.faults and not stands_out(pair, check):
        return FlagCode.GAUGE_AT_FAULT.flag(f"{text}; a fault of all the inclinometer's readings explains it")
    return FlagCode.GAUGE_DISAGREES.flag(text)


def _headline(s: Station, state: State, chord: LineResult) -> str:
    if chord.quantity is None or chord.decision is None or chord.deviation is None:
        return f"{s.name}: not measured: {chord.reason}"
    text = (
        f"{s.name}: {state}: chord {degrees(chord.quantity, sign=True)}, "
        f"{number(chord.deviation.value, 2, sign=True)}° from design, "
        f"tolerance ±{number(chord.decision.tolerance_deg, 2)}°"
    )
    if state != "undecided":
        return text
    if chord.decision.why:
        return f"{text} ({chord.decision.why})"
    return f"{text}; {100 * chord.decision.p_conforming:.0f} % likely within"


def for_order(s: StationResult) -> tuple[str, Decision | None, str | None]:
    """What `order_to_check` needs: name, decision, and the reason or the doubt."""
    odds = next((f.text for f in s.flags if f.code is FlagCode.GAUGE_DISAGREES), None)
    return s.station.name, s.chord.decision, s.chord.reason if s.chord.decision is None else odds
