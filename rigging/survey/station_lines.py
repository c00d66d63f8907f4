"""One station's lines as the survey takes them: combined, marked, set against the design, judged."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from rigging.order.happened import Happened
from rigging.planning.advice import advise
from rigging.survey.decision import decide
from rigging.survey.drawn_line import with_marking
from rigging.survey.model import LineResult, RootSetting, Stage
from rigging.survey.repeats import Combined, combine_photos
from rigging.survey.rib_or_jig import built_in_design, built_in_tolerance
from rigging.survey.ties import Tie, ties_of, with_tie
from shared.gauge.readings import Line
from shared.job.model import Job, Station
from shared.quantity import Quantity
from shared.reading import Advice, Reading


@dataclass(frozen=True)
class Asked:
    """How the survey is to be evaluated; everything that a verdict depends on beside job and readings."""

    set_aside: Mapping[str, str]
    root_setting: RootSetting
    stage: Stage | None
    now: datetime
    happened: Happened = field(default_factory=Happened)


@dataclass(frozen=True)
class Lines:
    """One station's two lines and built-in angle, with doubt in words."""

    chord: LineResult
    spar: LineResult
    built_in: LineResult


def combined(job: Job, s: Station, readings: Sequence[Reading], line: Line, asked: Asked) -> Combined:
    """One line's angle from all photos of one station, as the survey asks."""
    u_lean = s.u_lean_deg if s.u_lean_deg is not None else job.wing.u_lean_deg
    return combine_photos(readings, line, set_aside=asked.set_aside, u_lean_deg=u_lean)


def chords_of(job: Job, by_station: Mapping[str, list[Reading]], asked: Asked) -> dict[str, Combined]:
    """Every station's chord angle: its own photos', with what photos of several ribs add."""
    own = {s.name: combined(job, s, by_station[s.name], "chord", asked) for s in job.stations}
    ties: dict[str, Tie] = ties_of(by_station, own)
    return {name: with_tie(each, ties.get(name)) for name, each in own.items()}


def root_off_of(job: Job, chords: Mapping[str, Combined], asked: Asked) -> Quantity | None:
    """The root's chord deviation to be taken out; None when it is kept or the root was not measured."""
    if asked.root_setting == "kept":
        return None
    root = job.station(job.wing.root)
    value = chords[root.name].quantity
    return None if value is None else with_marking(value, job, root.name, "chord").shifted(-root.chord_deg)


def lines_of(
    job: Job, s: Station, readings: Sequence[Reading], chord_angle: Combined, asked: Asked, root_off: Quantity | None
) -> Lines:
    """Chord, spar line and built-in angle of one station, each judged. chord_angle : see `chords_of`."""
    tips = _tips(readings)
    chord = _line(job, s, "chord", chord_angle, asked, root_off, tips)
    spar = _line(job, s, "spar", combined(job, s, readings, "spar", asked), asked, root_off, tips)
    return Lines(chord, spar, _built_in(s, chord, spar))


def _tips(readings: Sequence[Reading]) -> tuple[Advice, ...]:
    """The reader's own advice, where a single photo makes the station (its U before and after then hold)."""
    measured = [r for r in readings if r.measured]
    return measured[0].advice if len(measured) == 1 else ()


def _line(
    job: Job,
    s: Station,
    line: Line,
    every: Combined,
    asked: Asked,
    root_off: Quantity | None,
    tips: tuple[Advice, ...],
) -> LineResult:
    design: float | None = s.chord_deg if line == "chord" else s.spar_deg
    tolerance: float | None = s.chord_tolerance_deg if line == "chord" else s.spar_tolerance_deg
    result = LineResult(line, every, None, design, tolerance, None, None, every.flags, every.reason)
    if every.quantity is None:
        return result
    quantity = with_marking(every.quantity, job, s.name, line)
    result = replace(result, quantity=quantity)
    if design is None:
        return result
    deviation = quantity.shifted(-design)
    if asked.root_setting == "taken out":
        if root_off is None:
            return replace(
                result,
                reason=f"the root {job.wing.root}, whose setting is to be taken out, was not measured",
            )
        deviation = deviation - root_off
        if s.name == job.wing.root and line == "chord":
            deviation = Quantity(0.0)
    result = replace(result, deviation=deviation)
    if tolerance is None:
        return result
    verdict = decide(deviation, tolerance, doubt_of(result))
    return replace(result, decision=replace(verdict, advice=advise(verdict, deviation, every.used, tips)))


def _built_in(s: Station, chord: LineResult, spar: LineResult) -> LineResult:
    design, flags = built_in_design(s), tuple(dict.fromkeys(chord.flags + spar.flags))
    nothing = Combined(None, (), math.nan, 0, math.nan, math.nan, flags=flags)
    if chord.quantity is None or spar.quantity is None:
        reason = chord.reason if chord.quantity is None else spar.reason
        return LineResult("built-in", replace(nothing, reason=reason), None, design, None, None, None, flags, reason)
    camera = chord.combined.quantity, spar.combined.quantity
    assert camera[0] is not None and camera[1] is not None
    camera_only = replace(nothing, quantity=(camera[0] - camera[1]).shifted(90.0))
    quantity = (chord.quantity - spar.quantity).shifted(90.0)
    result = LineResult("built-in", camera_only, quantity, design, None, None, None, flags)
    if design is None:
        return result
    deviation = quantity.shifted(-design)
    tolerance = built_in_tolerance(s)
    doubt = doubt_of(chord) or doubt_of(spar)
    return replace(result, tolerance_deg=tolerance, deviation=deviation, decision=decide(deviation, tolerance, doubt))


def doubt_of(line: LineResult) -> str | None:
    """Why a line's angle must not be trusted, in words; None when it may."""
    return line.combined.doubt
