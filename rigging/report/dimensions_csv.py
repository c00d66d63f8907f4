"""`dimensions.csv`: one line a dimension, for a spreadsheet; safe to open in one."""

from __future__ import annotations

import csv
import io
from typing import Any

from rigging.report.as_csv import cell
from rigging.survey.dimension_words import value_words
from rigging.survey.dimensions import DimensionResult
from rigging.survey.model import Survey
from shared.job.model import Job


def dimensions_csv(survey: Survey) -> str:
    """The table of a survey's dimensions. survey : with one at least.

    Columns: unit : of value, U, design, tolerance and off, mm or deg; shown : the value in the job's unit; U is expanded
    (k = 2); an empty cell is unknown. Line ends, decimal sign and byte order mark as `rigging.report.as_csv`.
    """
    stream = io.StringIO(newline="")
    stream.write("\N{ZERO WIDTH NO-BREAK SPACE}")
    rows = [_row(survey.job, r) for r in survey.dimensions]
    comma = survey.job.decimal == ","
    writer = csv.DictWriter(stream, list(rows[0]), lineterminator="\r\n", delimiter=";" if comma else ",")
    writer.writeheader()
    writer.writerows({key: cell(value, survey.job.decimal) for key, value in row.items()} for row in rows)
    return stream.getvalue()


def _row(job: Job, r: DimensionResult) -> dict[str, Any]:
    d, q, off, decision = r.dimension, r.quantity, r.deviation, r.decision
    return {
        "place": d.place,
        "dimension": d.name,
        "kind": d.kind.value,
        "from": d.between[0].text,
        "to": d.between[1].text,
        "state": r.state,
        "unit": d.kind.unit,
        "value": q.value if q else None,
        "U": q.U if q else None,
        "design": d.design,
        "tolerance": d.tolerance,
        "off": off.value if off else None,
        "p_conforming": decision.p_conforming if decision else None,
        "shown": value_words(job, d.kind.unit, q) if q else None,
        "photos": r.combined.used,
        "limits": r.limits,
        "flags": "; ".join(dict.fromkeys(f.text for f in r.combined.flags)),
        "reason": r.combined.reason,
        "words": r.words,
    }
