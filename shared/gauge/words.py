"""What the cells of a readings file say: angles, times, column names, lines, stations.

Each function gives the meaning, what was odd about it, or neither when the cell cannot be understood.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from shared.gauge.readings import Line

Field = Literal["station", "line", "reading", "date", "time", "note", "chord", "spar", "side"]

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
_MINUS = str.maketrans({"−": "-", "–": "-", "—": "-", "\u2010": "-", "\u2011": "-", "﹣": "-", "－": "-"})
_UNIT = re.compile(r"(?:°|º|˚|\bdegrees?\b\.?|\bdegs?\b\.?)", re.IGNORECASE)
_WORD = re.compile(
    r"\(?\b(?:(nose|le|leading edge|tip)[\s_-]*(up|down|dn|high|low)|()(up|down|dn))\b\)?", re.IGNORECASE
)
_SEXAGESIMAL = re.compile(
    r"^([+-]?)(\d+)[°º˚]\s*(\d+(?:[.,]\d+)?)\s*['′’]"
    r"(?:\s*(\d+(?:[.,]\d+)?)\s*[\"″”])?$"
)
_NUMBER = re.compile(r"^([+-]?)\s*(\d+(?:[.,]\d*)?|[.,]\d+)$")


@dataclass(frozen=True)
class Cell:
    """An angle cell understood. odd : what was not a plain number, "" when nothing."""

    degrees: float
    said: Literal["nose-up", "nose-down"] | None = None
    odd: str = ""


def plain(text: str) -> str:
    """Lower case, units and brackets gone, separators as single spaces."""
    text = re.sub(r"[\[(].*?[\])]|[°º˚]", " ", text.casefold())
    return re.sub(r"[\s_./:-]+", " ", text).strip()


def column(name: str) -> Field | None:
    """Which field a column's name stands for; None for another column."""
    words = plain(name)
    trimmed = re.sub(r"\b(deg|degs|degrees|mean)\b", " ", words)
    for candidate in (words, " ".join(trimmed.split())):
        for field, names in _COLUMNS.items():
            if candidate in names:
                return field
    return None


def line_of(text: str) -> Line | None:
    """The line a cell names."""
    return _LINES.get(plain(text))


def is_nothing(text: str) -> bool:
    """Whether a cell says that nothing was read."""
    return text.strip().casefold() in _NOTHING


def angle(text: str) -> Cell | None:
    """The angle a cell holds; None when it is not one. A doubtful number ("0.3?") is not one.

    "0,5 °", "+0.5 deg", "0.5 nose up", "nose-down 0.5", "1°30'" and the Unicode minus are understood.
    """
    odd: list[str] = []
    raw = text.strip().strip("\"'" if text.strip()[:1] in "\"'" and text.count("'") != 1 else "").strip()
    raw = raw.translate(_MINUS)
    said: Literal["nose-up", "nose-down"] | None = None
    word = _WORD.search(raw)
    if word is not None:
        if (word.group(1) or "nose").casefold() == "tip":
            return None
        said = "nose-up" if (word.group(2) or word.group(4)).casefold() in ("up", "high") else "nose-down"
        raw = (raw[: word.start()] + raw[word.end() :]).strip(" ,;()")
        odd.append(f'"{text.strip()}" taken as {said}')
    parts = _SEXAGESIMAL.match(raw)
    if parts is not None:
        minutes, seconds = (float((g or "0").replace(",", ".")) for g in parts.group(3, 4))
        if minutes >= 60 or seconds >= 60:
            return None
        value = int(parts.group(2)) + minutes / 60 + seconds / 3600
        odd.append(f'"{text.strip()}" taken as degrees and minutes')
        return Cell(-value if parts.group(1) == "-" else value, said, "; ".join(odd))
    raw = _UNIT.sub("", raw).strip()
    number = _NUMBER.match(raw)
    if number is None:
        return None
    value = float(number.group(2).replace(",", "."))
    if number.group(1) == "-":
        value = -value
        if said is not None and value != 0:
            return None  # a sign and a word may say it twice or deny each other
    return Cell(value, said, "; ".join(odd))


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
    """The station a cell names among `names`, and what was odd; case, blanks and leading zeros may differ."""
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
