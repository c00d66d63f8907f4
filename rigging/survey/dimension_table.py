"""The dimensions of a survey on the terminal."""

from __future__ import annotations

from rich.text import Text

from rigging.survey.dimension_words import design_words, value_words
from rigging.survey.dimensions import DimensionResult
from rigging.survey.model import Survey
from rigging.survey.screen import Fitting, plain_table
from shared.job.model import Job

STYLES = {"conforming": "green", "nonconforming": "bold red", "undecided": "yellow", "not measured": "magenta"}


def dimensions_table(survey: Survey) -> Fitting:
    """One row a dimension; on a narrow screen what limits each U stands below. survey : with dimensions."""
    left = ("dimension", "verdict", "what limits U")
    head = ("dimension", "verdict", "value, U (k = 2)", "off design", "design")
    whole, narrow, notes = plain_table(*head, "what limits U", left=left), plain_table(*head[:4], left=left), []
    for r in survey.dimensions:
        cells = _cells(survey.job, r)
        why = r.limits if r.quantity is not None else r.combined.reason or ""
        whole.add_row(*cells, why)
        narrow.add_row(*cells[:4])
        notes.append(Text(f"{r.dimension.key}: {why}"))
    return Fitting(((whole,), (narrow, Text(), *notes)))


def _cells(job: Job, r: DimensionResult) -> tuple[Text | str, ...]:
    d, unit = r.dimension, r.dimension.kind.unit
    return (
        Text(d.key),
        Text(r.state, style=STYLES.get(r.state, "")),
        "" if r.quantity is None else value_words(job, unit, r.quantity, d.kind.signed),
        "" if r.deviation is None else value_words(job, unit, r.deviation, sign=True).partition(" ±")[0],
        design_words(job, d),
    )
