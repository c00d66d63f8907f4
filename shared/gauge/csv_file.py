"""Reads a CSV of inclinometer readings as people write them. Nothing is guessed in silence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from shared.errors import UserError
from shared.gauge import angle_cell, words
from shared.gauge.decimal_comma import Column, ways
from shared.gauge.readings import GaugeReading, GaugeReadings, Line, NamedLines, Oddity
from shared.gauge.table import Row, Table, decode, tables
from shared.gauge.words import REPEATED, Field


def load_gauge_readings(path: Path, stations: Sequence[str], named: NamedLines | None = None) -> GaugeReadings:
    """The readings of a file, for these stations, and for the lines that the job names at stations and places.

    Raises UserError when the file is missing, is no text, or holds no column of readings.

    path : of a CSV file. stations : the job's names, which the file's are matched with. named : lines
    by name at each station or place; None: there are none.
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
    return parse_gauge_readings(decode(raw, str(path)), stations, str(path), named)


def parse_gauge_readings(
    text: str, stations: Sequence[str], source: str = "", named: NamedLines | None = None
) -> GaugeReadings:
    """The readings in a CSV's text. Every row that was not plain is reported in `oddities`.

    Raises UserError where no line names or holds a column of readings.

    stations : the job's names. source : name of the file, for messages. named : as for `load_gauge_readings`.

    >>> found = parse_gauge_readings("station,line,reading\\nR1,chord,2.2\\nR1,spar,90.3\\n", ["R1", "R2"])
    >>> [(r.station, r.line, r.shown_deg) for r in found.readings]
    [('R1', 'chord', 2.2), ('R1', 'spar', 90.3)]
    """
    known = _Known(tuple(stations), dict(named or {}))
    columns, rows, cut, odd = _head_of(text, known.names, source)
    readings: list[GaugeReading] = []
    for number, cells in rows:
        readings.extend(_row(number, cells, columns, cut.delimiter, known, odd))
    seen: dict[tuple[str, str], int] = {}
    for r in readings:
        line = r.name or r.line
        if (r.station, line) in seen:
            before = seen[r.station, line]
            where = "read twice in this row" if before == r.row else f"was read before (row {before})"
            odd.append(Oddity(r.row, f"{r.station} {line} {where}: both count", True))
        seen.setdefault((r.station, line), r.row)
    plain, by_name = (tuple(r for r in readings if bool(r.name) is want) for want in (False, True))
    return GaugeReadings(plain, tuple(sorted(odd, key=lambda o: o.row)), source, by_name)


@dataclass(frozen=True)
class _Known:
    """What rows may name: stations, and lines by name at stations and places."""

    stations: tuple[str, ...]
    named: dict[tuple[str, str], Line]

    @property
    def names(self) -> list[str]:
        """Every station and place."""
        return list(dict.fromkeys((*self.stations, *(at for at, _ in self.named))))

    def line(self, station: str, cell: str) -> tuple[Line, str] | None:
        """How the line that a cell names is counted, and its own name where it is none of a rib's two."""
        for (at, name), line in self.named.items():
            if at == station and words.plain(name) == words.plain(cell):
                return line, name
        plain = words.line_of(cell)
        return None if plain is None or station not in self.stations else (plain, "")


def _head_of(text: str, stations: Sequence[str], source: str) -> tuple[list[Column], list[Row], Table, list[Oddity]]:
    """Columns, the rows below the head, the table, what was odd; by the likeliest delimiter that shows a head."""
    refusal: UserError | None = None
    for cut in tables(text):
        odd = list(cut.oddities)
        if not cut.rows:
            break
        try:
            columns, rows = _head(cut.rows, stations, odd, source)
        except UserError as error:
            refusal = refusal or error
            continue
        return columns, rows, cut, odd
    raise refusal or UserError(source or "readings", "no reading in it", "give columns station, line, reading")


def _head(rows: list[Row], stations: Sequence[str], odd: list[Oddity], source: str) -> tuple[list[Column], list[Row]]:
    """Columns, and the rows below the head; a file without a head is reported."""
    for at, (number, cells) in enumerate(rows[:5]):
        fields = [words.column(c) for c in cells]
        if "station" in fields and set(REPEATED) & set(fields):
            for row, above in rows[:at]:
                odd.append(Oddity(row, f'line above the head not used: "{" ".join(above)}"', False))
            for name, field in zip(cells, fields, strict=True):
                if field is None and name:
                    odd.append(Oddity(number, f'column "{name}" not used', False))
            _refuse_twice(fields, cells, source)
            if "line" not in fields and "reading" in fields:
                odd.append(Oddity(number, "no column says which line was read: all taken as chord", True))
            return [Column(f, angle_cell.unit_in(c)) for f, c in zip(fields, cells, strict=True)], rows[at + 1 :]
    cells = rows[0][1]
    if any(words.station_of(c[0], stations)[0] is not None for _, c in rows[:5]):
        bare = _without_head(cells)
        if bare is not None:
            shown = ", ".join(str(f) for f in bare)
            odd.append(Oddity(rows[0][0], f"no head: columns taken as {shown}", True))
            return [Column(f) for f in bare], rows
    raise UserError(
        source or "readings",
        f'no column of readings found (first line "{", ".join(cells)}")',
        "name the columns station, line, reading",
    )


def _without_head(cells: list[str]) -> list[Field | None] | None:
    if len(cells) >= 3 and words.line_of(cells[1]) and angle_cell.several(cells[2]):
        return ["station", "line", "reading", *([None] * (len(cells) - 3))]
    if len(cells) >= 2 and angle_cell.several(cells[1]):
        return ["station", "reading", *([None] * (len(cells) - 2))]
    return None


def _refuse_twice(fields: list[Field | None], cells: list[str], source: str) -> None:
    """Two columns of one meaning, unless their names count them as the first and the second reading."""
    for field in ("station", "line", "side", "sense", *REPEATED):
        names = [c for c, f in zip(cells, fields, strict=True) if f == field]
        counted = field in REPEATED and len({words.uncounted(c) for c in names}) == 1 and len(set(names)) == len(names)
        if len(names) > 1 and not counted:
            raise UserError(
                source or "readings",
                f"columns {' and '.join(names)} both look like {field}",
                f"name one of them {field} and the other otherwise",
            )


def _row(
    number: int, cells: list[str], columns: list[Column], delimiter: str, known: _Known, odd: list[Oddity]
) -> list[GaugeReading]:
    """The readings of one row; whatever of it is not used goes to `odd` with its reason."""

    def note(text: str, used: bool) -> None:
        if text:
            odd.append(Oddity(number, text, used))

    found = ways(columns, cells, delimiter)
    if len(found) > 1 or not found:
        why = "may hold a decimal comma between commas" if found or delimiter == "," else "has cells beyond the head's"
        note(f'"{delimiter.join(cells)}" {why}: not used; write 0.5, or part the columns with ;', False)
        return []
    told = found[0]
    for text in told.joined:
        note(f'"{text}" taken as one number with a decimal comma', True)
    named = [(c, cell) for c, cell in zip(columns, told.cells, strict=True) if c.field in REPEATED]
    one = {c.field: cell for c, cell in zip(columns, told.cells, strict=True) if c.field is not None}
    if not any(one.get(f, "") for f in ("station", "side")) and all(words.is_nothing(cell) for _, cell in named):
        return []
    station, said = _station(one, known.names)
    note(said, station is not None)
    if station is None:
        return []
    taken, said = words.time_of(one.get("date", ""), one.get("time", ""))
    note(said, True)
    readings = []
    empty = [cell for _, cell in named if words.is_nothing(cell)]
    if len(empty) == len(named):
        note(f"""{station}: no reading ("{'", "'.join(empty)}")""", False)
        return []
    for column, cell in named:
        which = known.line(station, "spar" if column.field == "spar" else "chord")
        if column.field == "reading" and "line" in one:
            which = known.line(station, one["line"])
        if which is None:
            said = one.get("line", column.field or "")
            rest = "neither chord nor spar" if station in known.stations else f"no line that the job names at {station}"
            note(f'line "{said}" is {rest}: not used', False)
            continue
        line, name = which
        if words.is_nothing(cell):
            continue
        angles = _angles(cell, column.unit, one.get("sense", ""))
        if angles is None or not all(-180 <= a.degrees <= 360 for a in angles):
            note(f'{station}: "{cell}" {_no_angle(cell)}: not used', False)
            continue
        for a in angles:
            note(a.odd, True)
            readings.append(GaugeReading(station, line, a.degrees, a.said, taken, number, one.get("note", ""), name))
    return readings


def _angles(cell: str, unit: str | None, sense: str) -> list[angle_cell.AngleCell] | None:
    """The angles of a cell, with what the column for the sign adds; None where there is none, or they deny it."""
    if not sense or (words.is_nothing(sense) and sense.strip() not in ("-", "–", "—", "−")):
        return angle_cell.several(cell, unit)
    word = angle_cell.sense_word(sense)
    return angle_cell.several(f"{word}{cell}" if word in ("+", "-") else f"{cell} {word}", unit) if word else None


def _no_angle(cell: str) -> str:
    if angle_cell.mangled(cell):
        return (
            "is not an angle but a date or time, which a spreadsheet makes of a number such as 2.5 "
            "(write it again in a column set to text)"
        )
    return "is not an angle in degrees"


def _station(one: dict[Field, str], stations: Sequence[str]) -> tuple[str | None, str]:
    """The station a row names, with what was odd, or None with the reason."""
    name, side = one.get("station", ""), one.get("side", "")
    station, said = words.station_of(name, stations)
    if side:
        letter = side[:1]
        with_side, also = words.station_of(f"{letter}{name}", stations)
        if station is None and with_side is not None:
            return with_side, also
        other = f"{letter}{(station or '')[1:]}".casefold()
        if station is not None and other != station.casefold() and other in (s.casefold() for s in stations):
            return None, f'station "{name}" and side "{side}" deny each other: not used'
    if station is not None:
        return station, said
    if not name:
        return None, "a reading without a station: not used (write the station in every row)"
    return None, f'station "{name}" is not in the job: not used'
