"""The annotated picture of one photo with its verdict: what this photo alone says of its station."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from rigging.survey.decision import Decision
from rigging.survey.dimension_words import value_words
from rigging.survey.model import LineResult
from rigging.survey.station_lines import Asked, combined, lines_of
from shared.job.model import Job, Station
from shared.reading import Reading
from shared.rounding import number
from vision.overlay import Headline, PictureLike, draw_overlay


def draw(source: PictureLike, reading: Reading, job: Job, further: tuple[Reading, ...] = ()) -> Any:
    """The annotated picture, headline first: (H, W, 3) BGR uint8. further : of the ribs behind the foremost."""
    return draw_overlay(source, reading, headline=headline(reading, job), further=further, values=_values(reading, job))


def draw_details(source: PictureLike, reading: Reading, job: Job, further: tuple[Reading, ...] = ()) -> Any:
    """The same with the numbers by which cards and candidates were weighed."""
    return draw_overlay(
        source, reading, headline=headline(reading, job), details=True, further=further, values=_values(reading, job)
    )


def _values(reading: Reading, job: Job) -> dict[str, str]:
    """The reading's dimensions in the job's unit, by name."""
    return {m.name: value_words(job, m.unit, m.quantity) for m in reading.dimensions if m.quantity is not None}


def headline(reading: Reading, job: Job) -> Headline | None:
    """The verdict of this photo alone and the one thing to do; None where the job has no such station."""
    station = next((s for s in job.stations if s.name == reading.station), None)
    if station is None:
        return None
    if reading.chord.quantity is None:
        return Headline("", reading.advice[0].text if reading.advice else f"photograph {station.name} again")
    chord = _chord(job, station, reading)
    if chord.deviation is None or chord.decision is None:
        return None
    off = f"{number(chord.deviation.value, 2, sign=True)}\N{DEGREE SIGN} from design"
    if job.wing.root_setting != "kept" and station.name != job.wing.root:
        return Headline(f"{off}, the root's own not taken out", "let the survey judge it")
    tolerance = f"tolerance \N{PLUS-MINUS SIGN}{number(chord.decision.tolerance_deg, 2)}\N{DEGREE SIGN}"
    return Headline(f"{chord.decision.outcome}: {off}, {tolerance}", _todo(chord.decision, chord.deviation.value))


def _chord(job: Job, station: Station, reading: Reading) -> LineResult:
    asked = Asked({}, "kept", None, datetime.now())
    alone = combined(job, station, [reading], "chord", asked)
    return lines_of(job, station, [reading], alone, asked, None).chord


def _todo(decision: Decision, off: float) -> str:
    if decision.outcome == "conforming":
        return "leave it; confirm with an independent instrument"
    if decision.outcome == "nonconforming":
        way = "nose down" if off > 0 else "nose up"
        return (
            f"it belongs {number(abs(off), 2)}\N{DEGREE SIGN} further {way}; the survey says by which screw, or if not"
        )
    if decision.why:
        return "turn nothing yet; settle the doubt, or photograph it again"
    return decision.advice[0].text if decision.advice else "photograph it once more"
