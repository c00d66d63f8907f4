"""Reads a seven-segment display: window, ink, row of digits, segments, glyphs; a value only when nothing is doubtful.

A digit is judged segment by segment, by how far each is from being taken for the other state; the decimal point
and the minus likewise. What the strip shows beside the digits must be explained too: a tall stroke that is no
digit, a digit cut by the edge, two rows or two ways round that read differently all give no value.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from shared.reading import Flag
from vision.display.ink import window
from vision.display.minus import DOUBT
from vision.display.tries import one_polarity
from vision.display.types import F64, U8, Digit, DisplayReading, unread
from vision.display.whole import read_whole

WAYS = "one way up and"
"""What the reason says of a display that reads both ways up."""


def read_display(image: U8, corners: F64 | None = None, *, upright: bool | None = None,
                 decimals: int | None = None) -> DisplayReading:  # fmt: skip
    """The number on a display.

    image : (h, w) uint8 grey. corners : (4, 2) pixels of the window, the digits' upper left first, clockwise;
    None: the image is a crop of the window. upright : whether the picture (or the corners' order) is known to
    stand as the digits read; by default it is with corners and is not for a crop. decimals : digits after the
    point, where the gauge always shows as many.
    """
    if image.ndim != 2 or min(image.shape) < 12:
        raise ValueError("a grey picture of at least 12 x 12 pixels is needed")
    known = corners is not None if upright is None else upright
    plain = _either_way_up(image, corners, known, partial(_both_polarities, decimals=decimals, even=False))
    if not plain:
        # glare, shade or a strong bezel may hide good figures from one level for the whole window
        even = _either_way_up(image, corners, known, partial(_both_polarities, decimals=decimals, even=True))
        plain = even if even else plain
    return _agreed(
        plain, _either_way_up(image, corners, known, partial(_by_the_row, decimals=decimals, quick=bool(plain)))
    )


def _agreed(parts: DisplayReading, row: DisplayReading) -> DisplayReading:
    """One reading of two: part by part, and by one model for the row. Where both read they must read the same."""
    if row and WAYS in (parts.reason or ""):
        return parts
    if parts and row and parts.text != row.text:
        return unread(f'reads "{parts.text}" part by part and "{row.text}" by the row', row.digits)
    if parts and row.reason == DOUBT:
        return unread(DOUBT, parts.digits)
    if parts and not row and row.digits and parts.light_digits != row.light_digits:
        return unread(f'"{parts.text}" may be what lies between the strokes of digits', parts.digits)
    if parts and row:
        return parts if parts.confidence > row.confidence else row
    return parts if parts else row


def _by_the_row(image: U8, corners: F64 | None, *, decimals: int | None, quick: bool) -> DisplayReading:
    flat, back = window(image, corners)
    return read_whole(flat, back, decimals, corners is None, quick)


def _either_way_up(image: U8, corners: F64 | None, known: bool,
                   read: Callable[[U8, F64 | None], DisplayReading]) -> DisplayReading:  # fmt: skip
    first = read(image, corners)
    if known:
        return first
    second = read(*_turned(image, corners))
    if first and second and ("." in (first.text or "")) != ("." in (second.text or "")):
        # a point stands at the foot of the digits: the way up in which one is seen is the right one
        second = replace(second, value=None) if "." in (first.text or "") else second
        first = replace(first, value=None) if second else first
    if first and second:
        return unread(f'reads "{first.text}" {WAYS} "{second.text}" the other: give the corners, or a tag',
                      first.digits)  # fmt: skip
    if second and not first and len(second.digits) < len(first.digits):
        return first
    if first and not second and len(first.digits) < len(second.digits):
        return second
    if second and not first:
        note = Flag("display-upside-down", "the display stands on its head in the picture")
        return replace(second, upside_down=True, flags=(*second.flags, note), digits=_turned_back(second, image))
    return first


def _turned(image: U8, corners: F64 | None) -> tuple[U8, F64 | None]:
    if corners is not None:
        return image, np.roll(corners, 2, axis=0)
    return np.ascontiguousarray(image[::-1, ::-1]), None


def _turned_back(reading: DisplayReading, image: U8) -> tuple[Digit, ...]:
    h, w = image.shape
    return tuple(replace(d, outline=tuple((w - 1 - x, h - 1 - y) for x, y in d.outline)) for d in reading.digits)


def _both_polarities(image: U8, corners: F64 | None, *, decimals: int | None, even: bool) -> DisplayReading:
    flat, back = window(image, corners)
    tries: list[DisplayReading] = []
    for light in (False, True):
        tries.append(one_polarity(flat, back, light, decimals, corners is None, even))
    dark, bright = tries
    for one, other in ((dark, bright), (bright, dark)):
        # what lies between the strokes of digits may look like digits, but lower ones
        if one and other and _tall(one) > 1.6 * _tall(other) and len(one.digits) >= len(other.digits):
            return one
    if dark and bright and dark.text != bright.text and min(len(dark.digits), len(bright.digits)) > 1:
        return unread(f'reads "{dark.text}" dark on light and "{bright.text}" light on dark', dark.digits)
    for one, other in ((dark, bright), (bright, dark)):
        if one and not other and _outdone(one, other):
            return other
    if dark or bright:
        return max((t for t in tries if t), key=lambda t: (len(t.digits), t.confidence))
    return max(tries, key=lambda t: (sum(d.char != "?" for d in t.digits), t.confidence))


def _outdone(one: DisplayReading, other: DisplayReading) -> bool:
    """Whether a reading may be what lies between the strokes of digits that the other way of light could not read."""
    found, lost = len(one.digits), len(other.digits)
    figures = sum(d.char != "?" for d in other.digits)
    if one.confidence >= 0.75 and found > 1 and _tall(one) > 1.2 * _tall(other):
        return False
    if found < lost or (found == lost and (one.confidence < 0.75 or figures == lost)):
        return True
    return figures >= 2 and 2 * figures >= lost and _tall(other) > 1.25 * _tall(one)


def _tall(reading: DisplayReading) -> float:
    """Height of a reading's digits in the photo, pixels; 0 without any."""
    heights = [float(np.hypot(d.outline[3][0] - d.outline[0][0], d.outline[3][1] - d.outline[0][1]))
               for d in reading.digits if len(d.outline) == 4]  # fmt: skip
    return float(np.median(heights)) if heights else 0.0
