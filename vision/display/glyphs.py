"""From the ink of segments to digits, each with the confidence that no segment is in its other state."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.display.row import TALL, Row
from vision.display.segments import NAMES, Cell, explained, measure
from vision.display.types import F64, GLYPHS, Digit

TAILLESS = ("abcfg", "cdefg")
"""A 9 or 6 drawn with six strokes is one stroke from a crowned 7 or a broken figure: all of them must be plain."""


@dataclass(frozen=True)
class Glyphs:
    """Digits with their share of lit, the level of full and of no ink, and the cut between lit and unlit."""

    digits: list[Digit]
    dark: float
    full: float
    cut: float
    margin: float


def digits_of(row: Row, places: list[Cell], thick: float, mask: NDArray[np.bool_], back: F64) -> Glyphs:
    """The digits in a row's cells, and the levels they were judged by. back : (3, 3), window to photo."""
    raw, holes = [], []
    for c in places:
        size = (c.bottom - c.top) / TALL
        values, hole = measure(row.strip, c, thick * size)
        raw.append(values)
        holes.append(hole)
    full = float(np.median(np.concatenate([v[v > 0.5 * np.concatenate(raw).max()] for v in raw])))
    dark = float(np.clip(np.median(holes), 0, 0.6 * full))
    lit = [(v - min(max(hole, 0.0), 0.5 * full)) / max(_near_full(raw, i, full) - min(max(hole, 0), 0.5 * full), 1e-6)
           for i, (v, hole) in enumerate(zip(raw, holes, strict=True))]  # fmt: skip
    cut, margin = _cut(np.concatenate(lit))
    below = np.concatenate([v[v <= cut] for v in lit])
    ghost = float(np.clip(np.median(below), 0, 0.2)) if len(below) else 0.0
    digits = []
    for c, values in zip(places, lit, strict=True):
        on = "".join(n for n, v in zip(NAMES, values, strict=True) if v > cut)
        char = GLYPHS.get(on, "?")
        covered = explained(mask, c, on, thick * (c.bottom - c.top) / TALL)
        confidence = _confidence(values, cut, on, ghost) * float(np.clip((covered - 0.7) / 0.2, 0, 1))
        digits.append(Digit(char, confidence, tuple(float(v) for v in values), outline(c, row, back)))
    return Glyphs(digits, dark, full, cut, margin)


def _near_full(raw: list[F64], i: int, full: float) -> float:
    """Full ink about digit i: the median of its own lit segments, held to the row's."""
    own = raw[i][raw[i] > 0.5 * raw[i].max()]
    return float(np.clip(np.median(own), 0.6 * full, 1.6 * full))


def _cut(lit: F64) -> tuple[float, float]:
    """Where lit and unlit part: the middle of the widest gap between the shares 0.1 and 0.9, and half its width."""
    inside = np.sort(np.clip(np.concatenate([lit, [0.0, 1.0]]), 0, 1))
    gaps = np.diff(inside)
    middle = (inside[1:] + inside[:-1]) / 2
    weight = np.where((middle > 0.15) & (middle < 0.85), gaps, 0)
    at = int(weight.argmax())
    return float(np.clip(middle[at], 0.3, 0.62)), float(gaps[at] / 2)


def _confidence(values: F64, cut: float, on: str, ghost: float) -> float:
    """How far the digit is from the next one, 0 to 1.

    Each segment has its room to the cut (1 where it is as far as full or dark is). Another digit needs all the
    segments in which it differs to be wrong, so the roomiest of them stands against it; and no segment at all may
    lie on the cut. What is unlit must look like the row's other unlit segments (`ghost`, their level): one that
    stands out from them is a faded one.
    """
    faded = 1.5 * np.maximum(values - ghost - 0.08, 0)
    room = np.clip(np.where(values > cut, (values - cut) / (1 - cut), (cut - values) / cut - faded), 0, 1)
    against = [max(room[i] for i, n in enumerate(NAMES) if (n in on) != (n in other))
               for other in GLYPHS if GLYPHS[other] != GLYPHS.get(on)]  # fmt: skip
    plain = 1.0 if on not in TAILLESS else float(room.min())
    return float(min(min(against), 0.2 + 1.5 * room.min(), plain))


def outline(c: Cell, row: Row, back: F64) -> tuple[tuple[float, float], ...]:
    """Corners of a cell in the photo, pixels (4, 2)."""
    strip = np.array([[c.left, c.top], [c.right, c.top], [c.right, c.bottom], [c.left, c.bottom]])
    flat = strip @ row.to_window[:, :2].T + row.to_window[:, 2]
    photo = cv2.perspectiveTransform(flat[None], back)[0]
    return tuple((float(x), float(y)) for x, y in photo)
