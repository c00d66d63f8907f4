"""The angle that a cell of a readings file holds, as people, gauges and spreadsheets write it."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

Said = Literal["nose-up", "nose-down"]

_MINUS = str.maketrans({"−": "-", "–": "-", "—": "-", "\u2010": "-", "\u2011": "-", "﹣": "-", "－": "-"})
_DEGREES = re.compile(r"(?:°|º|˚|\bdegrees?\b\.?|\bdegs?\b\.?)", re.IGNORECASE)
_SLOPES: dict[str, float] = {"mm/m": 1e-3, "mm per m": 1e-3, "‰": 1e-3, "%": 1e-2, "in/ft": 1 / 12, "in per ft": 1 / 12}
"""Units of slope that inclinometers show, as the tangent of one."""
_WORD = re.compile(
    r"\(?\b(?:(nose|le|leading edge|te|trailing edge|tail|tip)[\s_-]*(up|down|dn|high|low)|()(up|down|dn))\b\)?",
    re.IGNORECASE,
)
_SIGN_WORD = re.compile(r"\b(?:(minus|negative|neg)|(plus|positive|pos))\b\.?", re.IGNORECASE)
_SEXAGESIMAL = re.compile(
    r"^([+-]?)(\d+)[°º˚]\s*(\d+(?:[.,]\d+)?)\s*['′’]"
    r"(?:\s*(\d+(?:[.,]\d+)?)\s*[\"″”])?$"
)
_NUMBER = re.compile(r"^([+-]?)\s*(\d+(?:[.,]\d*)?|[.,]\d+)$")
_SPREAD = re.compile(r"\s*(?:±|\+/?-)\s*(?:\d+(?:[.,]\d*)?|[.,]\d+)\s*$")
_MONTH = r"(?:jan|feb|mar|mär|apr|mai|may|jun|jul|aug|sep|okt|oct|nov|dez|dec)[a-zä]*\.?"
_DATES = re.compile(
    rf"^(?:\d{{1,2}}[-/. ]+{_MONTH}(?:[-/. ]+\d{{2,4}})?|{_MONTH}[-/. ]+\d{{1,4}}"
    r"|\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}(?:[ T]+\d{1,2}:\d{2}(?::\d{2})?)?|\d{1,2}:\d{2}(?::\d{2})?)$",
    re.IGNORECASE,
)
_SERIAL = (30000, 80000)
"""Days since 1900 of the years 1982 to 2119: how a spreadsheet shows a date as a bare number."""


@dataclass(frozen=True)
class AngleCell:
    """An angle cell understood. odd : what was not a plain number, "" when nothing."""

    degrees: float
    said: Said | None = None
    odd: str = ""


def plain_minus(text: str) -> str:
    """The text with every dash that stands for a minus as the plain one."""
    return text.translate(_MINUS)


def unit_in(text: str) -> str | None:
    """The unit of slope or the radian that a head or a cell names; None for degrees or none.

    text : a column's head or a cell.
    """
    low = text.casefold()
    found = next((u for u in _SLOPES if u in low), None)
    return found or ("rad" if re.search(r"\brad(ians?)?\b", low) else None)


def angle(text: str, unit: str | None = None) -> AngleCell | None:
    """The angle a cell holds; None when it is not one. A doubtful number ("0.3?") is not one.

    "0,5 °", "+0.5 deg", "0.5 nose up", "nose-down 0.5", "minus 0.5", "1°30'", "8.7 mm/m" and the Unicode minus
    are understood. unit : of the column, where its head names one (`unit_in`).

    text : the cell as it stands in the file.
    """
    odd: list[str] = []
    raw = text.strip().strip("\"'" if text.strip()[:1] in "\"'" and text.count("'") != 1 else "").strip()
    raw, said = _sense(plain_minus(raw))
    if said is not None:
        odd.append(f'"{text.strip()}" taken as {said}')
    parts = _SEXAGESIMAL.match(raw)
    if parts is not None:
        minutes, seconds = (float((g or "0").replace(",", ".")) for g in parts.group(3, 4))
        if minutes >= 60 or seconds >= 60:
            return None
        value = int(parts.group(2)) + minutes / 60 + seconds / 3600
        odd.append(f'"{text.strip()}" taken as degrees and minutes')
        return _signed(value, parts.group(1), said, odd)
    raw, sign = _bare(raw, odd)
    own = unit_in(raw)
    if own is not None:
        raw = re.sub(r"\brad(ians?)?\b", "", raw, flags=re.IGNORECASE) if own == "rad" else _without(raw, own)
    raw = _DEGREES.sub("", raw).strip()
    number = _NUMBER.match(raw)
    if number is None or (sign and number.group(1)):
        return None
    value = float(number.group(2).replace(",", "."))
    if (own or unit) is not None:
        used = own or unit or ""
        value = math.degrees(value) if used == "rad" else math.degrees(math.atan(value * _SLOPES[used]))
        odd.append(f'"{text.strip()}" in {used} taken as {value:.3f} deg')
    return _signed(value, sign or number.group(1), said, odd)


def several(text: str, unit: str | None = None) -> list[AngleCell] | None:
    """The angles of a cell that holds one, or two or more readings ("2.2 / 2.3"); None when it holds none.

    More than one only where each has a decimal mark of its own: "1/2" may be a half.

    text, unit : as for `angle`.
    """
    one = angle(text, unit)
    if one is not None:
        return [one]
    parts = [p for p in re.split(r"\s*[/;&]\s*|\s+and\s+|\s+", text.strip()) if p]
    if len(parts) < 2 or not all(re.search(r"\d[.,]\d", p) for p in parts):
        return None
    found = [angle(p, unit) for p in parts]
    return None if any(f is None for f in found) else [f for f in found if f is not None]


def mangled(text: str) -> bool:
    """Whether a cell looks like the date or the time that a spreadsheet makes of a number it was given.

    text : the cell as it stands in the file.
    """
    bare = text.strip()
    if re.fullmatch(r"\d{5}", bare):
        return _SERIAL[0] <= int(bare) <= _SERIAL[1]
    return _DATES.match(bare) is not None


def sense_word(text: str) -> str:
    """What a cell of a column for the sign adds to the number: "nose up", "nose down", "-", "+" or "".

    text : a cell of that column.
    """
    raw, said = _sense(plain_minus(text.strip()))
    if said is not None and not raw:
        return said.replace("-", " ")
    if raw in ("+", "-"):
        return raw
    word = _SIGN_WORD.fullmatch(raw)
    return ("-" if word.group(1) else "+") if word else ""


def _sense(raw: str) -> tuple[str, Said | None]:
    """The cell without its words for the sense, and the sense; a tip that is up or down says nothing of it."""
    word = _WORD.search(raw)
    if word is None or (word.group(1) or "").casefold() == "tip":
        return raw, None
    up = (word.group(2) or word.group(4)).casefold() in ("up", "high")
    aft = (word.group(1) or "nose").casefold() in ("te", "trailing edge", "tail")
    return (raw[: word.start()] + raw[word.end() :]).strip(" ,;()"), "nose-up" if up != aft else "nose-down"


def _bare(raw: str, odd: list[str]) -> tuple[str, str]:
    """The number without a spread, and the sign that a word or a trailing minus gives it."""
    spread = _SPREAD.search(raw)
    if spread is not None and spread.start() > 0:
        odd.append(f'"{spread.group().strip()}" not used: the uncertainty stands in the job')
        raw = raw[: spread.start()]
    word = _SIGN_WORD.search(raw)
    if word is not None:
        odd.append(f'"{word.group()}" taken as the sign')
        return (raw[: word.start()] + raw[word.end() :]).strip(), "-" if word.group(1) else "+"
    if re.fullmatch(r"\d[\d.,]*\s*-", raw.strip()):
        odd.append(f'"{raw.strip()}" taken as negative')
        return raw.strip()[:-1].strip(), "-"
    return raw, ""


def _without(raw: str, unit: str) -> str:
    at = raw.casefold().index(unit)
    return (raw[:at] + raw[at + len(unit) :]).strip()


def _signed(value: float, sign: str, said: Said | None, odd: list[str]) -> AngleCell | None:
    if sign == "-":
        if said is not None and value != 0:
            return None  # a sign and a word may say it twice or deny each other
        value = -value
    return AngleCell(value, said, "; ".join(odd))
