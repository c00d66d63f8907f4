"""`lines.csv`: the named lines of every photo, one a row, as the job counts them; safe to open in a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from typing import IO, Any

from rigging.batch.readings_csv import cell
from rigging.batch.readings_file import from_tree
from rigging.survey.named_lines import angle_of, counted
from shared.job.model import Job
from shared.reading import Reading

COLUMNS = (
    "at",
    "line",
    "photo",
    "to",
    "angle_deg",
    "U_deg",
    "u_deg",
    "design_deg",
    "tolerance_deg",
    "off_deg",
    "positive",
    "from_level_deg",
    "from_level_U_deg",
    "flags",
    "reason",
    "taken",
    "sha256",
)
"""Degrees; the angle as the job counts it, and from level with the arrow's end up positive (an upright line 90 + lean)."""


def write_lines(stream: IO[bytes], job: Job, trees: Iterable[dict[str, Any]]) -> None:
    """Write the rows of reading trees, as `rigging.batch.readings_csv.write_csv` does."""
    text = io.TextIOWrapper(stream, "utf-8", newline="", write_through=True)
    rows = csv.DictWriter(text, COLUMNS, delimiter=";" if job.decimal == "," else ",")
    rows.writeheader()
    for tree in trees:
        for row in line_rows(job, from_tree(tree)) if tree["lines"] else ():
            rows.writerow({key: cell(value, job.decimal) for key, value in row.items()})
    text.flush()
    text.detach()


def line_rows(job: Job, reading: Reading) -> Iterator[dict[str, Any]]:
    """The cells of each named line of one reading; numbers as numbers, None where unknown."""
    for line in job.lines_at(reading.station or ""):
        angle, level = counted(line, reading), angle_of(reading, line.name)
        q, g = angle.quantity, level.quantity
        flags = dict.fromkeys(f.text for f in (*reading.flags, *angle.flags))
        yield {
            "at": line.at,
            "line": line.name,
            "photo": reading.photo.name,
            "to": line.to,
            "angle_deg": q and q.value,
            "U_deg": q and q.U,
            "u_deg": q and q.u,
            "design_deg": line.deg,
            "tolerance_deg": line.tolerance_deg,
            "off_deg": q and q.value - line.deg,
            "positive": line.positive,
            "from_level_deg": g and g.value,
            "from_level_U_deg": g and g.U,
            "flags": "; ".join(flags),
            "reason": angle.reason,
            "taken": reading.photo.taken,
            "sha256": reading.photo.sha256,
        }
