"""What the page shows, as plain trees of words and numbers: every number is already written as text."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import msgspec

from rigging.batch.readings_file import every_rib, from_tree
from rigging.crosscheck.gauge_photos import TAUGHT
from rigging.crosscheck.types import CrossCheck
from rigging.order.happened import Happened
from rigging.page.desk import Desk, Seen
from rigging.page.dimensions import dimensions_tree, features_of
from rigging.page.lines import line_words, lines_tree, place_tree
from rigging.page.notes import Chosen, Mixed, Moved, Notes, Said, Typed, gauge_readings, on_same_jig
from rigging.page.order import happened_of, outdated, setup_tree
from rigging.page.refusals import refusal
from rigging.page.three import angle_words, doubts, explained, left_to_turn, todo
from rigging.survey.dimension_words import value_words
from rigging.survey.gauge_rows import dropped
from rigging.survey.model import StationResult, Survey, evaluate
from shared.cautions import SHORT
from shared.errors import UserError
from shared.flags import in_doubt, of_batch
from shared.job.model import Glue, Job
from shared.job.named import Place
from shared.reading import NO_RIB, Angle, Reading
from shared.rounding import degrees, number
from vision.overlay.dimensions import told

MOVED = "the rib was moved after this photo came in"
MOST_NOTES = 12
"""Notes that can be taken back on the page, the newest."""


@dataclass(frozen=True)
class Standing:
    """The bench at a moment. readings : those that have one, in order of arrival. problem : to be told."""

    survey: Survey
    seen: tuple[Seen, ...]
    readings: tuple[Reading, ...]
    set_aside: dict[str, str]
    notes: Notes
    problem: str | None
    happened: Happened


class Readings:
    """Readings of trees, each made once: a tree of a bench never changes; and the last survey of them, which a photo that
    only waits leaves as it is. Safe for several threads by its user's lock."""

    def __init__(self) -> None:
        self._made: dict[int, tuple[dict[str, Any], Reading]] = {}
        self._judged: tuple[tuple[Reading, ...], object, Survey] | None = None

    def survey(self, readings: tuple[Reading, ...], rest: object, judge: Callable[[], Survey]) -> Survey:
        """The survey of these very readings, and of what is compared as `rest`; judged anew where either has changed."""
        if self._judged is not None:
            before, others, survey = self._judged
            same = len(before) == len(readings) and all(a is b for a, b in zip(before, readings, strict=True))
            if same and others == rest:
                return survey
        self._judged = readings, rest, judge()
        return self._judged[2]

    def of(self, trees: Sequence[dict[str, Any]]) -> tuple[Reading, ...]:
        """The readings of these trees; those of trees that are gone are forgotten."""
        made = {id(t): self._made.get(id(t)) or (t, from_tree(t)) for t in trees}
        self._made = made
        return tuple(made[id(t)][1] for t in trees)


def standing(desk: Desk, made: Readings | None = None) -> Standing:
    """Evaluate what is on the bench now. made : readings kept from the last time."""
    from calibration.gauge.file import load_gauge

    made = made or Readings()
    seen, notes, job = tuple(desk.seen()), desk.bench.notes(), desk.job
    problems: list[str] = []
    if desk.job_changed:
        problems.append(f"{desk.job_file.name} has changed since the server was started: start it again.")
    if desk.unsaved:
        problems.append(f"{desk.unsaved} readings are not on the disk yet: make room; it is tried again by itself.")
    readings = _readings(desk, [s.tree for s in seen if s.tree is not None], made, problems)
    idents = {s.entry.path.name: s.entry.ident for s in seen}
    aside = {r.key: MOVED for r in readings if idents.get(r.photo.name) in notes.aside(r.station)}
    gauge, profile = None, None
    try:
        gauge = gauge_readings(job, notes)
        profile = load_gauge(job.folder / job.gauge.profile) if job.gauge.profile is not None else None
    except UserError as error:
        problems.append(f"The inclinometer's readings are not used. {error}")
    happened = happened_of(job, notes, [s.entry for s in seen if s.tree is not None])

    def judged(aside: dict[str, str]) -> Survey:
        return made.survey(
            readings,
            (aside, gauge, profile, happened),
            lambda: evaluate(job, readings, gauge, gauge_profile=profile, set_aside=aside, happened=happened),
        )

    survey = judged(aside)
    late = outdated(readings, survey.setup, happened)
    if late.keys() - aside.keys():
        aside = {**late, **aside}
        survey = judged(aside)
    return Standing(survey, seen, readings, aside, notes, " ".join(problems) or None, happened)


def _readings(desk: Desk, trees: list[dict[str, Any]], made: Readings, problems: list[str]) -> tuple[Reading, ...]:
    """The readings, with what all of them together say of lens, print and level; what kept that from being checked."""
    readings = made.of(list(every_rib(trees)))
    try:
        drift = desk.drift.of(desk.job, trees)
    except UserError as error:
        problems.append(f"Lens, print and level were not checked. {error}")
        return readings
    return tuple(
        replace(r, flags=(*r.flags, *flags)) if (flags := drift.flags_of(r.made.lens)) else r for r in readings
    )


def tree_of(now: Standing) -> dict[str, Any]:
    """Everything the page shows."""
    job = now.survey.job
    by_name = {r.photo.name: r for r in now.readings if r.foremost}
    photos = [_photo(s, by_name.get(s.entry.path.name), now) for s in now.seen][::-1]
    following = _following(now)
    return {
        "wing": job.wing.name,
        "caution": SHORT,
        "problem": now.problem,
        "verdict": now.survey.verdict,
        "gauge_unused": _unused(now.survey.crosscheck),
        "findings": [*(f.text for f in of_batch(now.survey.flags)), *now.survey.findings],
        "glue": glue_tree(job.glue, now.notes),
        "next": following,
        "left": left_to_turn(now.survey),
        "setup": setup_tree(now.survey),
        "stations": [_station(s, now, photos, following) for s in now.survey.stations],
        "places": [_place(place, now, photos) for place in job.places],
        "dimensions": dimensions_tree(now.survey),
        "photos": photos,
        "notes": [_note(n) for n in now.notes.standing[::-1] if not isinstance(n, Chosen)][:MOST_NOTES],
        "display_taught": (job.folder / TAUGHT).is_file(),
    }


def _note(note: Typed | Moved | Mixed | Said) -> dict[str, Any]:
    at = datetime.fromtimestamp(note.at).strftime("%H:%M")
    stations: tuple[str, ...] = ()
    words = "glue mixed" if isinstance(note, Mixed) and note.mixed else "no glue mixed"
    if isinstance(note, Typed):
        stations = (note.station,)
        words = f"inclinometer shows {number(note.shown_deg, 2)}° at {note.station}, {note.line} line"
    elif isinstance(note, Moved):
        words, stations = f"{' and '.join(note.stations)} moved", note.stations
    elif isinstance(note, Said):
        words = f"{note.thing}: {'done' if note.value is None else f'reads {number(note.value, 2)}'}"
    return {"id": note.ident, "words": f"{at} {words}", "stations": list(stations)}


def _following(now: Standing) -> str | None:
    """The station to go to next: of the step that comes next the most urgent; None where that step looks at none.

    Where every step is right, the first in the order of checking that is not shown to conform.
    """
    states = {s.station.name: s for s in now.survey.stations}
    step = now.survey.setup.next
    if step is not None:
        mine = dict.fromkeys(thing for c in step.open if not c.found.by_hand for thing in c.found.things)
        return next((check.station for check in now.survey.order if check.station in mine), next(iter(mine), None))
    for check in now.survey.order:
        s = states[check.station]
        if s.state != "conforming" or doubts(s):
            return check.station
    return None


def glue_tree(glue: Glue | None, notes: Notes) -> dict[str, Any] | None:
    """The bonding window, seconds; mixed : seconds since the epoch, None where no glue is mixed."""
    if glue is None:
        return None
    mixed = notes.mixed_at or (glue.mixed_at if not any(isinstance(n, Mixed) for n in notes.standing) else None)
    at = None if mixed is None else datetime.fromisoformat(mixed).timestamp()
    return {"mixed": at, "working_s": glue.working_min * 60, "gel_s": glue.gel_min * 60}


def _station(
    s: StationResult, now: Standing, photos: Sequence[dict[str, Any]], following: str | None
) -> dict[str, Any]:
    name, job = s.station.name, now.survey.job
    fixes = [c for c in now.survey.corrections if name in c.stations]
    mine = [p for p in photos if p["station"] == name and p["status"] not in ("set aside", "waiting")]
    shown = next((p for p in mine if p["measured"]), next(iter(mine), None))
    tree = next((x.tree for x in now.seen if shown is not None and x.entry.ident == shown["id"]), None)
    refused = None if tree is None else refusal(tree)
    together = on_same_jig(job, name)
    moved = [n for n in together if now.notes.moved(n) and now.survey.station(n).chord.quantity is None]
    step = now.survey.setup.next
    then = following or (step.step.name if step is not None else None)
    do = todo(s, fixes, moved if now.notes.moved(name) else (), refused, then if then != name else None)
    d, part = s.chord.decision, s.rib_or_jig
    return {
        "name": name,
        "side": s.station.side,
        "state": "open" if now.notes.moved(name) and s.state == "not measured" else s.state,
        "headline": s.headline,
        "angle": angle_words(s.chord.quantity),
        "todo": {"kind": do.kind, "words": do.words, "more": do.more},
        "doubts": doubts(s),
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
        "gauge": [_gauge_words(p) for p in s.gauge],
        "explained": explained(s),
        "together": list(together),
        "photos": s.chord.combined.used if s.chord.combined is not None else 0,
        "photo": None if shown is None else shown["id"],
        "lines": lines_tree(now.survey, name),
    }


def _unused(check: CrossCheck | None) -> list[str]:
    """What of the inclinometer's file was not used."""
    return [f"Inclinometer's file, {row}" for row in dropped(check.oddities)] if check is not None else []


def _place(place: Place, now: Standing, photos: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """A place that is no rib, with the newest of its photos that was read."""
    mine = [p for p in photos if p["station"] == place.name and p["status"] not in ("set aside", "waiting")]
    shown = next((p for p in mine if p["measured"]), next(iter(mine), None))
    return place_tree(now.survey, place, None if shown is None else shown["id"], now.notes.moved(place.name))


def _gauge_words(pair: Any) -> str:
    word = "agrees" if pair.agrees else "DISAGREES"
    return (
        f"inclinometer, {pair.line}: shows {number(pair.shown_deg, 2)}°, {word} with the camera's "
        f"{degrees(pair.camera)} (En {number(pair.en, 1)})"
    )


def _photo(seen: Seen, reading: Reading | None, now: Standing) -> dict[str, Any]:
    tree: dict[str, Any] = {
        "id": seen.entry.ident,
        "status": "waiting",
        "station": None,
        "came": datetime.fromtimestamp(seen.entry.arrived).strftime("%H:%M:%S"),
        "hints": len(seen.entry.hints) + bool(seen.entry.problem),
    }
    if reading is None or seen.tree is None:
        return tree
    flags = (*reading.flags, *reading.chord.flags, *reading.spar.flags)
    flags += tuple(f for line in reading.lines for f in line.angle.flags) if reading.chord.reason == NO_RIB else ()
    doubtful = [f.text for f in in_doubt((*flags, *(f for m in reading.dimensions for f in m.flags)))]
    aside = now.set_aside.get(reading.key)
    status = "set aside" if aside else "no value" if not reading.measured else "doubtful" if doubtful else "read"
    refused = refusal(seen.tree)
    return {
        **tree,
        "status": status,
        "why": aside,
        "station": reading.station,
        "chord": _said(reading.chord, True),
        "spar": _said(reading.spar, False),
        "lines": line_words(reading),
        "measured": reading.measured,
        "refused": None if refused is None else msgspec.to_builtins(refused),
        "doubts": list(dict.fromkeys(doubtful)),
        "advice": [a.text for a in reading.advice],
        "helped": reading.made.helped,
        "features": features_of(now.survey.job, reading, seen.entry.hints),
        "dimensions": _dimensions(now.survey.job, reading),
        "overlay": bool(seen.tree["overlay"]),
        "size": [reading.photo.width, reading.photo.height],
        "version": hashlib.sha256("\n".join(seen.entry.hints).encode()).hexdigest()[:8],
    }


def _dimensions(job: Job, reading: Reading) -> list[str]:
    words = {m.name: value_words(job, m.unit, m.quantity) for m in reading.dimensions if m.quantity is not None}
    return [told(m, words) for m in reading.dimensions]


def _said(angle: Angle, sign: bool) -> str:
    return degrees(angle.quantity, sign) if angle.quantity is not None else f"not measured: {angle.reason}"
