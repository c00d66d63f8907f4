"""What the cells of a readings file say: times, column names, lines, stations (angles: `angle_cell`).

Each function gives the meaning, what was odd about it, or neither when the cell cannot be understood.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import datetime
from typing import Literal

from shared.gauge.readings import Line

Field = Literal["station", "line", "reading", "date", "time", "note", "chord", "spar", "side", "sense"]

REPEATED: tuple[Field, ...] = ("reading", "chord", "spar")
"""Columns that hold an angle, and may be there more than once under names that count."""

_COLUMNS: dict[Field, tuple[str, ...]] = {
    "station": (
        "station",
        "stn",
        "rib",
        "rib no",
        "rib number",
        "rib station",
        "place",
        "where",
        "name",
        "position",
        "pos",
        "id",
    ),
    "line": ("line", "what", "which line", "measured line", "measured", "feature", "edge"),
    "reading": (
        "reading",
        "angle",
        "value",
        "deg",
        "degrees",
        "gauge",
        "inclinometer",
        "shown",
        "display",
        "gauge reading",
        "measured angle",
        "reading angle",
        "result",
        "measurement",
    ),
    "date": ("date", "day"),
    "time": ("time", "taken", "time stamp", "timestamp", "date time", "datetime", "when", "read at", "clock"),
    "note": ("note", "notes", "remark", "remarks", "comment", "comments", "by", "who", "weather"),
    "chord": ("chord", "chord line", "chord angle", "incidence"),
    "spar": ("spar", "spar line", "spar angle", "fitting", "spar fitting"),
    "side": ("side", "wing", "half"),
    "sense": ("sign", "sense", "direction", "up down", "which way", "nose"),
}
_LINES: dict[str, Line] = {
    "chord": "chord",
    "chord line": "chord",
    "incidence": "chord",
    "c": "chord",
    "ch": "chord",
    "spar": "spar",
    "spar line": "spar",
    "fitting": "spar",
    "s": "spar",
    "sp": "spar",
    "plumb": "spar",
}
_NOTHING = {"", "-", "--", "—", "–", "n/a", "na", "none", "nil", "x", "?", "/", "not read", "missing", "nan"}


def plain(text: str) -> str:
    """Lower case, units and brackets gone, separators as single spaces.

    text : a head or a cell.
    """
    text = re.sub(r"[\[(].*?[\])]|[°º˚]", " ", text.casefold())
    return re.sub(r"[\s_./:-]+", " ", text).strip()


def column(name: str) -> Field | None:
    """Which field a column's name stands for; None for another column."""
    words = plain(name)
    trimmed = " ".join(re.sub(r"(?<!\w)(deg|degs|degrees|mean|mm m|in ft|rad|%)(?!\w)", " ", words).split())
    for candidate in (words, trimmed):
        for field, names in _COLUMNS.items():
            if candidate in names:
                return field
    repeated = uncounted(trimmed)
    return next((f for f in REPEATED if repeated in _COLUMNS[f]), None)


def uncounted(words: str) -> str:
    """A column's name without its count: "reading 2", "1st reading" and "second reading" are a reading.

    words : as `plain` gives them.
    """
    return re.sub(r"^(\d(st|nd|rd|th)|first|second|third)\s+|\s+(no )?\d$", "", plain(words))


def line_of(text: str) -> Line | None:
    """The line a cell names.

    text : a head or a cell, in any case. None where it names neither the chord line nor the spar line.
    """
    return _LINES.get(plain(text))


def is_nothing(text: str) -> bool:
    """Whether a cell says that nothing was read.

    text : a cell: empty, a dash, "n/a" and their like.
    """
    return text.strip().casefold() in _NOTHING


def time_of(date: str, time: str) -> tuple[str | None, str]:
    """ISO 8601 local time from a date cell and a time cell (either may be empty), and what was odd.

    Day.month.year and year-month-day are understood; 3/4/2025 may be March or April and is not used.
    """
    text = " ".join(f"{date} {time}".split()).replace("T", " ")
    if not text:
        return None, ""
    bare = re.sub(r"\s*(Z|[+-]\d\d:?\d\d)$", "", text)
    zone = "" if bare == text else f'zone of "{text}" not used'
    for form in (
        "%Y-%m-%d %H:%M:%S.%f",
        "%Y-%m-%d %H:%M:%S",
        "%Y-%m-%d %H:%M",
        "%d.%m.%Y %H:%M:%S",
        "%d.%m.%Y %H:%M",
        "%Y/%m/%d %H:%M:%S",
        "%Y/%m/%d %H:%M",
        "%Y:%m:%d %H:%M:%S",
    ):
        try:
            return datetime.strptime(bare, form).isoformat(timespec="seconds"), zone
        except ValueError:
            continue
    for form in ("%H:%M:%S", "%H:%M", "%H.%M", "%Hh%M", "%I:%M %p", "%I:%M:%S %p"):
        try:
            return datetime.strptime(bare, form).time().isoformat(timespec="seconds"), zone
        except ValueError:
            continue
    if re.search(r"\d{1,2}/\d{1,2}/\d{2,4}", bare):
        return None, f'time "{text}" not used: day and month could be either way round, write 2025-04-03'
    return None, f'time "{text}" not understood'


def station_of(text: str, names: Iterable[str]) -> tuple[str | None, str]:
    """The station a cell names among `names`, and what was odd; case, blanks and leading zeros may differ.

    text : the cell. names : of the job's stations. Returns (None, reason) where no name fits or more than one does.
    """
    names = list(names)
    if text in names:
        return text, ""

    def key(name: str) -> str:
        bare = re.sub(r"^(rib|station|stn)\b", "", name.casefold().strip())
        return re.sub(r"(?<!\d)0+(?=\d)", "", re.sub(r"[\s_.#:-]+", "", bare))

    alike = [n for n in names if key(n) == key(text)]
    if len(alike) == 1:
        return alike[0], f'"{text}" taken as station {alike[0]}'
    return None, ""
