"""A survey from start to end: photos measured, evaluated, kept in the job's record."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from rigging.batch.find import Source
from rigging.batch.overlays import overlays_of
from rigging.batch.readings_file import load_readings
from rigging.batch.run import BatchResult, Options, Tell, measure_batch
from rigging.record.chain import Record, keep, record_folder
from rigging.record.history import carried, last_standing, with_moves
from rigging.record.materials import Asked, Materials, evaluated, gather, photo_files
from rigging.survey.model import RootSetting, Stage, Survey
from shared.errors import UserError
from shared.job.file import load_job
from shared.job.model import Job
from shared.reading import Reading


@dataclass(frozen=True)
class Wanted:
    """What the user asks of a survey. set_aside : photo name -> reason. at : local time; None is now.

    turned : station -> local time, ISO 8601, of those turned since the inclinometer's readings were taken.
    """

    root_setting: RootSetting | None = None
    stage: Stage | None = None
    set_aside: Mapping[str, str] | None = None
    note: str = ""
    at: datetime | None = None
    turned: Mapping[str, str] | None = None


@dataclass(frozen=True)
class Taken:
    """A survey that was taken. record : its file. overlays : photo name -> annotated picture."""

    survey: Survey
    batch: BatchResult
    record: Path
    overlays: Mapping[str, Path]


def take_survey(
    job_file: Path,
    sources: Sequence[Source],
    out: Path,
    wanted: Wanted,
    options: Options | None = None,
    tell: Tell | None = None,
    after: Callable[[Job, Sequence[Reading]], Wanted] | None = None,
) -> Taken:
    """Measure photos, evaluate the readings and add the survey to the record. Raises UserError.

    after : what is asked of the survey once the readings are there, in place of `wanted`.
    """
    job = load_job(job_file)
    last = last_standing(job_file)
    options = replace(options or Options(), earlier=() if last is None else last.readings)
    batch = measure_batch(job, sources, out, options, tell)
    readings = load_readings(batch.json)
    wanted = wanted if after is None else after(job, readings)
    _refuse_unknown(wanted.set_aside or {}, readings)
    materials = with_moves(_materials(job_file, job, batch, readings, wanted, last), last, readings, job_file.parent)
    survey = evaluated(materials, readings, job_file.parent)
    record = keep(record_folder(job_file), materials, readings, survey, wanted.note)
    return Taken(survey, batch, record, overlays_of(batch.json))


def _materials(
    job_file: Path, job: Job, batch: BatchResult, readings: Sequence[Reading], wanted: Wanted, last: Record | None
) -> Materials:
    from calibration.gauge.file import load_gauge

    now = (wanted.at or datetime.now()).replace(microsecond=0)
    asked = Asked(
        now.isoformat(), wanted.root_setting, wanted.stage, dict(wanted.set_aside or {}), dict(wanted.turned or {})
    )
    paths = {line.sha256: Path(line.path) for line in batch.lines if line.sha256}
    gauge = None if job.gauge.profile is None else load_gauge(job_file.parent / job.gauge.profile)
    asked = carried(asked, last, [r.photo.sha256 for r in readings if r.photo.sha256])
    photos = photo_files(paths, readings, job_file.parent)
    return gather(job_file, photos, profiles_used(job_file, job, readings), asked, gauge)


def profiles_used(job_file: Path, job: Job, readings: Sequence[Reading]) -> list[Path]:
    """Files of the lens profiles that the readings name, and of the job's level and print profiles."""
    from calibration.lens.profiles import load_lens, profiles_in

    folder = job_file.parent
    named = {r.made.lens for r in readings if r.made.lens}
    found: list[Path] = []
    if job.lens != "auto":
        found += [p for p in [folder / job.lens] if p.is_file() and load_lens(p).ident in named]
    elif (folder / job.lens_folder).is_dir():
        found += [p for p, profile in profiles_in(folder / job.lens_folder) if profile.ident in named]
    found += [folder / name for name in (job.level.profile, job.prints.profile) if name is not None]
    return found


def _refuse_unknown(set_aside: Mapping[str, str], readings: Sequence[Reading]) -> None:
    from difflib import get_close_matches

    names = {r.photo.name for r in readings} | {r.key for r in readings}
    for name in set_aside:
        if name not in names:
            near = get_close_matches(name, sorted(names), 1)
            raise UserError(
                f"photo {name}",
                "is not among the photos given",
                f"did you mean {near[0]}?" if near else "give the name of a photo as listed",
            )
