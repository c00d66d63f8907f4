"""Which cells of a row belong to which column, where a decimal comma may stand between commas."""

from __future__ import annotations

import re
from dataclasses import dataclass

from shared.gauge import angle_cell, words
from shared.gauge.words import REPEATED, Field

_WHOLE = re.compile(r"(?:[^\d,.]*[\s(])?[+-]?\s*\d{1,3}")
_DECIMALS = re.compile(r"\d{1,3}(?!\d)[^,.:/]*")
SPAR_FROM_DEG = 45.0
"""A spar line is read nearer to plumb than to level: a smaller number after a whole chord may be its decimals."""


@dataclass(frozen=True)
class Column:
    """One column: its field (None: not used) and the unit that its head names (None: degrees)."""

    field: Field | None
    unit: str | None = None


@dataclass(frozen=True)
class Way:
    """The cells by column, and those that were made of two ("2,2")."""

    cells: list[str]
    joined: tuple[str, ...] = ()


def ways(columns: list[Column], cells: list[str], delimiter: str) -> list[Way]:
    """Every way the cells may be meant: one where the row is plain, none where they are too many.

    Between commas a whole number and a bare digit or two after it may be one number. A row that has just as
    many cells as the head, or fewer, is plain unless such decimals would stand in a column of another kind.

    columns : what the head says each column holds. cells : of one row, as cut at the delimiter. delimiter : that cut
    them.
    """
    while len(cells) > len(columns) and not cells[-1]:
        cells = cells[:-1]
    plain = len(cells) <= len(columns)
    padded = Way([*cells, *[""] * (len(columns) - len(cells))])
    if delimiter != ",":
        return [padded] if plain else []
    joined = _joined(columns, cells)
    if not plain:
        return joined
    return [padded] if not joined or not _strange(columns, cells) else _sensible(columns, padded) + joined


def _joined(columns: list[Column], cells: list[str]) -> list[Way]:
    """Ways with at least one number made of two cells."""
    found: list[Way] = []

    def place(at: int, rest: list[str], done: list[str], made: tuple[str, ...]) -> None:
        if at == len(columns) or not rest:
            if not rest and made:
                found.extend(_sensible(columns, Way([*done, *[""] * (len(columns) - at)], made)))
            return
        place(at + 1, rest[1:], [*done, rest[0]], made)
        if columns[at].field in REPEATED and len(rest) > 1 and _cut(rest[0], rest[1]):
            one = f"{rest[0]},{rest[1]}"
            place(at + 1, rest[2:], [*done, one], (*made, one))

    place(0, cells, [], ())
    return found


def _cut(a: str, b: str) -> bool:
    """Whether two cells may be a number that a decimal comma cut in two."""
    return bool(_WHOLE.fullmatch(angle_cell.plain_minus(a)) and _DECIMALS.fullmatch(b))


def _strange(columns: list[Column], cells: list[str]) -> bool:
    """Whether bare digits after a whole reading stand where they are hardly meant."""
    for c, d, a, b in zip(columns, columns[1:], cells, cells[1:], strict=False):
        if c.field in REPEATED and _cut(a, b):
            number = angle_cell.angle(b)
            small = number is not None and abs(number.degrees) < SPAR_FROM_DEG
            if d.field not in REPEATED or (d.field == "spar" and small):
                return True
    return False


def _sensible(columns: list[Column], way: Way) -> list[Way]:
    """The way, where every cell is what its column is for."""
    one = {c.field: cell for c, cell in zip(columns, way.cells, strict=True) if c.field is not None}
    ok = all(
        words.is_nothing(cell) or angle_cell.several(cell, c.unit) is not None
        for c, cell in zip(columns, way.cells, strict=True)
        if c.field in REPEATED
    )
    taken, odd = words.time_of(one.get("date", ""), one.get("time", ""))
    ok = ok and not (odd and taken is None) and ("line" not in one or words.line_of(one["line"]) is not None)
    return [way] if ok else []
