"""Reads a window dark on light or light on dark: at several levels of ink, plain or evened out; all must agree."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from vision.display.ink import STROKE, blind, evened, full_level, ink, off_border, without_frame
from vision.display.row import Row, find_rows
from vision.display.spoken import SURE, read_row
from vision.display.types import F32, F64, DisplayReading, unread

CUTS = (0.45, 0.6, 0.33)
"""Shares of the lit level at which ink counts."""
EVENED = ((0.0, STROKE), (3.0, 0.15), (5.0, STROKE))
"""Blur of the squared window, pixels, and widest stroke, where noise or glare hides the figures."""
RIVAL = 0.25
"""Confidence from which other figures stand against a reading that is found only in evened ink."""


def one_polarity(flat: F32, back: F64, light: bool, decimals: int | None, crop: bool, even: bool) -> DisplayReading:
    """What a window says, digits lighter than their ground (`light`) or darker. even : in evened ink only."""
    tries = []
    unseen = blind(flat, light)
    for found, seen in inks(flat, light, crop, even):
        level = full_level(found)
        if level <= 0:
            continue
        for share in CUTS:
            rows = find_rows(found, share * level)
            if rows:
                read = [(row, read_row(row, seen, share * level, back, light, decimals, unseen)) for row in rows]
                tries.append(_best_row(read))
    if not tries:
        return unread("no row of digits found")
    given = [t for t in tries if t]
    if given and any(t.text != given[0].text for t in given):
        texts = ", ".join(sorted({f'"{t.text}"' for t in given}))
        return unread(f"reads {texts} according to how dark counts as lit", given[0].digits)
    best = max(tries, key=lambda t: (bool(t), t.confidence))
    return _agreed(best, tries) if even and best else best


def _agreed(best: DisplayReading, tries: list[DisplayReading]) -> DisplayReading:
    """A reading found only in evened ink: two tries must give it, and most of those that see the same figures be sure."""
    if sum(bool(t) for t in tries) < 2:
        return unread(f'"{best.text}" is read only at one level of ink', best.digits)
    figures = _figures(best)
    rivals = [t for t in tries if "?" not in _figures(t) and len(t.digits) >= len(figures) and _figures(t) != figures
              and min(d.confidence for d in t.digits) > RIVAL]  # fmt: skip
    if rivals:
        return unread(f'"{best.text}" or the figures {_figures(rivals[0])}, according to the level of ink', best.digits)
    alike = [min(d.confidence for d in t.digits) for t in tries if _figures(t) == figures]
    sure = min(best.confidence, float(np.quantile(alike, 0.25)))
    if sure < SURE:
        at = int(np.argmin([d.confidence for d in best.digits])) + 1
        return unread(f'digit {at} of "{best.text}" is doubtful', best.digits, sure)
    return replace(best, confidence=sure)


def _figures(reading: DisplayReading) -> str:
    return "".join(d.char for d in reading.digits)


def inks(flat: F32, light: bool, crop: bool, even: bool) -> list[tuple[F32, F32]]:
    """Ink to look for digits in, and the picture it was taken from: plainly, or evened out, sharp and soft."""
    out = []
    for soft, widest in EVENED if even else ((0.0, STROKE),):
        picture: F32 = np.asarray(cv2.GaussianBlur(flat, (0, 0), soft) if soft else flat, dtype=np.float32)
        found = ink(picture, light, widest)
        level = full_level(found)
        if crop and level > 0:
            found = without_frame(found, 0.4 * level)
            level = full_level(found)
        if even and level > 0:
            level = full_level(off_border(found, 0.4 * level)) or level
            found = evened(found, level)
            # glare leans on the picture that shows where the ground is, too
            picture = np.asarray(picture - cv2.GaussianBlur(picture, (0, 0), 0.1 * flat.shape[0]), dtype=np.float32)
        out.append((found, picture))
    return out


def _best_row(read: list[tuple[Row, DisplayReading]]) -> DisplayReading:
    """The row to believe: the surest of those lying over each other; none where two apart both read."""
    given = sorted((pair for pair in read if pair[1]), key=lambda pair: -pair[1].confidence * len(pair[1].digits))
    if not given:
        return read[0][1]
    row, main = given[0]
    for other, lost in read:
        figures = sum(d.char != "?" for d in lost.digits)
        if not lost and row.overlaps(other) and other.tall > 1.3 * row.tall and figures >= 2:
            return unread(f'reads "{main.text}" within a taller row that cannot be read', main.digits)
    for other, rival in given[1:]:
        if row.overlaps(other):
            doubt = rival.confidence > 0.6 * main.confidence and len(rival.digits) >= len(main.digits)
            if rival.text != main.text and doubt:
                return unread(f'reads "{main.text}" or "{rival.text}"', main.digits)
        elif other.tall > 0.6 * row.tall and len(rival.digits) > 1:
            return unread(f'two rows of digits, "{main.text}" and "{rival.text}"', main.digits)
    return main
