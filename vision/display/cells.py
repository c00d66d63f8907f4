"""Reads what stands at each place of a row: figure, 1, minus, arrow, fraction's slash or nothing; segments; point."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from shared.numerics.arrays import F32, U8
from vision.display.finder import Row
from vision.display.networks import answer, squashed
from vision.display.strip import COLUMN, OVER, TALL, WIDE, cut, levelled, to_picture

KINDS = ("none", "figure", "one", "minus", "arrow", "slash")
"""What may stand at a place; a 1 is known by its stroke and has its place there."""
SHAKEN = ((0.0, 0.0, 1.0), (0.025, 1.5, 1.03), (-0.025, -1.5, 0.97), (-0.025, 1.5, 1.03), (0.025, -1.5, 0.97))
"""Rise (figure heights), slant (degrees) and size about the fitted row over which readings are averaged: the row's own
uncertainty, so that what hangs on its exact place counts for less."""

LOST = 4
"""Grey levels from white within which a camera's noise would show if the picture showed anything."""
PASSES = 2
"""Times that the row's model is fitted again: each halves what is off, and the finder is off by a tenth at most."""


INK = {"figure": (0.3, 0.0, 1.0, 0.9), "one": (0.12, 0.0, 1.0, 0.85), "minus": (0.15, 0.42, 0.58, 0.75)}
"""Where the lit parts of a sign are sought: half width, top and foot (figure heights), and what share of it is darker."""

BESIDE_MINUS = ((0.28, 0.38), (0.62, 0.72))
"""Where the ground right over and under a minus is, figure heights."""


@dataclass(frozen=True)
class Places:
    """Probabilities along a row, one place every COLUMN pixels of its strip: kind (6, n), segments lit (7, n), point (n,).

    lost : (n,) share of half height's pixels at which the picture is as bright as it can be, and shows nothing.
    strip : (HIGH, WIDE) of the fitted row, figures light; None where it is not known.
    """

    kind: F32
    lit: F32
    point: F32
    lost: F32
    strip: U8 | None = None

    def ink(self, place: int, kind: str) -> float:
        """Grey levels by which the lit parts of a sign stand out from the ground about it; NaN without the strip."""
        if self.strip is None:
            return float("nan")
        half, low, high, share = INK[kind]
        x = place * COLUMN
        box = self.strip[OVER + round(low * TALL) : OVER + round(high * TALL), _columns(x, half)]
        if kind == "minus":  # glare lies over it and about it: its ground is what stands right over and under it
            rows = [r for low, high in BESIDE_MINUS for r in range(OVER + round(low * TALL), OVER + round(high * TALL))]
            ground = self.strip[rows]
            about, low_share = ground[:, _columns(x, half)], 0.5
        else:
            about, low_share = self.strip[OVER - TALL // 8 : OVER + TALL + TALL // 8, _columns(x, 0.45)], 0.25
        return (
            float(np.quantile(box, share) - np.quantile(about, low_share)) if box.size and about.size else float("nan")
        )


def settled(picture: U8, row: Row, light: bool) -> Row:
    """The row's model fitted again to its figures as the strip shows them: rise, tilt, height, slant and middle."""
    for _ in range(PASSES):
        out = answer(
            "cells", levelled(cut(picture, to_picture(row.middle, row.tall, row.slant, row.tilt), light))[None]
        )
        row = _nearer(row, out[0, :, 0])
    return row


def _nearer(row: Row, out: F32) -> Row:
    """One step: how far off the figures lie, each weighted by its probability, by least squares along the row."""
    odds = np.exp(out[:6] - out[:6].max(axis=0))
    sign = odds / odds.sum(axis=0)
    weight = np.where(sign[1] + sign[2] > 0.3, sign[1] + sign[2], 0.0).astype(np.float64)
    if weight.sum() == 0:
        return row
    x = (np.arange(len(weight)) * COLUMN - WIDE / 2) / TALL
    off, size, lean = (out[14 + i].astype(np.float64) for i in range(3))
    mean = weight / weight.sum()
    middle, rise = float(mean @ x), float(mean @ off)
    far = x - middle
    # a single figure says nothing of the tilt: one figure's height squared is added to the row's own reach
    slope = float((weight * far * (off - rise)).sum() / ((weight * far**2).sum() + weight.max()))
    seen = np.flatnonzero(1 - sign[0] > 0.5)
    ends = (x[seen[0]] + x[seen[-1]]) / 2 if len(seen) else middle
    reach = float(x[seen[-1]] - x[seen[0]]) if len(seen) else 0.0
    t = np.radians(row.tilt)
    along, down = np.array([np.cos(t), np.sin(t)]), np.array([-np.sin(t), np.cos(t)])
    at = np.asarray(row.middle) + row.tall * (ends * along + (rise + slope * (ends - middle)) * down)
    return replace(row, middle=(float(at[0]), float(at[1])), tall=row.tall * float(np.exp(np.clip(mean @ size, -0.3, 0.3))),
                   slant=row.slant + float(np.clip(10 * (mean @ lean), -10, 10)),
                   tilt=row.tilt + float(np.degrees(np.arctan(np.clip(slope, -0.1, 0.1)))), reach=reach)  # fmt: skip


def read_places(picture: U8, row: Row, light: bool) -> Places:
    """What stands at each place of a row in a picture, averaged over the row's uncertainty."""
    strips, raw = [], []
    for rise, slant, size in SHAKEN:
        t = np.radians(row.tilt)
        x, y = row.middle[0] - rise * row.tall * np.sin(t), row.middle[1] + rise * row.tall * np.cos(t)
        way = to_picture((float(x), float(y)), row.tall, row.slant + slant, row.tilt, size)
        raw.append(cut(picture, way, light))
        strips.append(levelled(raw[-1]))
    out = answer("cells", np.stack(strips))[:, :, 0]
    odds = np.exp(out[:, :6] - out[:, :6].max(axis=1, keepdims=True))
    kind = odds / odds.sum(axis=1, keepdims=True)
    lit, point = squashed(out[:, 6:13]).mean(axis=0), squashed(out[:, 13]).mean(axis=0)
    return Places(kind.mean(axis=0), lit, point, _lost(raw[0], light), raw[0])


def _columns(x: int, half: float) -> slice:
    return slice(max(round(x - half * TALL), 0), max(round(x + half * TALL), 0))


def _lost(strip: U8, light: bool) -> F32:
    """Glare that leaves only white: dark figures are lost in it, and light ones too. What is black hides no light figure, and
    dark ones stand on it nowhere."""
    band = strip[OVER + round(0.4 * TALL) : OVER + round(0.6 * TALL)]
    white = band >= 255 - LOST if light else band <= LOST
    return np.asarray(white.reshape(len(band), -1, COLUMN).mean(axis=(0, 2)), dtype=np.float32)
