"""What the page shows, as plain trees of words and numbers: every number is already written as text."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from rigging.batch.readings_file import from_tree
from rigging.crosscheck.gauge_photos import TAUGHT
from rigging.page.bench import Notes, gauge_readings
from rigging.page.desk import Desk, Seen
from rigging.survey.bonding import window
from rigging.survey.doubts import BATCH, BENIGN, TOLD
from rigging.survey.model import StationResult, Survey, evaluate
from shared.cautions import SHORT
from shared.errors import UserError
from shared.gauge.readings import GaugeReadings
from shared.job.model import Glue, Job
from shared.reading import Angle, Reading
from shared.rounding import degrees, number

MOVED = "the rib was moved after this photo came in"


@dataclass(frozen=True)
class Standing:
    """The bench at a moment. readings : those that have one, in order of arrival. problem : to be told."""

    survey: Survey
    seen: tuple[Seen, ...]
    readings: tuple[Reading, ...]
    set_aside: dict[str, str]
    notes: Notes
    problem: str | None


def standing(desk: Desk) -> Standing:
    """Evaluate what is on the bench now."""
    from calibration.gauge.file import load_gauge

    seen, notes, job = tuple(desk.seen()), desk.bench.notes(), desk.job
    readings, problem = _readings(desk, [s.tree for s in seen if s.tree is not None])
    arrived = {s.entry.path.name: s.entry.arrived for s in seen}
    aside = {
        r.photo.name: MOVED
        for r in readings
        if r.station in notes.turned and arrived[r.photo.name] <= notes.turned[r.station]
    }
    gauge, profile = None, None
    try:
        gauge = gauge_readings(job, notes)
        profile = load_gauge(job.folder / job.gauge.profile) if job.gauge.profile is not None else None
    except UserError as error:
        problem = " ".join(filter(None, (problem, f"The inclinometer's readings are not used. {error}")))
    survey = _evaluated(job, readings, gauge, profile, aside)
    return Standing(survey, seen, readings, aside, notes, problem)


def _readings(desk: Desk, trees: list[dict[str, Any]]) -> tuple[tuple[Reading, ...], str | None]:
    """The readings, with what all of them together say of lens, print and level; what kept that from being checked."""
    readings = tuple(from_tree(t) for t in trees)
    try:
        drift = desk.drift.of(desk.job, trees)
    except UserError as error:
        return readings, f"Lens, print and level were not checked. {error}"
    return tuple(replace(r, flags=(*r.flags, *drift.flags_of(r.made.lens))) for r in readings), None


def _evaluated(
    job: Job, readings: Sequence[Reading], gauge: GaugeReadings | None, profile: Any, aside: dict[str, str]
) -> Survey:
    return evaluate(job, readings, gauge, gauge_profile=profile, set_aside=aside)


def tree_of(now: Standing) -> dict[str, Any]:
    """Everything the page shows."""
    job = now.survey.job
    by_name = {r.photo.name: r for r in now.readings}
    photos = [_photo(s, by_name.get(s.entry.path.name), now.set_aside) for s in now.seen]
    return {
        "wing": job.wing.name,
        "caution": SHORT,
        "problem": now.problem,
        "verdict": now.survey.verdict,
        "findings": [*(f.text for f in now.survey.flags if f.code in BATCH), *now.survey.findings],
        "glue": glue_tree(job.glue, now.notes, datetime.now()),
        "stations": [_station(s, now) for s in now.survey.stations],
        "photos": photos[::-1],
        "display_taught": (job.folder / TAUGHT).is_file(),
    }


def glue_tree(glue: Glue | None, notes: Notes, now: datetime) -> dict[str, Any] | None:
    """The bonding window in words; seconds left to work, so that the page can count down between answers."""
    if glue is None:
        return None
    stands = window(replace(glue, mixed_at=notes.mixed_at or glue.mixed_at), now)
    left = stands.working_left_min
    return {
        "words": stands.words,
        "left_s": None if left is None else round(left * 60),
        "share": None if left is None else max(0.0, min(1.0, left / glue.working_min)),
    }


def _station(s: StationResult, now: Standing) -> dict[str, Any]:
    d = s.chord.decision
    fixes = [c for c in now.survey.corrections if s.station.name in c.stations]
    doubts = [f.text for f in s.flags if f.code not in BENIGN | TOLD]
    part = s.rib_or_jig
    return {
        "name": s.station.name,
        "side": s.station.side,
        "state": s.state,
        "headline": s.headline,
        "chord": None if s.chord.quantity is None else degrees(s.chord.quantity, sign=True),
        "design": f"{number(s.station.chord_deg, 2, sign=True)}°",
        "tolerance": f"±{number(s.station.chord_tolerance_deg, 2)}°",
        "deviation": None if s.chord.deviation is None else degrees(s.chord.deviation, sign=True),
        "spar": None if s.spar.quantity is None else degrees(s.spar.quantity),
        "reason": s.chord.reason,
        "cause": part.words if part.cause in ("jig", "rib", "both", "sum") or s.state == "nonconforming" else None,
        "turn": [c.words for c in fixes if c.needed],
        "leave": [c.words for c in fixes if not c.needed],
        "advice": [a.text for a in d.advice] if d is not None else [],
        "doubts": list(dict.fromkeys(doubts)),
        "gauge": [_gauge_words(p) for p in s.gauge],
        "gauge_agrees": all(p.agrees for p in s.gauge) if s.gauge else None,
        "photos": s.chord.combined.used if s.chord.combined is not None else 0,
    }


def _gauge_words(pair: Any) -> str:
    word = "agrees" if pair.agrees else "DISAGREES"
    return (
        f"inclinometer, {pair.line}: shows {number(pair.shown_deg, 2)}°, {word} with the camera's "
        f"{degrees(pair.camera)} (En {number(pair.en, 1)})"
    )


def _photo(seen: Seen, reading: Reading | None, aside: dict[str, str]) -> dict[str, Any]:
    tree: dict[str, Any] = {
        "id": seen.entry.ident,
        "status": "waiting",
        "came": datetime.fromtimestamp(seen.entry.arrived).strftime("%H:%M:%S"),
    }
    if reading is None or seen.tree is None:
        return tree
    doubts = [
        f.text for f in (*reading.flags, *reading.chord.flags, *reading.spar.flags) if f.code not in BENIGN | TOLD
    ]
    status = (
        "set aside"
        if reading.photo.name in aside
        else "no value"
        if not reading.measured
        else "doubtful"
        if doubts
        else "read"
    )
    return {
        **tree,
        "status": status,
        "why": aside.get(reading.photo.name),
        "station": reading.station,
        "chord": _said(reading.chord, True),
        "spar": _said(reading.spar, False),
        "measured": reading.measured,
        "doubts": list(dict.fromkeys(doubts)),
        "advice": [a.text for a in reading.advice],
        "helped": reading.made.helped,
        "overlay": bool(seen.tree["overlay"]),
        "size": [reading.photo.width, reading.photo.height],
        "version": hashlib.sha256("\n".join(seen.entry.hints).encode()).hexdigest()[:8],
    }


def _said(angle: Angle, sign: bool) -> str:
    return degrees(angle.quantity, sign) if angle.quantity is not None else f"not measured: {angle.reason}"
