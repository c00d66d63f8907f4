"""Lengths as people write them: millimetres, centimetres, metres, inches and feet, decimal point or comma."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Literal

from shared.errors import UserError

Units = Literal["mm", "in"]

INCH_MM = 25.4
"""The international inch (ISO 80000-3, agreed 1959): exactly 25.4 mm."""
_MM = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "in": INCH_MM,
    '"': INCH_MM,
    "″": INCH_MM,
    "inch": INCH_MM,
    "inches": INCH_MM,
    "ft": 12 * INCH_MM,
    "'": 12 * INCH_MM,
    "′": 12 * INCH_MM,
    "feet": 12 * INCH_MM,
    "foot": 12 * INCH_MM,
}
_NUMBER = r"\d+\s+\d+/\d+|\d+-\d+/\d+|\d+/\d+|\d+(?:[.,]\d+)?|[.,]\d+"
_PART = re.compile(rf"\s*({_NUMBER})\s*(mm|cm|m|inches|inch|in|ft|feet|foot|\"|″|'|′)?\s*", re.I)


def parse_length(text: str, what: str = "length") -> float:
    """Millimetres of "1200", "1.2 m", "47,25 in", "47 1/4 in", "3 ft 11 1/4 in"; without a unit, mm.

    "1,200" is refused: it means 1.2 to some and 1200 to others. Raises UserError, which names `what`.

    text : as a person writes it, in any case; either decimal mark. what : name of the thing, for messages.

    >>> parse_length("47 1/2 in"), parse_length("1.2 m"), parse_length("85")
    (1206.5, 1200.0, 85.0)
    """
    at, total, parts = 0, 0.0, 0
    bad = UserError(
        f"{what} '{text}'", "is not a length", "write it as 1200, 1.2 m, 47.25 in, 47 1/4 in or 3 ft 11 1/4 in"
    )
    while at < len(text):
        found = _PART.match(text, at)
        if found is None or (found[2] is None and (parts or found.end() < len(text))):
            raise bad
        if re.fullmatch(r"\d{1,3},\d{3}", found[1]):
            raise UserError(
                f"{what} '{text}'",
                "a comma before three figures may be a decimal or a thousands sign",
                "leave thousands signs out and write a decimal point",
            )
        total += _value(found[1], bad) * _MM[(found[2] or "mm").lower()]
        at, parts = found.end(), parts + 1
    if not parts:
        raise bad
    return total


def _value(text: str, bad: UserError) -> float:
    whole, _, part = text.replace("-", " ").rpartition(" ")
    try:
        return float(Fraction(part)) + float(whole or 0) if "/" in part else float(text.replace(",", "."))
    except (ValueError, ZeroDivisionError):
        raise bad from None


_SHOWN = re.compile(r"(?<![\w.])([+\-\u2212]?)(\d+)(?:\.(\d+))?\s?mm\b")


def shown_in(text: str, units: Units) -> str:
    """A text for people with its millimetres in the unit they use; inches with two figures more ("1.3 mm" is
    "0.051 in").

    text : with lengths as "12.3 mm". units : "mm" or "in".
    """

    def inches(found: re.Match[str]) -> str:
        mm = float(f"{found[2]}.{found[3] or 0}")
        return f"{found[1]}{mm / INCH_MM:.{len(found[3] or '') + 2}f} in"

    return _SHOWN.sub(inches, text) if units == "in" else text


def format_length(mm: float, units: Units = "mm") -> str:
    """A length for people: whole millimetres above 100 mm, else one decimal; inches to the hundredth.

    mm : millimetres. units : "mm" or "in".

    >>> format_length(1200.4), format_length(31.75), format_length(31.75, "in")
    ('1200 mm', '31.8 mm', '1.25 in')
    """
    if units == "in":
        return f"{mm / INCH_MM:.2f} in"
    return f"{mm:.0f} mm" if abs(mm) >= 100 else f"{mm:.1f} mm"


FINEST = 64
"""Parts of an inch that rules and drawings count in, at the finest."""


def as_fraction(mm: float) -> tuple[str, float]:
    """A length to the nearest 1/64 in, as "47 17/64", and what is left over, inches, -1/128 to 1/128.

    mm : of either sign.
    """
    parts = round(mm / INCH_MM * FINEST)
    left = mm / INCH_MM - parts / FINEST
    whole, rest = divmod(abs(parts), FINEST)
    words = [str(whole)] if whole or not rest else []
    words += [str(Fraction(rest, FINEST))] if rest else []
    return ("\N{MINUS SIGN}" if parts < 0 else "") + " ".join(words), left
