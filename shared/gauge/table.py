"""The cells of a CSV as people and spreadsheets write it: any of the usual delimiters, line breaks inside quotes."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass

from shared.errors import UserError
from shared.gauge.readings import Oddity

Row = tuple[int, list[str]]
DELIMITERS = ";\t|, "
LONGEST_NOTE = 60
"""Lines that one quoted note may run over; a quote that stays open longer was never closed."""


@dataclass(frozen=True)
class Table:
    """Rows with the 1-based number of their first line, blank and comment (#) lines left out.

    oddities : quotes that were opened and not closed.
    """

    rows: list[Row]
    delimiter: str
    oddities: tuple[Oddity, ...] = ()


def decode(raw: bytes, name: str) -> str:
    """Text of a CSV's bytes: UTF-8, UTF-16 with its mark, else the western Windows page. Raises UserError.

    raw : the file's bytes. name : of the file, for messages.
    """
    if b"\0" in raw and not raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise UserError(name, "is not a text file", "save the sheet as CSV and give that")
    for coding in ("utf-16",) if raw.startswith((b"\xff\xfe", b"\xfe\xff")) else ("utf-8-sig", "cp1252"):
        try:
            return raw.decode(coding)
        except UnicodeDecodeError:
            continue
    raise UserError(name, "its characters cannot be read", "save the sheet as CSV in UTF-8")


def table(text: str) -> Table:
    """The cells by the likeliest delimiter. Raises UserError for a cell beyond the csv module's limit.

    text : of the whole file, so that a quoted cell may hold line breaks.
    """
    return next(tables(text))


def tables(text: str) -> Iterator[Table]:
    """The cells by each delimiter that may be meant, the likeliest first.

    Likely is one that cuts most lines into equally many (two or more) cells; a comma, which may be a decimal
    one, and a blank, which stands in names and notes, come after the others. A line `sep=;` decides alone.

    text : of the whole file.
    """
    lines = list(io.StringIO(text, newline=""))
    first = next((k for k, s in enumerate(lines) if _counts(s)), 0)
    mark = lines[first].strip() if lines else ""
    if mark.casefold().startswith("sep=") and len(mark) == 5:
        yield _cut(lines, first + 1, mark[-1])
        return
    kept = [s for s in lines if _counts(s)]
    likely = sorted(DELIMITERS, key=lambda d: -_regularity(kept, d))
    yield _cut(lines, 0, likely[0])
    for d in likely[1:]:
        if _regularity(kept, d) > 0:
            yield _cut(lines, 0, d)


def _counts(line: str) -> bool:
    return bool(line.strip()) and not line.lstrip().startswith("#")


def _cut(lines: list[str], start: int, delimiter: str) -> Table:
    rows: list[Row] = []
    odd: list[Oddity] = []
    usual = _usual([s for s in lines if _counts(s)], delimiter)
    k = start
    while k < len(lines):
        if not _counts(lines[k]):
            k += 1
            continue
        cells, used = _split(lines[k : k + LONGEST_NOTE], delimiter)
        if used > 1 and (
            '"' not in "".join(lines[k + 1 : k + used])
            or any(len(_split([s], delimiter)[0]) >= usual for s in lines[k + 1 : k + used] if _counts(s))
        ):
            # rows would be lost inside a quote that nobody closed
            cells, used = [c.replace('"', "") for c in lines[k].split(delimiter)], 1
            odd.append(Oddity(k + 1, "a quotation mark is opened and not closed: the row ends with its line", True))
        cells = [" ".join(c.split()) for c in cells]
        if any(cells):
            rows.append((k + 1, cells))
        k += used
    return Table(rows, delimiter, tuple(odd))


def _split(lines: list[str], delimiter: str) -> tuple[list[str], int]:
    """Cells of the row that begins the lines, and how many lines it takes."""
    if delimiter == " ":
        lines = [lines[0].strip()]
    reader = csv.reader(lines, delimiter=delimiter, skipinitialspace=True)
    try:
        return next(reader), reader.line_num
    except csv.Error:  # a cell beyond the reader's limit
        raise UserError(
            f"the row that begins {lines[0][:20]!r}", "has a cell too long for a table", "save the sheet as CSV again"
        ) from None


def _usual(lines: list[str], delimiter: str) -> int:
    """How many cells (two at least) most lines are cut into."""
    many = [n for s in lines if (n := len(_split([s], delimiter)[0])) > 1]
    return max(set(many), key=many.count) if many else 2


def _regularity(lines: list[str], delimiter: str) -> float:
    counts = [len(_split([s], delimiter)[0]) for s in lines]
    many = [c for c in counts if c > 1]
    if not many:
        return 0.0
    usual = max(set(many), key=many.count)
    bonus = {",": 0.0, " ": -0.5}.get(delimiter, 0.5)
    return max(counts.count(usual) / len(counts) + bonus * len(many) / len(counts), 1e-9)
