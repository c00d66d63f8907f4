"""Rows of the inclinometer's file that no reading came of: told on every screen that uses the file."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from shared.errors import UserError
from shared.gauge.readings import GaugeReadings, Line, Oddity
from shared.job.model import Job

FAR_DEG = 5.0
"""A reading further than this from the station's design is asked about: a rib or spar stands within a degree or two
of it, a lost decimal point or the other line's angle does not. It is never refused: the person decides."""


def slip(job: Job, name: str, line: Line, degrees: float, said: Literal["nose-up", "nose-down"] | None) -> str | None:
    """Why a number that the inclinometer is said to show looks like a slip, and what may be meant; None where it does not."""
    from calibration.gauge.sense import meanings

    station = job.station(name)
    design = station.chord_deg if line == "chord" else 90.0 if station.spar_deg is None else station.spar_deg
    if min(abs(m - design) for m in meanings(degrees, line, job.gauge.sense, said)) <= FAR_DEG:
        return None
    guesses = {f"{degrees / 10:g}": degrees / 10, f"{degrees / 100:g}": degrees / 100}
    near = [text for text, guess in guesses.items() if abs(abs(guess) - abs(design)) <= 1.0]
    other = "spar" if line == "chord" else "chord"
    swapped = abs(degrees - (90.0 if other == "spar" else station.chord_deg)) <= FAR_DEG
    hint = f"; did you mean {near[0]}?" if near else f"; is it the {other} line?" if swapped else ""
    return f"{degrees:g}\N{DEGREE SIGN} is far from the design of {design:g}\N{DEGREE SIGN}{hint}"


def far(job: Job, found: GaugeReadings) -> tuple[str, ...]:
    """A line for each row whose number looks like a slip; it is used all the same."""
    rows = ((r, slip(job, r.station, r.line, r.shown_deg, r.said)) for r in found.readings)
    return tuple(f"row {r.row}: {r.station} {r.line}: {why}" for r, why in rows if why is not None)


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
        found = load_gauge_readings(job.folder / job.gauge.readings, [s.name for s in job.stations], job.gauge_lines)
    except UserError as error:
        return None, (str(error),)
    none = nothing_left(len(found.readings), found.oddities)
    return found, ((none,) if none else ()) + dropped(found.oddities)
