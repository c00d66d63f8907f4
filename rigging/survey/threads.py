"""Screw pitches by size: ISO 261 coarse (metric), ASME B1.1 UNC and UNF threads per inch, or plain mm."""

from __future__ import annotations

import re

from shared.errors import UserError

ISO_261_COARSE = {
    "1.6": 0.35,
    "2": 0.4,
    "2.5": 0.45,
    "3": 0.5,
    "3.5": 0.6,
    "4": 0.7,
    "5": 0.8,
    "6": 1.0,
    "7": 1.0,
    "8": 1.25,
    "10": 1.5,
    "12": 1.75,
    "14": 2.0,
    "16": 2.0,
    "18": 2.5,
    "20": 2.5,
    "22": 2.5,
    "24": 3.0,
}
"""Nominal diameter, mm -> coarse pitch, mm (ISO 261, column "coarse")."""

INCH_MM = 25.4


def pitch_mm(thread: str) -> float:
    """Rise a turn, mm: "M6" 1.0, "M6x0.75" 0.75, "1/4-20" 1.27, "#10-24" 1.0583, "1.0 mm" 1.0.

    An inch thread states its threads per inch itself (ASME B1.1). Raises UserError for anything else.
    """
    text = thread.strip().upper().replace("×", "X")
    metric = re.fullmatch(r"M(\d+(?:\.\d+)?)(?:X(\d+(?:\.\d+)?))?", text)
    if metric and metric[2]:
        return _positive(float(metric[2]), thread)
    if metric:
        size = f"{float(metric[1]):g}"
        if size in ISO_261_COARSE:
            return ISO_261_COARSE[size]
        raise UserError(
            f"thread {thread!r}",
            "has no coarse pitch in ISO 261 that is known here",
            'give its pitch as "M6x1.0" or "1.0 mm"',
        )
    inch = re.fullmatch(r"(?:#?\d+|\d+/\d+)-(\d+)", text)
    if inch and int(inch[1]) > 0:
        return INCH_MM / int(inch[1])
    plain = re.fullmatch(r"(\d+(?:\.\d+)?) ?MM", text)
    if plain:
        return _positive(float(plain[1]), thread)
    raise UserError(f"thread {thread!r}", "is not a thread", 'write "M6", "M6x0.75", "1/4-20" or a pitch as "1.0 mm"')


def _positive(pitch: float, thread: str) -> float:
    if pitch <= 0:
        raise UserError(f"thread {thread!r}", "a pitch is more than zero", "give the rise of one turn in mm")
    return pitch
