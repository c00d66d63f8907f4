"""Adds what is on the bench to the job's record of surveys, as `ribangle survey` does."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import msgspec

from rigging.batch.readings_csv import safe_cell
from rigging.batch.readings_file import to_tree
from rigging.page.desk import Desk
from rigging.page.notes import gauge_readings
from rigging.page.view import Standing, standing
from rigging.record.chain import keep, load_record, numbers, record_folder
from rigging.record.materials import Asked, Materials, TextFile, evaluated, gather, photo_files
from rigging.survey.run import profiles_used
from shared.errors import UserError
from shared.gauge.readings import GaugeReadings
from shared.reading import Reading


@dataclass(frozen=True)
class Kept:
    """A survey in the record. new : False where the one kept last says the very same. waiting : photos not read yet."""

    path: Path
    new: bool
    waiting: int


def keep_survey(desk: Desk, note: str = "", now: Standing | None = None) -> Kept:
    """Keep a survey of everything that is read by now, unless the last one kept is the same. Raises UserError.

    now : how things stand, where that was worked out already.
    """
    with desk.keeping:
        return _keep(desk, note, now or standing(desk))


def _keep(desk: Desk, note: str, now: Standing) -> Kept:
    from calibration.gauge.file import load_gauge

    if desk.job_changed:
        raise UserError(desk.job_file.name, "has changed since the server was started", "start the server again")
    if not now.readings:
        raise UserError("the bench", "has no photo read yet", "photograph a station first")
    job, job_file = desk.job, desk.job_file
    happened = now.happened
    asked = Asked(
        datetime.now().replace(microsecond=0).isoformat(),
        set_aside=now.set_aside,
        turned=dict(happened.turned),
        moved=dict(happened.moved),
        came=dict(happened.came),
        told=dict(happened.told),
    )
    paths = {s.entry.sha256: s.entry.path for s in now.seen}
    profile = load_gauge(job.folder / job.gauge.profile) if job.gauge.profile is not None else None
    materials = gather(
        job_file,
        photo_files(paths, now.readings, job_file.parent),
        profiles_used(job_file, job, now.readings),
        asked,
        profile,
    )
    if now.notes.typed or now.notes.moves:
        readings = gauge_readings(job, now.notes)
        text = None if readings is None else gauge_text(readings)
        materials = replace(
            materials,
            gauge=None
            if text is None
            else TextFile(f"{desk.bench.folder.name}/gauge as kept", text, hashlib.sha256(text.encode()).hexdigest()),
        )
    if now.notes.mixed_at:
        note = f"{note} (glue mixed at {now.notes.mixed_at})".strip()
    folder, waiting = record_folder(job_file), sum(s.tree is None for s in now.seen)
    last = max(numbers(folder).items(), default=None)
    if last is not None and _same(last[1], materials, now.readings, note):
        return Kept(last[1], False, waiting)
    survey = evaluated(materials, now.readings, job_file.parent)
    return Kept(keep(folder, materials, now.readings, survey, note), True, waiting)


def _same(path: Path, materials: Materials, readings: Sequence[Reading], note: str) -> bool:
    """Whether a kept survey was made from just these, whatever the time."""
    try:
        kept = load_record(path)
    except UserError:
        return False

    def told(m: Materials, read: Sequence[Reading], words: str) -> object:
        return msgspec.to_builtins(replace(m, asked=replace(m.asked, now=""))), [to_tree(r) for r in read], words

    return kept.standing.holds and told(kept.materials, kept.readings, kept.note) == told(materials, readings, note)


def gauge_text(readings: GaugeReadings) -> str:
    """Inclinometer readings as a CSV that `shared.gauge.csv_file` reads."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(("station", "line", "reading", "time", "note"))
    for r in readings.readings:
        shown = f"{r.shown_deg!r}" if r.said is None else f"{abs(r.shown_deg)!r} {r.said}"
        writer.writerow((r.station, r.line, shown, r.taken or "", safe_cell(r.note)))
    return out.getvalue()
