"""Candidates cut out as straightened strips, with what lies round about, as the witness looks at them.

A strip is ROWS x COLUMNS: its middle row is the candidate, its columns run along it. Level strips are two chords long and
centred on the cards; upright ones reach SPAN_UPRIGHT chords and are centred where the line crosses the chord line. All are
turned so that the leading edge lies to the right of a level strip and below an upright one's middle row: the same rib seen
from its other side gives the same strips.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from shared.numerics.arrays import F32, F64, U8, Bools
from shared.numerics.ranks import median
from vision.evidence.candidates import Candidates
from vision.evidence.raster import DARK_OFFSET, Family, Raster

ROWS, COLUMNS = 24, 256
ROW_MM = 0.6
"""Across a strip: 14 mm, a pen line or a string with its ground on both sides. Fixed by training, as all of this file's
numbers."""
SPAN: dict[Family, float] = {"level": 2.0, "upright": 1.3}
"""Length of a strip, chords: any rib about its card; the height of a photo of one."""
WIDE: dict[Family, float] = {"level": 0.24, "upright": 0.24}
"""Breadth of what is shown round about, chords: the deepest rib and some of what lies beyond."""
CHANNELS = 9
"""0: darkness against the column's median, in units of the strip's noise. 1: the same, absolute. 2, 3: red and blue over
green likewise. 4: where the picture is (1), a card covers it (-1), or it ends (0). 5 to 7: brightness and both hues of a
broad band about the line. 8: own cards (1) and others (-1) in it."""
LEAST_NOISE = 0.004
"""Least noise of a strip, of the logarithm of brightness: one grey level of 255."""
CLIP = 3.0
"""Largest value in any channel. Beyond it a stripe is as clear as one can be; fixed by training."""


@dataclass(frozen=True)
class Context:
    """The surroundings of all lines of a family, coarse. wide : a raster a tenth as fine. cards : (h, w) of `wide`: 1 on
    the station's own cards, -1 on others. covered : (h, w) of the fine raster, bool, any card."""

    wide: Raster
    cards: F32
    covered: Bools


def cut_strips(
    raster: Raster, context: Context, c: Candidates, chord_mm: float, middle_mm: F64, forward_right: bool
) -> F32:
    """(n, CHANNELS, ROWS, COLUMNS) float32 of all candidates.

    middle_mm : (n,) mm along the raster of each strip's middle. forward_right : whether the leading edge is to the right.

    raster : of the family. context : what surrounds it. c : the n candidates. chord_mm : of the rib; strips scale
    with it.
    """
    family = raster.family
    along = (np.arange(COLUMNS) - (COLUMNS - 1) / 2) * (SPAN[family] * chord_mm / COLUMNS)
    if family == "level" and not forward_right:
        along = -along
    place = middle_mm[:, None] + along  # (n, columns) mm
    cols = (place - raster.start[0]) / raster.step[0]
    rows = c.row[:, None] + c.slope[:, None] * cols
    across = (np.arange(ROWS) - (ROWS - 1) / 2) * (1.0 if family == "level" or forward_right else -1.0)
    fine_y = rows[:, None, :] + (across * (ROW_MM / raster.step[1]))[:, None]
    fine_x = np.broadcast_to(cols[:, None, :], fine_y.shape)
    grey = _look(raster.grey, fine_x, fine_y, 0)
    there = _look(np.where(context.covered, -1.0, raster.valid.astype(np.float32)), fine_x, fine_y, 0)
    out = np.zeros((len(c), CHANNELS, ROWS, COLUMNS), dtype=np.float32)
    seen = there > 0.5
    log = np.log(grey + DARK_OFFSET)
    off = _against_columns(log, seen)
    noise = np.array([median(np.abs(o[s])) if s.any() else 1.0 for o, s in zip(off, seen, strict=True)]) * 1.4826
    out[:, 0] = off / (3 * np.maximum(noise, LEAST_NOISE)).astype(np.float32)[:, None, None]
    out[:, 1] = off * 8
    for k in range(2):
        hue = _look(np.ascontiguousarray(raster.hue[..., k]), (fine_x - 0.5) / 2, (fine_y - 0.5) / 2, None)
        out[:, 2 + k] = _against_columns(hue, seen) * 10
    out[:, 4] = there
    wide = context.wide
    x = (place - wide.start[0]) / wide.step[0]
    line = rows * raster.step[1] + raster.start[1]
    wide_mm = across * (WIDE[family] * chord_mm / ROWS)
    y = (line[:, None, :] + wide_mm[:, None] - wide.start[1]) / wide.step[1]
    x = np.broadcast_to(x[:, None, :], y.shape)
    tone = np.log(_look(wide.grey, x, y, 0) + DARK_OFFSET)
    inside = _look(wide.valid.astype(np.float32), x, y, 0) > 0.5
    level = np.array([median(t[i]) if i.any() else 0.0 for t, i in zip(tone, inside, strict=True)], dtype=np.float32)
    out[:, 5] = (tone - level[:, None, None]) * inside
    for k in range(2):
        out[:, 6 + k] = _look(np.ascontiguousarray(wide.hue[..., k]), (x - 0.5) / 2, (y - 0.5) / 2, None) * 2 * inside
    out[:, 8] = _look(context.cards, x, y, 0)
    return np.clip(out, -CLIP, CLIP, out=out)


def _look(image: U8 | F32, x: F64, y: F64, outside: float | None) -> F32:
    """Values of an image at (n, rows, columns) places, bilinear; `outside` beyond it, or its rim where None."""
    n, h, w = x.shape
    border = cv2.BORDER_REPLICATE if outside is None else cv2.BORDER_CONSTANT
    mx = np.clip(x, -1e4, 1e4).astype(np.float32).reshape(n * h, w)
    my = np.clip(y, -1e4, 1e4).astype(np.float32).reshape(n * h, w)
    got = cv2.remap(image, mx, my, cv2.INTER_LINEAR, borderMode=border, borderValue=outside or 0.0)
    return np.asarray(got, dtype=np.float32).reshape(n, h, w)


def _against_columns(values: F32, seen: Bools) -> F32:
    """Values (n, ROWS, m) less the median of their column, 0 where not seen."""
    half = ROWS // 2
    middle = np.partition(values, (half - 1, half), axis=1)[:, half - 1 : half + 1].mean(axis=1, keepdims=True)
    return np.asarray((values - middle) * seen, dtype=np.float32)
