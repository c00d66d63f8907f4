"""From readings to an evaluated survey, step by step: readable as the recipe."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from calibration.gauge.profile import GaugeProfile
from rigging.crosscheck.check import crosscheck
from rigging.crosscheck.types import CrossCheck
from rigging.order.lead import set_up
from rigging.survey import dimensions, findings
from rigging.survey.bonding import BondingWindow, order_to_check, window
from rigging.survey.checks import found_of
from rigging.survey.corrections import Correction, Standing, closed, corrections
from rigging.survey.drawn_line import as_drawn
from rigging.survey.fairness import Fairness, Unfair, fairness, unfair
from rigging.survey.model import Provenance, Refusal, StationResult, Survey
from rigging.survey.named_lines import NamedResult, design_a, named_results
from rigging.survey.rib_or_jig import RibOrJig, split, with_bay
from rigging.survey.span_level import span_levels
from rigging.survey.station_lines import Asked, Lines, chords_of, doubt_of, lines_of, root_off_of
from rigging.survey.station_result import for_order, station_result
from rigging.survey.two_lines import Off, TwoLines, split_pairs
from rigging.survey.units import in_units
from rigging.survey.wing import Symmetry, run_of, symmetry, twists, washout
from rigging.survey.witness_doubts import doubted, notes
from shared.flags import Flag, FlagCode, of_batch
from shared.gauge.readings import GaugeReadings, Line, Oddity
from shared.job.lint import lint
from shared.job.model import Job, Station
from shared.quantity import Quantity
from shared.reading import NO_RIB, Reading
from shared.turns import wrap_half_turn
from shared.version import version


def evaluate_survey(
    job: Job,
    readings: Sequence[Reading],
    gauge_readings: GaugeReadings | None,
    gauge_profile: GaugeProfile | None,
    asked: Asked,
) -> Survey:
    """Combine, judge, split, correct, compare with the inclinometer, and sum up."""
    side_notes = notes(job, readings)
    readings = doubted(job, readings)
    by_place, refusals = _sorted_by_station(job, readings)
    by_station = {s.name: by_place[s.name] for s in job.stations}
    chords = chords_of(job, by_station, asked)
    root_off = root_off_of(job, chords, asked)
    lines = {s.name: lines_of(job, s, by_station[s.name], chords[s.name], asked, root_off) for s in job.stations}
    sound = {n: q for n, li in lines.items() if (q := li.chord.quantity) is not None and not doubt_of(li.chord)}
    every = {n: q for n, li in lines.items() if (q := li.chord.quantity) is not None}
    doubts = {n: why for n, li in lines.items() if (why := doubt_of(li.chord))}
    offs = {n: d for n, li in lines.items() if n in sound and (d := li.chord.deviation) is not None}
    washouts, pairs = washout(job, every, doubts), symmetry(job, every, doubts)
    fair, breaks = _fairness(job, offs)
    parts = {s.name: _split(s, lines[s.name]) for s in job.stations}
    check = _crosscheck(job, lines, gauge_readings, gauge_profile, asked)
    turnable = {s.name: _standing(lines[s.name], parts[s.name], s) for s in _turnable(job, asked)}
    fixes = corrections(job, turnable)
    parts = _by_bay(parts, fixes)
    glue = window(job.glue, asked.now) if job.glue else None
    if glue is not None and glue.closed:
        fixes, parts = _glue_closed(glue, fixes, parts)
    named = named_results(job, by_place, asked, root_off, (gauge_readings, gauge_profile))
    pairs_split = split_pairs(job, by_place, _offs(job, lines, named), asked)
    if glue is not None and glue.closed:  # nothing tells to turn any more
        named = tuple(replace(r, todo="") for r in named)
        pairs_split = tuple(replace(p, todo="") for p in pairs_split)
    parts = _by_pair(parts, pairs_split)
    stations = tuple(
        station_result(
            s,
            lines[s.name],
            washouts.get(s.name),
            pairs,
            fair.get(s.name),
            parts[s.name],
            check,
            by_station[s.name],
        )
        for s in job.stations
    )
    found = _findings(job, stations, parts, (pairs, breaks), check, fixes, (named, pairs_split))
    levels = span_levels(job, named)
    measured, sides = dimensions.judge(job, readings, asked.set_aside)
    survey = Survey(
        job=job,
        root_setting=asked.root_setting,
        stage=asked.stage,
        verdict=dimensions.verdict(found[0], measured, sides),
        findings=(*dimensions.findings(measured, sides), *found[1]),
        stations=stations,
        symmetry=pairs,
        twist=twists(job, sound),
        unfair=breaks,
        corrections=fixes,
        order=order_to_check(for_order(s) for s in stations),
        bonding=glue,
        crosscheck=check,
        refusals=refusals,
        flags=_survey_flags(job, lines, asked)
        + _batch_flags(readings)
        + _side_flags(side_notes)
        + _job_flags(job)
        + dimensions.flags_of(measured),
        span_levels=levels,
        lines=named,
        pairs=pairs_split,
        dimensions=measured,
        sides=sides,
        setup=set_up(
            job, found_of(job, stations, (pairs, levels, named, measured), asked.happened), asked.happened, glue
        ),
        provenance=_provenance(readings, asked),
    )
    return in_units(survey, job.length_unit)


def _sorted_by_station(job: Job, readings: Sequence[Reading]) -> tuple[dict[str, list[Reading]], tuple[Refusal, ...]]:
    """Readings by station in the job's order, and every photo that says nothing of a station's chord."""
    by_station: dict[str, list[Reading]] = {face.name: [] for face in job.faces}
    refusals = []
    for r in sorted(readings, key=lambda r: (r.photo.name, r.photo.sha256)):
        if r.station is None or r.station not in by_station:
            told = r.chord.reason or "no station card of this job in the photo"
            refusals.append(Refusal(r.photo.name, r.station, told))
            continue
        by_station[r.station].append(as_drawn(r))
        if not r.measured:
            refusals.append(Refusal(r.photo.name, r.station, _why_not(r)))
    return by_station, tuple(refusals)


def _by_pair(parts: Mapping[str, RibOrJig], pairs: Sequence[TwoLines]) -> dict[str, RibOrJig]:
    """The parts of ribs without a spar line in the words of the pair that their chord line makes with what carries it."""
    found = dict(parts)
    for p in pairs:
        part = found.get(p.pair.at)
        if p.pair.line == "chord" and p.base_off is not None and part is not None and part.jig is None:
            todo = f"{p.todo[0].upper()}{p.todo[1:]}." if p.todo else ""
            found[p.pair.at] = replace(part, words=p.words, before_glue=todo, after_glue=todo, by_pair=True)
    return found


def _offs(job: Job, lines: Mapping[str, Lines], named: Sequence[NamedResult]) -> Off:
    """How every line stands against its own design to gravity, with its tolerance and its doubt."""
    found: dict[tuple[str, str], tuple[Quantity, float, str | None]] = {}
    for name, li in lines.items():
        for line in (li.chord, li.spar):
            if line.deviation is not None and line.tolerance_deg is not None:
                found[name, line.line] = line.deviation, line.tolerance_deg, doubt_of(line)
    for r in named:
        design = design_a(job, *r.line.key)
        if r.gravity is None or design is None:
            continue
        if r.line.to in ("level", "plumb") and r.deviation is not None:
            off = r.deviation.scaled(float(r.line.sign))
        else:
            off = r.gravity.shifted(wrap_half_turn(r.gravity.value - design) - r.gravity.value)
        found[r.line.key] = off, r.line.tolerance_deg, r.combined.doubt
    return found


def _why_not(r: Reading) -> str:
    """Why a photo has no value; of a place that is no rib, what its lines lack."""
    if r.chord.reason != NO_RIB:
        return r.chord.reason or "no value"
    lacks = dict.fromkeys(f"{line.name}: {line.angle.reason}" for line in r.lines)
    lacks |= dict.fromkeys(f"{m.name}: {m.reason}" for m in r.dimensions)
    return "; ".join(lacks) or "no value"


def _turnable(job: Job, asked: Asked) -> Iterator[Station]:
    """The stations whose jigs may be turned; one that moves the root would move the zero of all others."""
    root = job.station(job.wing.root)
    for s in job.stations:
        with_root = s.name == root.name or (s.panel is not None and s.panel == root.panel)
        if asked.root_setting == "kept" or not with_root:
            yield s


def _standing(lines: Lines, part: RibOrJig, s: Station) -> Standing:
    return Standing(s, lines.chord.deviation, part.jig, doubt_of(lines.chord) or doubt_of(lines.spar))


def _split(s: Station, lines: Lines) -> RibOrJig:
    doubt = doubt_of(lines.chord) or doubt_of(lines.spar)
    return split(
        s,
        lines.chord.deviation,
        lines.spar.deviation,
        lines.built_in.deviation,
        lines.chord.decision,
        doubt,
    )


def _by_bay(parts: Mapping[str, RibOrJig], fixes: Sequence[Correction]) -> dict[str, RibOrJig]:
    """The parts with the one number of each bay's jig in their remedies."""
    found = dict(parts)
    for c in fixes:
        if c.needed and len(c.stations) > 1 and c.jig.at_span_mm is None:
            for name in c.stations:
                found[name] = with_bay(found[name], c.jig.panel or ", ".join(c.stations), c.change_deg)
    return found


def _glue_closed(
    glue: BondingWindow, fixes: Sequence[Correction], parts: Mapping[str, RibOrJig]
) -> tuple[tuple[Correction, ...], dict[str, RibOrJig]]:
    """Corrections and remedies once nothing may be moved any more: none of them tells to."""
    why = "the glue has gelled" if glue.gelled else "the working time of the glue is over"
    told = (
        f"{why[0].upper()}{why[1:]}: move nothing. What stands wrong is in the wing; the designer or inspector decides."
    )
    still = {
        n: replace(p, before_glue=told if p.before_glue else "", after_glue=told if p.after_glue else "")
        for n, p in parts.items()
    }
    return closed(fixes, why), still


def _fairness(job: Job, offs: Mapping[str, Quantity]) -> tuple[dict[str, Fairness], tuple[Unfair, ...]]:
    fair: dict[str, Fairness] = {}
    breaks: tuple[Unfair, ...] = ()
    for side in ("left", "right"):
        run = run_of(job, side)
        fair |= fairness(run, offs)
        breaks += unfair(side, run, offs)
    return fair, breaks


def _crosscheck(
    job: Job,
    lines: Mapping[str, Lines],
    readings: GaugeReadings | None,
    profile: GaugeProfile | None,
    asked: Asked,
) -> CrossCheck | None:
    """Both looked at the drawn lines, so the marking by hand stays out of it; doubtful angles too."""
    if readings is None:
        return None
    turned = asked.happened.turned
    stale = [r for r in readings.readings if r.station in turned and not (r.taken or "") > turned[r.station]]
    if stale:
        told = tuple(Oddity(r.row, f"{r.station} {r.line}: read before it was turned: not used", False) for r in stale)
        fresh = tuple(r for r in readings.readings if r not in stale)
        readings = replace(readings, readings=fresh, oddities=(*readings.oddities, *told))
    camera: dict[tuple[str, Line], Quantity] = {}
    for name, li in lines.items():
        for line in (li.chord, li.spar):
            if line.combined.quantity is not None and not line.combined.doubtful and line.line != "built-in":
                camera[name, line.line] = line.combined.quantity
    return crosscheck(camera, readings, job.gauge, job.stations, profile, asked.now.isoformat())


def _findings(
    job: Job,
    stations: Sequence[StationResult],
    parts: dict[str, RibOrJig],
    uneven: tuple[Sequence[Symmetry], Sequence[Unfair]],
    check: CrossCheck | None,
    fixes: Sequence[Correction],
    lines: tuple[Sequence[NamedResult], Sequence[TwoLines]],
) -> tuple[str, tuple[str, ...]]:
    pairs, breaks = uneven
    states: dict[str, str] = {s.station.name: s.state for s in stations}
    offs = {s.station.name: s.chord.deviation for s in stations}
    off_chords = {n: q.value for n, q in offs.items() if q is not None and states[n] == "nonconforming"}
    wrong = findings.bays(job, parts, off_chords, fixes)
    asymmetric = [p for p in pairs if p.decision.outcome == "nonconforming"]
    washouts = [s.washout for s in stations if s.washout]
    found = findings.causes(job, wrong, parts, offs, states)
    sentences = (
        *findings.told_once(found, pairs, breaks, washouts, states),
        *findings.of_the_lines(*lines),
        *findings.of_the_gauge(check),
    )
    at_odds = check is not None and bool(check.disagreeing)
    return findings.verdict(states, wrong, parts, asymmetric, at_odds, lines[0]), sentences


def _survey_flags(job: Job, lines: Mapping[str, Lines], asked: Asked) -> tuple[Flag, ...]:
    root = lines[job.wing.root].chord
    if root.quantity is None:
        what = "no station can be judged" if asked.root_setting == "taken out" else "there is no washout"
        return (FlagCode.ROOT_NOT_MEASURED.flag(f"the root {job.wing.root} was not measured, so {what}"),)
    doubt = doubt_of(root)
    return (
        (FlagCode.ROOT_DOUBTFUL.flag(f"the root {job.wing.root} is doubtful, and every washout with it: {doubt}"),)
        if doubt
        else ()
    )


def _batch_flags(readings: Sequence[Reading]) -> tuple[Flag, ...]:
    """Doubts about what a whole batch was measured against, each once."""
    return tuple(dict.fromkeys(f for r in readings for f in of_batch(r.flags)))


def _side_flags(told: Mapping[str, str]) -> tuple[Flag, ...]:
    return tuple(FlagCode.OTHER_SIDE.flag(f"{name}: {why}") for name, why in told.items())


def _job_flags(job: Job) -> tuple[Flag, ...]:
    """What of the job looks like a slip; that no lean is stated, every reading says itself."""
    return tuple(FlagCode.JOB_SLIP.flag(h.words) for h in lint(job) if h.code != FlagCode.LEAN_NOT_STATED)


def _provenance(readings: Sequence[Reading], asked: Asked) -> Provenance:
    photos = sorted({(r.photo.name, r.photo.sha256) for r in readings})
    made = {r.made.version for r in readings}
    settings: set[tuple[str, str]] = {
        ("root setting", asked.root_setting),
        ("stage", asked.stage or "not told"),
    }
    settings |= {(f"set aside {k}", v) for k, v in asked.set_aside.items()}
    settings |= {pair for r in readings for pair in r.made.settings}
    if made - {version()}:
        settings.add(("readings made by version", ", ".join(sorted(made))))
    return Provenance(
        version(),
        asked.now.isoformat(timespec="seconds"),
        tuple(photos),
        tuple(sorted({r.made.lens for r in readings if r.made.lens})),
        tuple(sorted({r.made.level for r in readings if r.made.level})),
        tuple(sorted(settings)),
    )
