"""From a row to its number: digits, point and minus; no value where anything in the row is doubtful."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.display.glyphs import Glyphs, digits_of
from vision.display.minus import DOUBT, hidden, minus_before
from vision.display.parts import is_digit, split_wide, stands_on_ground, with_small
from vision.display.row import OVER, TALL, UPRIGHT, Part, Row, parts, upright
from vision.display.segments import Cell, cells, stroke
from vision.display.signs import crowned, point_after, point_inks, unexplained
from vision.display.types import F32, F64, Digit, DisplayReading, unread

SURE = 0.75
"""Confidence from which a value is given."""
LARGEST = 360.0
"""No inclinometer shows more degrees."""


def read_row(row: Row, flat: F32, cut: float, back: F64, light: bool, decimals: int | None,
             unseen: F32) -> DisplayReading:  # fmt: skip
    """What a row says. flat : picture of the window; cut : ink that counts; back : (3, 3), window to photo.

    unseen : `display_ink.blind` of the window.
    """
    mask = row.strip > cut
    everything = split_wide(parts(row, cut), mask)
    tall = [p for p in everything if is_digit(p) and upright(mask, p) > UPRIGHT]
    if not tall:
        return unread("no digits found")
    digits = with_small(tall, [p for p in everything if upright(mask, p) > 0.7 * UPRIGHT])
    if len(digits) > 7:
        return unread("more than seven digits in the row")
    edge = min(p.left for p in digits) <= 1 or max(p.right for p in digits) >= row.strip.shape[1] - 1
    if not stands_on_ground(row, flat, mask, digits):
        return unread("no digits found")
    thick = stroke(mask, tall)
    if max(p.width / p.height for p in digits) > 0.9:
        return unread("digits run into each other")
    places = cells(digits, thick)
    glyphs = digits_of(row, places, thick, mask, back)
    if edge:
        return unread("a digit is cut by the edge of the window", tuple(glyphs.digits))
    zones = slice(OVER - 12, OVER + 4), slice(OVER + TALL - 4, OVER + TALL + 12)
    beyond = max(sum(bool(mask[z, p.left : p.right].any(axis=1).all()) for p in digits) for z in zones)
    if 2 * beyond > len(digits):
        # a word may touch a digit; strokes that most digits go on with are their own
        return unread("the digits' strokes go on beyond the row", tuple(glyphs.digits))
    return spoken(row, glyphs, places, everything, thick, light, decimals, mask, unseen)


def spoken(row: Row, g: Glyphs, places: list[Cell], everything: list[Part], thick: float, light: bool,
            decimals: int | None, mask: NDArray[np.bool_], unseen: F32) -> DisplayReading:  # fmt: skip
    """Digits, point, minus and what else stands in the row; then the number."""
    chars = [d.char for d in g.digits]
    digits = tuple(g.digits)
    worst = min(d.confidence for d in digits)
    if "?" in chars:
        return unread(f'segments of digit {chars.index("?") + 1} form no figure ("{"".join(chars)}")', digits, 0.0)
    span = max(g.full - g.dark, 1e-6)
    points = point_inks(row.strip, places, thick) / span
    point, sure, why = point_after(points, decimals)
    if why:
        return unread(why, digits, sure)
    worst = min(worst, sure)
    minus, sure, why = minus_before(row.strip, places, thick, g.full, mask)
    if why:
        return unread(why, digits, sure)
    if not minus and hidden(row, places, unseen, thick):
        return unread(DOUBT, digits)
    worst = min(worst, sure)
    odd = unexplained(places, everything, mask, thick)
    if odd:
        return unread(odd, digits, worst)
    text = "".join(chars)
    if point is not None:
        text = text[: point + 1] + "." + text[point + 1 :]
    text = ("-" if minus else "") + text
    if set(text) <= {"1", "-"}:
        return unread(f'"{text}" might be any stroke', digits, worst)
    if any(d.char == "1" and not _bare(d, chars) and crowned(row, c) for d, c in zip(digits, places, strict=True)):
        return unread("a 1 may be a 7 or the edge of another figure", digits, worst)
    if worst < SURE:
        doubtful = [i + 1 for i, d in enumerate(digits) if d.confidence < SURE]
        what = f"digit {doubtful[0]}" if doubtful else "the decimal point or the minus"
        return unread(f'{what} of "{text}" is doubtful', digits, worst)
    if abs(float(text)) > LARGEST or (len(chars) > 1 and chars[0] == "0" and point != 0):
        return unread(f'"{text}" is no angle a gauge shows', digits, worst)
    if point is None and decimals is None:
        # a point that is not seen makes ten times the angle
        return unread(f'no decimal point seen in "{text}": say how many digits follow it (0 for none)', digits, worst)
    return DisplayReading(float(text), text, None, digits, worst, False, light)


def _bare(one: Digit, chars: list[str]) -> bool:
    """Whether a 1 is surely bare of level bars: other figures tell where those would be, and nothing is there."""
    return set(chars) != {"1"} and one.confidence > 0.95 and max(one.lit[i] for i in (0, 3, 6)) < 0.12
