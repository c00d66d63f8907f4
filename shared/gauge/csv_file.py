"""Reads a CSV of inclinometer readings as people write them. Nothing is guessed in silence."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from pathlib import Path

from shared.errors import UserError
from shared.gauge import words
from shared.gauge.readings import GaugeReading, GaugeReadings, Line, Oddity
from shared.gauge.words import Field

Row = tuple[int, list[str]]


def load_gauge_readings(path: Path, stations: Sequence[str]) -> GaugeReadings:
    """The readings of a file, for these stations.

    Raises UserError when the file is missing, is no text, or holds no column of readings.
    """
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        raise UserError(
            str(path),
            "no such readings file",
            "correct [gauge] readings in the job, or use `ribangle gauge add STATION VALUE`",
        ) from None
    except OSError as error:
        raise UserError(str(path), f"cannot be read ({error.strerror})", "give the path of a CSV file") from None
    return parse_gauge_readings(decode(raw, str(path)), stations, str(path))


def decode(raw: bytes, name: str) -> str:
    """Text of a CSV's bytes: UTF-8, UTF-16 with its mark, else the western Windows page."""
    if b"\0" in raw and not raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise UserError(name, "is not a text file", "save the sheet as CSV and give that")
    for coding in ("utf-16",) if raw.startswith((b"\xff\xfe", b"\xfe\xff")) else ("utf-8-sig", "cp1252"):
        try:
            return raw.decode(coding)
        except UnicodeDecodeError:
            continue
    raise UserError(name, "its characters cannot be read", "save the sheet as CSV in UTF-8")


def table(text: str) -> tuple[list[Row], str]:
    """Rows with their 1-based line numbers, blank and comment lines left out, and the delimiter.

    The delimiter is the one of ; tab | , that cuts most rows into equally many (two or more) cells.
    """
    lines = text.splitlines()
    kept = [(i + 1, s) for i, s in enumerate(lines) if s.strip() and not s.lstrip().startswith("#")]
    if kept and kept[0][1].casefold().startswith("sep=") and len(kept[0][1].strip()) == 5:
        delimiter = kept.pop(0)[1].strip()[-1]
    else:
        delimiter = max(";\t|,", key=lambda d: _regularity([s for _, s in kept], d))
    rows = []
    for number, line in kept:
        cells = [c.strip() for c in _split(line, delimiter)]
        if any(cells):
            rows.append((number, cells))
    return rows, delimiter


def _split(line: str, delimiter: str) -> list[str]:
    try:
        return next(csv.reader(io.StringIO(line), delimiter=delimiter, skipinitialspace=True))
    except csv.Error:  # a cell beyond the reader's limit
        raise UserError(
            f"the row that begins {line[:20]!r}", "has a cell too long for a table", "save the sheet as CSV anew"
        ) from None


def _regularity(lines: list[str], delimiter: str) -> float:
    counts = [len(_split(s, delimiter)) for s in lines]
    many = [c for c in counts if c > 1]
    if not many:
        return 0.0
    usual = max(set(many), key=many.count)
    return counts.count(usual) / len(counts) + (0.5 if delimiter != "," else 0.0) * len(many) / len(counts)


def parse_gauge_readings(text: str, stations: Sequence[str], source: str = "") -> GaugeReadings:
    """The readings in a CSV's text. Every row that was not plain is told in `oddities`."""
    rows, delimiter = table(text)
    if not rows:
        raise UserError(source or "readings", "no reading in it", "give columns station, line, reading")
    odd: list[Oddity] = []
    fields, rows = _head(rows, stations, odd, source)
    width = len(fields)
    readings: list[GaugeReading] = []
    for number, cells in rows:
        if len(cells) > width and any(cells[width:]):
            hint = " (decimal comma between commas? write 0.5, or part the columns with ;)" if delimiter == "," else ""
            odd.append(Oddity(number, f"{len(cells)} cells where the head has {width}{hint}: not used", False))
            continue
        if delimiter == "," and _cut_at_comma(fields, cells):
            odd.append(
                Oddity(
                    number,
                    f'"{",".join(cells)}" may hold a decimal comma between commas: '
                    "not used; write 0.5, or part the columns with ;",
                    False,
                )
            )
            continue
        readings.extend(_row(number, dict(_cells(fields, cells)), stations, odd))
    seen: dict[tuple[str, Line], int] = {}
    for r in readings:
        if (r.station, r.line) in seen:
            odd.append(
                Oddity(
                    r.row,
                    f"{r.station} {r.line} was read before (row {seen[r.station, r.line]}): both count",
                    True,
                )
            )
        seen.setdefault((r.station, r.line), r.row)
    return GaugeReadings(tuple(readings), tuple(sorted(odd, key=lambda o: o.row)), source)


def _cut_at_comma(fields: list[Field | None], cells: list[str]) -> bool:
    """Whether a whole number of degrees is followed by a bare digit or two in a column of no reading."""
    whole = re.compile(r"[+-]?\d{1,3}"), re.compile(r"\d{1,2}\D?")
    return any(
        f in ("reading", "chord", "spar")
        and g not in ("reading", "chord", "spar")
        and whole[0].fullmatch(a)
        and whole[1].fullmatch(b)
        for f, g, a, b in zip(fields, fields[1:], cells, cells[1:], strict=False)
    )


def _cells(fields: list[Field | None], cells: list[str]) -> list[tuple[Field, str]]:
    return [(f, c) for f, c in zip(fields, cells, strict=False) if f is not None]


def _head(
    rows: list[Row], stations: Sequence[str], odd: list[Oddity], source: str
) -> tuple[list[Field | None], list[Row]]:
    """Fields by column, and the rows below the head; a file without a head is told about."""
    for at, (number, cells) in enumerate(rows[:5]):
        fields = [words.column(c) for c in cells]
        if "station" in fields and {"reading", "chord", "spar"} & set(fields):
            for _, above in rows[:at]:
                odd.append(Oddity(number, f'line above the head not used: "{" ".join(above)}"', False))
            for name, field in zip(cells, fields, strict=True):
                if field is None and name:
                    odd.append(Oddity(number, f'column "{name}" not used', False))
            _refuse_twice(fields, cells, source)
            if "line" not in fields and "reading" in fields:
                odd.append(Oddity(number, "no column says which line was read: all taken as chord", True))
            return fields, rows[at + 1 :]
    cells = rows[0][1]
    if words.station_of(cells[0], stations)[0] is not None:
        bare = _without_head(cells)
        if bare is not None:
            shown = ", ".join(str(f) for f in bare)
            odd.append(Oddity(rows[0][0], f"no head: columns taken as {shown}", True))
            return bare, rows
    raise UserError(
        source or "readings",
        f'no column of readings found (first line "{", ".join(cells)}")',
        "name the columns station, line, reading",
    )


def _without_head(cells: list[str]) -> list[Field | None] | None:
    if len(cells) >= 3 and words.line_of(cells[1]) and words.angle(cells[2]):
        return ["station", "line", "reading", *([None] * (len(cells) - 3))]
    if len(cells) >= 2 and words.angle(cells[1]):
        return ["station", "reading", *([None] * (len(cells) - 2))]
    return None


def _refuse_twice(fields: list[Field | None], cells: list[str], source: str) -> None:
    twice: tuple[Field, ...] = ("station", "line", "reading", "chord", "spar")
    for field in twice:
        if fields.count(field) > 1:
            names = [c for c, f in zip(cells, fields, strict=True) if f == field]
            raise UserError(
                source or "readings",
                f"columns {' and '.join(names)} both look like {field}",
                f"name one of them {field} and the other otherwise",
            )


def _row(number: int, cells: dict[Field, str], stations: Sequence[str], odd: list[Oddity]) -> list[GaugeReading]:
    """The readings of one row (two where chord and spar have their own columns)."""

    def note(text: str, used: bool) -> None:
        if text:
            odd.append(Oddity(number, text, used))

    name = cells.get("station", "")
    named = [(field, cells[field]) for field in ("reading", "chord", "spar") if field in cells]
    if not name and all(words.is_nothing(c) for _, c in named):
        return []
    station, said = words.station_of(name, stations)
    if station is None and cells.get("side"):
        letter = cells["side"][:1]
        station, said = words.station_of(f"{letter}{name}", stations)
    if station is None:
        note(f'station "{name}" is not in the job: not used', False)
        return []
    note(said, True)
    taken, said = words.time_of(cells.get("date", ""), cells.get("time", ""))
    note(said, True)
    found = []
    for field, cell in named:
        line: Line | None = "spar" if field == "spar" else "chord"
        if field == "reading" and "line" in cells:
            line = words.line_of(cells["line"])
            if line is None:
                note(f'line "{cells["line"]}" is neither chord nor spar: not used', False)
                continue
        if words.is_nothing(cell):
            note(f'{station}: no reading ("{cell}")', False)
            continue
        angle = words.angle(cell)
        if angle is None or not -180 <= angle.degrees <= 360:
            note(f'{station}: "{cell}" is not an angle in degrees: not used', False)
            continue
        note(angle.odd, True)
        assert line is not None
        found.append(GaugeReading(station, line, angle.degrees, angle.said, taken, number, cells.get("note", "")))
    return found
