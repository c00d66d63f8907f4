"""What a reading of a seven-segment display consists of."""

from __future__ import annotations

from dataclasses import dataclass

from shared.flags import Flag

GLYPHS: dict[str, str] = {
    "abcdef": "0", "bc": "1", "abdeg": "2", "abcdg": "3", "bcfg": "4", "acdfg": "5", "acdefg": "6", "cdefg": "6",
    "abc": "7", "abcf": "7", "abcdefg": "8", "abcdfg": "9", "abcfg": "9",
}  # fmt: skip
"""Lit segments, in alphabetical order, of each digit, with the usual variants of 6, 7 and 9."""


@dataclass(frozen=True)
class Digit:
    """One digit as read. lit : probability that each of segments a to g is lit.

    char : "?" where no glyph fits. confidence : probability that it is that digit. outline : its corners in the photo,
    pixels (4, 2).
    """

    char: str
    confidence: float
    lit: tuple[float, ...]
    outline: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class DisplayReading:
    """What a display shows: text and value, or no value and the reason.

    text : as shown ("-12.3"). confidence : probability that the text is right. upside_down : read from a display
    standing on its head. light_digits : digits lighter than their ground. likely : what it may show, likeliest first,
    (text, probability), also where no value is given: for a person to confirm.
    """

    value: float | None
    text: str | None
    reason: str | None
    digits: tuple[Digit, ...] = ()
    confidence: float = 0.0
    upside_down: bool = False
    light_digits: bool = False
    flags: tuple[Flag, ...] = ()
    likely: tuple[tuple[str, float], ...] = ()

    def __bool__(self) -> bool:
        """Whether there is a value."""
        return self.value is not None


def unread(reason: str, digits: tuple[Digit, ...] = (), confidence: float = 0.0,
           likely: tuple[tuple[str, float], ...] = ()) -> DisplayReading:  # fmt: skip
    """No value, and why."""
    return DisplayReading(None, None, reason, digits, confidence, likely=likely)
