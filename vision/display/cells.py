"""Reads what stands at each place of a row: figure, 1, minus, arrow, fraction's slash or nothing; segments; point."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.display.finder import Row
from vision.display.networks import answer, squashed
from vision.display.strip import cut, levelled, to_picture
from vision.display.types import F32, U8

KINDS = ("none", "figure", "one", "minus", "arrow", "slash")
"""What may stand at a place; a 1 is known by its stroke and has its place there."""
SHAKEN = ((0.0, 0.0, 1.0), (0.025, 1.5, 1.03), (-0.025, -1.5, 0.97), (-0.025, 1.5, 1.03), (0.025, -1.5, 0.97))
"""Rise (figure heights), slant (degrees) and size about the fitted row over which readings are averaged: the row's own
uncertainty, so that what hangs on its exact place counts for less."""


@dataclass(frozen=True)
class Places:
    """Probabilities along a row, one place every COLUMN pixels of its strip: kind (6, n), segments lit (7, n), point (n,)."""

    kind: F32
    lit: F32
    point: F32


def read_places(picture: U8, row: Row, light: bool) -> Places:
    """What stands at each place of a row in a picture, averaged over the row's uncertainty."""
    strips = []
    for rise, slant, size in SHAKEN:
        t = np.radians(row.tilt)
        x, y = row.middle[0] - rise * row.tall * np.sin(t), row.middle[1] + rise * row.tall * np.cos(t)
        way = to_picture((float(x), float(y)), row.tall, row.slant + slant, row.tilt, size)
        strips.append(levelled(cut(picture, way, light)))
    out = answer("cells", np.stack(strips))[:, :, 0]
    odds = np.exp(out[:, :6] - out[:, :6].max(axis=1, keepdims=True))
    kind = odds / odds.sum(axis=1, keepdims=True)
    return Places(kind.mean(axis=0), squashed(out[:, 6:13]).mean(axis=0), squashed(out[:, 13]).mean(axis=0))
