"""Lines by name as the survey takes them: combined from photos, set against the design, judged, put into words."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from calibration.gauge.profile import GaugeProfile, gauge_quantity
from rigging.crosscheck.numbers import en_number
from rigging.survey.decision import Decision, decide
from rigging.survey.drawn_line import with_marking
from rigging.survey.model import State
from rigging.survey.repeats import Combined, combine_angles
from rigging.survey.station_lines import Asked
from shared.flags import Flag
from shared.gauge.readings import GaugeReadings
from shared.job.model import Job, Station
from shared.job.named import OF_A_RIB, NamedLine, Place, design_direction
from shared.quantity import Quantity
from shared.reading import Angle, Reading
from shared.rounding import degrees, number, places

AS_THE_LINE = "its reference, {to}, has no angle: {why}"


@dataclass(frozen=True)
class GaugePair:
    """Camera and inclinometer on one named line, both counted as `a`, with the En number (ISO/IEC 17043)."""

    shown_deg: float
    camera: Quantity
    gauge: Quantity
    en: float

    @property
    def agrees(self) -> bool:
        """|En| <= 1."""
        return abs(self.en) <= 1.0


@dataclass(frozen=True)
class NamedResult:
    """One named line of the survey.

    combined : the camera's angle from all photos, as the job counts it. quantity : with the marking by hand. gravity : the
    line's `a` (`shared.job.named`) from all photos; None where no photo shows gravity. headline : one sentence. todo : what to
    turn; "" for nothing. gauge : the inclinometer's word beside the camera's.
    """

    line: NamedLine
    where: Station | Place
    combined: Combined
    quantity: Quantity | None
    deviation: Quantity | None
    decision: Decision | None
    gravity: Quantity | None
    headline: str
    todo: str = ""
    gauge: GaugePair | None = None

    @property
    def state(self) -> State:
        """The decision, or "not measured"."""
        return "not measured" if self.decision is None else self.decision.outcome

    @property
    def flags(self) -> tuple[Flag, ...]:
        """Doubts about it."""
        return self.combined.flags

    @property
    def reason(self) -> str | None:
        """Why it has no value."""
        return self.combined.reason

    @property
    def name(self) -> str:
        """Where and what, for a table."""
        return f"{self.line.at}: {self.line.name}"


def angle_of(reading: Reading, name: str) -> Angle:
    """A line's `a` in one photo: of a named line, or of the rib's chord or spar line."""
    if name in OF_A_RIB:
        return reading.chord if name == "chord" else reading.spar
    found = next((line.angle for line in reading.lines if line.name == name), None)
    return found or Angle(None, "the photo was measured before the job named this line")


def between(reading: Reading, name: str, base: str) -> Angle:
    """`a` of one line less that of another in one photo; what they share has cancelled, gravity where neither has any."""
    one, other = angle_of(reading, name), angle_of(reading, base)
    flags = tuple(dict.fromkeys(one.flags + other.flags))
    if one.quantity is not None and other.quantity is not None:
        return Angle(one.quantity - other.quantity, None, flags)
    loose = [_relative(reading, n) for n in (name, base)]
    if loose[0] is not None and loose[1] is not None:
        return Angle(loose[0] - loose[1], None, flags)
    if one.quantity is None:
        return Angle(None, one.reason)
    return Angle(None, AS_THE_LINE.format(to=base, why=other.reason))


def _relative(reading: Reading, name: str) -> Quantity | None:
    if name == "chord":
        return reading.relative
    return next((line.relative for line in reading.lines if line.name == name), None)


def counted(line: NamedLine, reading: Reading) -> Angle:
    """The line's angle in one photo as the job counts it."""
    if line.to in ("level", "plumb"):
        angle, reference = angle_of(reading, line.name), 0.0 if line.to == "level" else 90.0
    else:
        angle, reference = between(reading, line.name, line.to), 0.0
    if angle.quantity is None:
        return angle
    q = angle.quantity.scaled(float(line.sign))
    return replace(angle, quantity=q.shifted(line.counted(angle.quantity.value, reference) - q.value))


def named_results(
    job: Job,
    by_place: Mapping[str, Sequence[Reading]],
    asked: Asked,
    root_off: Quantity | None,
    gauge: tuple[GaugeReadings | None, GaugeProfile | None] = (None, None),
) -> tuple[NamedResult, ...]:
    """Every named line of the job. by_place : readings of each station and place. root_off : the root's deviation to be
    taken out of what is counted from gravity on faces along the wing's section; None: it is kept. gauge : the inclinometer's
    readings and its profile."""
    owners = {face.name: face for face in job.faces}
    found = (_result(job, owners[line.at], line, by_place.get(line.at, ()), asked, root_off) for line in job.lines)
    return tuple(replace(r, gauge=_gauge(job, r, asked, *gauge)) for r in found)


def _gauge(
    job: Job, r: NamedResult, asked: Asked, readings: GaugeReadings | None, profile: GaugeProfile | None
) -> GaugePair | None:
    """The inclinometer's word on a line beside the camera's; what it showed before the line was turned does not count."""
    turned = asked.happened.turned.get(r.line.at)
    shown = [
        g
        for g in (readings.named if readings else ())
        if (g.station, g.name) == r.line.key and (turned is None or (g.taken or "") > turned)
    ]
    if not shown or r.gravity is None or r.combined.doubtful:
        return None
    where, values, said = f"{r.line.at} {r.line.name}", [g.shown_deg for g in shown], [g.said for g in shown]
    gauge = gauge_quantity(values, where, shown[0].line, job.gauge, profile, said, r.gravity.value)
    return GaugePair(values[-1], r.gravity, gauge, en_number(r.gravity, gauge))


def _result(
    job: Job,
    where: Station | Place,
    line: NamedLine,
    readings: Sequence[Reading],
    asked: Asked,
    root_off: Quantity | None,
) -> NamedResult:
    u_lean = where.u_lean_deg if where.u_lean_deg is not None else job.wing.u_lean_deg
    what = f"{line.at} {line.name}"
    every = combine_angles(
        [(r, counted(line, r)) for r in readings], what, set_aside=asked.set_aside, u_lean_deg=u_lean
    )
    plain = combine_angles(
        [(r, angle_of(r, line.name)) for r in readings], what, set_aside=asked.set_aside, u_lean_deg=u_lean
    )
    if every.quantity is None:
        return NamedResult(
            line,
            where,
            every,
            None,
            None,
            None,
            plain.quantity,
            f"{line.at}: {line.name}: not measured: {every.reason}",
        )
    quantity = with_marking(every.quantity, job, line.at, line.name)
    deviation = quantity.shifted(-line.deg)
    if root_off is not None and line.to in ("level", "plumb") and getattr(where, "arrow", "forward") == "forward":
        deviation = deviation - root_off.scaled(float(line.sign))
    decision = decide(deviation, line.tolerance_deg, every.doubt)
    headline = _headline(line, quantity, deviation, decision)
    todo = _todo(line, deviation) if decision.outcome == "nonconforming" else ""
    return NamedResult(line, where, every, quantity, deviation, decision, plain.quantity, headline, todo)


def design_a(job: Job, at: str, name: str) -> float | None:
    """Design `a` of a line of a station or place, degrees; None where the job gives none."""
    station = next((s for s in job.stations if s.name == at), None)
    chord = station.chord_deg if station else 0.0
    spar = station.spar_deg if station else None
    if name in OF_A_RIB:
        return chord if name == "chord" else spar
    lines = job.lines_at(at)
    line = next(line for line in lines if line.name == name)
    return design_direction(line, lines, chord, 90.0 if spar is None else spar)


def _headline(line: NamedLine, q: Quantity, off: Quantity, decision: Decision) -> str:
    to = f"to {line.to}" if line.to in ("level", "plumb") else f"to the line {line.to}"
    text = (
        f"{line.at}: {line.name}: {decision.outcome}: {degrees(q, sign=True)} {to}, "
        f"{number(abs(off.value), 2)}° {line.senses(off.value)} of design, tolerance ±{number(line.tolerance_deg, 2)}°"
    )
    if decision.outcome != "undecided":
        return text
    return f"{text} ({decision.why})" if decision.why else f"{text}; {100 * decision.p_conforming:.0f} % likely within"


def _todo(line: NamedLine, off: Quantity) -> str:
    """What brings a line out of tolerance to its design."""
    back = line.senses(-off.value)
    text = f"turn {line.name} {number(abs(off.value), places(off.U))}° {back}"
    if line.length_mm is None:
        return text
    moved = line.length_mm * math.tan(math.radians(abs(off.value)))
    return f"{text}: {number(moved, 1)} mm over its {number(line.length_mm, 0)} mm"
