"""Rows of the inclinometer's file that no reading came of: told on every screen that uses the file."""

from __future__ import annotations

from collections.abc import Sequence

from shared.errors import UserError
from shared.gauge.readings import GaugeReadings, Oddity
from shared.job.model import Job


def dropped(oddities: Sequence[Oddity]) -> tuple[str, ...]:
    """A line for each row that was not used."""
    return tuple(f"row {o.row}: {o.text}" for o in oddities if not o.used)


def nothing_left(readings: int, oddities: Sequence[Oddity]) -> str | None:
    """What to say where the file gave no reading at all; None where it gave one."""
    if readings:
        return None
    rows = len({o.row for o in oddities if not o.used})
    return (
        f"no row of the inclinometer's file could be used ({rows} dropped): nothing independent stands beside the camera"
        if rows
        else "the inclinometer's file holds no reading: nothing independent stands beside the camera"
    )


def of_job(job: Job) -> tuple[GaugeReadings | None, tuple[str, ...]]:
    """The readings of the job's file (None: no file, or none that can be read) and what was not used of it."""
    from shared.gauge.csv_file import load_gauge_readings

    if job.gauge.readings is None:
        return None, ()
    try:
        found = load_gauge_readings(job.folder / job.gauge.readings, [s.name for s in job.stations])
    except UserError as error:
        return None, (str(error),)
    none = nothing_left(len(found.readings), found.oddities)
    return found, ((none,) if none else ()) + dropped(found.oddities)
