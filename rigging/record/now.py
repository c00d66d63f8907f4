"""How a job stands now: its last kept survey by the job and the clock as they are, without measuring anything."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path

from rigging.batch.store import job_digest
from rigging.record.chain import Record, numbers, record_folder
from rigging.record.history import last_standing
from rigging.record.materials import Asked, Materials, evaluated, gather
from rigging.survey.model import Survey
from shared.errors import UserError
from shared.job.file import load_job, parse_job
from shared.reading import Reading


def as_of_now(job_file: Path) -> Survey:
    """The survey that the last kept readings give now: the steps as the job has them, the glue's clock as it runs.

    Without a kept survey, one without any reading. Raises UserError as `materials_now` does.
    """
    materials, readings = materials_now(job_file)
    return evaluated(materials, readings, job_file.parent)


def materials_now(job_file: Path) -> tuple[Materials, tuple[Reading, ...]]:
    """What a survey of now is made from, and its readings.

    Raises UserError where the job is wrong, the record does not hold, or the readings kept do not fit the job any more.
    """
    job = load_job(job_file)
    now = datetime.now().replace(microsecond=0).isoformat()
    last = last_standing(job_file)
    if last is None:
        if numbers(record_folder(job_file)):
            raise UserError(str(record_folder(job_file)), "the record does not hold", f"see ribangle verify {job_file}")
        return gather(job_file, (), (), Asked(now)), ()
    _refuse_unfit(last, job_digest(job), job_file)
    was = last.materials
    fresh = gather(job_file, was.photos, (), replace(was.asked, now=now), was.gauge_profile)
    typed = (
        was.gauge is not None and not (job_file.parent / was.gauge.path).is_file()
    )  # at the page: in the record alone
    return replace(fresh, profiles=was.profiles, gauge=was.gauge if typed else fresh.gauge), last.readings


def _refuse_unfit(last: Record, now: str, job_file: Path) -> None:
    """Raise UserError where the readings kept were made by a job that said otherwise of what bears on them."""
    if last.readings and job_digest(parse_job(last.materials.job.text, last.materials.job.path)) != now:
        raise UserError(
            job_file.name,
            f"was changed since survey {last.number}, whose readings no longer fit it",
            f"measure again: ribangle survey {job_file} PHOTOS",
        )
