"""Adds what is on the bench to the job's record of surveys, as `ribangle survey` does."""

from __future__ import annotations

import csv
import hashlib
import io
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from rigging.page.bench import gauge_readings
from rigging.page.desk import Desk
from rigging.page.view import standing
from rigging.record.chain import keep, record_folder
from rigging.record.materials import Asked, TextFile, evaluated, gather, photo_files
from rigging.survey.run import profiles_used
from shared.errors import UserError
from shared.gauge.readings import GaugeReadings


def keep_survey(desk: Desk, note: str = "") -> Path:
    """Keep a survey of everything that is read by now; its file. Raises UserError."""
    from calibration.gauge.file import load_gauge

    now = standing(desk)
    if not now.readings:
        raise UserError("the bench", "has no photo read yet", "photograph a station first")
    job, job_file = desk.job, desk.job_file
    asked = Asked(datetime.now().replace(microsecond=0).isoformat(), set_aside=now.set_aside)
    paths = {s.entry.sha256: s.entry.path for s in now.seen}
    profile = load_gauge(job.folder / job.gauge.profile) if job.gauge.profile is not None else None
    materials = gather(
        job_file,
        photo_files(paths, now.readings, job_file.parent),
        profiles_used(job_file, job, now.readings),
        asked,
        profile,
    )
    if now.notes.typed or now.notes.turned:
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
    survey = evaluated(materials, now.readings, job_file.parent)
    return keep(record_folder(job_file), materials, now.readings, survey, note)


def gauge_text(readings: GaugeReadings) -> str:
    """Inclinometer readings as a CSV that `shared.gauge.csv_file` reads."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(("station", "line", "reading", "time", "note"))
    for r in readings.readings:
        shown = f"{r.shown_deg!r}" if r.said is None else f"{abs(r.shown_deg)!r} {r.said}"
        writer.writerow((r.station, r.line, shown, r.taken or "", r.note))
    return out.getvalue()
