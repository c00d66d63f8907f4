"""What was changed since a result was made: job, profiles, tool. Nothing old is judged by something new unsaid."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, replace
from pathlib import Path

from rigging.record.chain import Record
from shared.errors import UserError
from shared.files import sha256_of
from shared.flags import Flag, FlagCode
from shared.job.file import load_job, parse_job
from shared.job.model import Job
from shared.version import version


def refuse_unfit(readings: Path, job: Job, job_name: str) -> None:
    """Raise UserError where a batch's readings were made with another job, other profiles or another tool."""
    from rigging.batch.readings_file import what_changed

    changed = what_changed(readings, job)
    if changed:
        words = {"job": "the job", "profiles": "the profiles", "tool": "ribangle itself"}
        listed = " and ".join(words[what] for what in changed)
        raise UserError(
            str(readings),
            f"its readings were made before {listed} {'was' if len(changed) == 1 and changed[0] != 'profiles' else 'were'} "
            "changed, and no longer fit",
            f"measure again: ribangle measure {job_name} PHOTOS takes over what still fits",
        )


def since(record: Record, job_file: Path) -> tuple[Flag, ...]:
    """What was changed since a kept survey, a flag each: it still shows the wing as job and profiles were then."""
    return tuple(_changes(record, job_file))


def _changes(record: Record, job_file: Path) -> Iterator[Flag]:
    was = parse_job(record.materials.job.text, record.materials.job.path, job_file.parent)
    now = load_job(job_file)
    edits = tuple(edited(was, now))
    if edits:
        yield FlagCode.JOB_CHANGED.flag(
            f"the job was changed since survey {record.number} ({_listed(edits)}); this is the survey by the job as it was. "
            f"ribangle survey {job_file.name} PHOTOS judges by the job as it is",
        )
    gone = [p.path for p in record.materials.profiles if _sha(job_file.parent / p.path) != p.sha256]
    if gone:
        yield FlagCode.PROFILE_CHANGED.flag(
            f"profiles were changed since survey {record.number} ({_listed(tuple(gone))}); its angles stand on the old ones",
        )
    if record.version != version():
        yield FlagCode.TOOL_CHANGED.flag(
            f"survey {record.number} was made by version {record.version}; this is {version()}"
        )


def edited(was: Job, now: Job) -> Iterator[str]:
    """What differs between two states of a job, in words: stations by name, tables by theirs."""
    before, after = ({s.name: s for s in job.stations} for job in (was, now))
    for name in dict.fromkeys((*before, *after)):
        if name not in after:
            yield f"station {name} taken out"
        elif name not in before:
            yield f"station {name} added"
        elif before[name] != after[name]:
            keys = [
                f.name for f in fields(after[name]) if getattr(before[name], f.name) != getattr(after[name], f.name)
            ]
            yield f"station {name}: {', '.join(keys)}"
    bare = [replace(job, stations=(), folder=Path()) for job in (was, now)]
    yield from (f.name for f in fields(Job) if getattr(bare[0], f.name) != getattr(bare[1], f.name))


def _listed(words: tuple[str, ...], most: int = 4) -> str:
    more = f" and {len(words) - most} more" if len(words) > most else ""
    return "; ".join(words[:most]) + more


def _sha(path: Path) -> str:
    try:
        return sha256_of(path)
    except OSError:
        return ""
