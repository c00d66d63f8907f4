"""Adds one reading to a CSV of inclinometer readings, in the columns that it has."""

from __future__ import annotations

import csv
import io
from pathlib import Path

from shared.errors import UserError
from shared.files import write_whole
from shared.gauge import words
from shared.gauge.readings import Line
from shared.gauge.table import decode, table

HEAD = "station,line,reading_deg,time\n"


def append_reading(path: Path, station: str, line: Line, shown: str, taken: str) -> None:
    """Append a row; a new file gets a head. shown : the reading as it was said. taken : ISO 8601 or "".

    The old rows stay byte for byte, as far as they are UTF-8. Raises UserError where the file has no head, or
    lacks a column that the reading needs.

    path : the CSV file. station : as the job names it. line : "chord" or "spar".
    """
    if not path.exists():
        write_whole(path, HEAD + _line([station, line, shown, taken], ","))
        return
    text = decode(path.read_bytes(), str(path))
    found = table(text)
    if not found.rows:
        write_whole(path, text + HEAD + _line([station, line, shown, taken], ","))
        return
    head = next((cells for _, cells in found.rows[:5] if "station" in map(words.column, cells)), None)
    if head is None:
        raise UserError(str(path), "has no head", "write station,line,reading above its first row")
    fields = [words.column(c) for c in head]
    own = line if line in fields else "reading"
    if own not in fields or (own == "reading" and line == "spar" and "line" not in fields):
        raise UserError(str(path), f"has no column for a {line} reading", "name one line, or write it in by hand")
    filled = {"station": station, own: shown, "line": line}
    if "date" in fields:
        filled["date"], filled["time"] = (taken.split("T") + [""])[:2]
    else:
        filled["time"] = taken
    row = _line([filled.get(f or "", "") for f in fields], found.delimiter)
    write_whole(path, text + ("" if text.endswith("\n") else "\n") + row)


def _line(cells: list[str], delimiter: str) -> str:
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, lineterminator="\n").writerow(cells)
    return out.getvalue()
