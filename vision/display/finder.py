"""Finds rows of figures: a network marks figures at several scales, and one model is fitted to those in a row.

The model of a row: common height, slant and tilt, figures lighter or darker than their ground, the middles on one line.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from shared.numerics.arrays import F32, F64, U8
from vision.display.networks import answer, squashed
from vision.display.strip import COLUMN, TALL, WIDE, evened

LIKELY = 0.3
"""Probability from which a place counts as a figure: lower ones are lost among a photo's other strokes."""
LOWEST, STEP = 24, 1.6
"""Height of the window at the coarsest scale, pixels: figures that fill it are 20 high; the finder knows 13 to 28."""
BESIDE = 12
"""Room round the window at each scale, pixels, so that figures at its edge are found."""
OFF_LINE, OFF_TILT = 0.04, 2.0
"""Scatter of found middles about the row, figure heights, and of a found tilt, degrees: of training's faces."""
PLAIN = 4.0
"""Grey levels below which contrast is a plain surface's noise, not spread to full contrast."""
LONGEST = WIDE / TALL - 1.0
"""From the first to the last figure's middle, figure heights: as far as a strip shows."""
NEIGHBOUR = 2.6
"""How far apart figures of one row may stand, figure heights: blank places may lie between."""


@dataclass(frozen=True)
class Row:
    """A row in a picture. middle : pixels; tall : height of its figures, pixels; slant, tilt : degrees, to the right.

    light : probability that figures are lighter than their ground. worth : expected number of figures.
    reach : from the first figure's middle to the last one's, figure heights.
    """

    middle: tuple[float, float]
    tall: float
    slant: float
    tilt: float
    light: float
    worth: float
    reach: float

    def holds(self, other: Row) -> bool:
        """Whether another row stands in this one's place."""
        t, far = np.radians(self.tilt), np.subtract(other.middle, self.middle)
        along, off = float(far @ [np.cos(t), np.sin(t)]), float(far @ [-np.sin(t), np.cos(t)])
        return abs(off) < 0.5 * self.tall and abs(along) < (0.5 * self.reach + 1.5) * self.tall

    def turned(self) -> Row:
        """The same row as it reads the other way up."""
        return replace(self, tilt=self.tilt + 180.0)


def contrast(grey: U8) -> F32:
    """What the finder sees of a picture."""
    return evened(grey.astype(np.float32), 20.0, PLAIN)


def find_rows(image: U8, finest: int) -> list[Row]:
    """Rows of figures, the likeliest first. finest : height of the picture at the finest scale, pixels."""
    found = []
    high = float(LOWEST)
    while high < finest * 1.1:
        found.append(_figures(image, high / image.shape[0]))
        high *= STEP
    return _rows(np.concatenate(found))


def _figures(image: U8, scale: float) -> F64:
    """(n, 7) figures found at one scale: x, y, height (pixels of the image), slant, tilt, light, probability."""
    way = cv2.INTER_AREA if scale < 1 else cv2.INTER_LINEAR
    size = (max(round(image.shape[1] * scale), 8), max(round(image.shape[0] * scale), 8))
    small = cv2.copyMakeBorder(cv2.resize(image, size, interpolation=way), *(BESIDE,) * 4, cv2.BORDER_REPLICATE)
    out = answer("finder", contrast(np.asarray(small, dtype=np.uint8))[None, None])[0]
    heat = squashed(out[0])
    peaks = (heat > LIKELY) & (heat >= cv2.dilate(heat, np.ones((3, 3), np.uint8)))
    v, u = np.nonzero(peaks)
    # the mean of a peak's neighbourhood says its place finer than the grid
    x, y = _centred(heat, u, v)
    measures = out[1:4, v, u]
    return np.column_stack([(x * COLUMN - BESIDE) / scale, (y * COLUMN - BESIDE) / scale, 20 * 2 ** measures[0] / scale,
                            10 * measures[1], 10 * measures[2], squashed(out[4, v, u]), heat[v, u]])  # fmt: skip


def _centred(heat: F32, u: np.ndarray, v: np.ndarray) -> tuple[F64, F64]:
    padded = np.pad(heat, 1).astype(np.float64)
    about = np.stack([padded[v + j, u + i] for j in range(3) for i in range(3)])
    about /= about.sum(axis=0)
    step = np.arange(9)
    return u + (about * (step % 3 - 1)[:, None]).sum(axis=0), v + (about * (step // 3 - 1)[:, None]).sum(axis=0)


def _rows(figures: F64) -> list[Row]:
    """Rows that the figures form: from each of the likeliest, those in line with it, of its height and light."""
    figures = figures[np.argsort(-figures[:, 6])]
    rows: list[Row] = []
    for seed in figures[:24]:
        members = _single(figures[_in_line(figures, seed)], seed[2])
        row = _fitted(_chained(members, seed))
        if row.reach <= LONGEST:
            rows.append(row)
    rows.sort(key=lambda r: -r.worth * r.tall)
    kept: list[Row] = []
    for row in rows:
        if not any(k.holds(row) and 0.7 < k.tall / row.tall < 1.4 for k in kept):
            kept.append(row)
    return kept


def _in_line(figures: F64, seed: F64) -> np.ndarray:
    t = np.radians(seed[4])
    far = figures[:, :2] - seed[:2]
    along, off = far @ [np.cos(t), np.sin(t)], far @ [-np.sin(t), np.cos(t)]
    return np.asarray((np.abs(off) < 0.2 * seed[2] + 0.07 * np.abs(along)) & (np.abs(np.log(figures[:, 2] / seed[2])) < 0.25)
                      & (np.abs(figures[:, 5] - seed[5]) < 0.6))  # fmt: skip


def _single(members: F64, tall: float) -> F64:
    """Each figure once: neighbouring scales find it twice."""
    kept: list[F64] = []
    for one in members:
        if all(np.hypot(*(one[:2] - k[:2])) > 0.3 * tall for k in kept):
            kept.append(one)
    return np.array(kept)


def _chained(members: F64, seed: F64) -> F64:
    """Those that hang together with the seed, none further from the next than NEIGHBOUR."""
    t = np.radians(seed[4])
    along = (members[:, :2] - seed[:2]) @ [np.cos(t), np.sin(t)]
    order = np.argsort(along)
    breaks = np.cumsum(np.concatenate([[0], np.diff(along[order]) > NEIGHBOUR * seed[2]]))
    mine = breaks[int(np.argmin(np.abs(along[order])))]
    return np.asarray(members[order][breaks == mine])


def _fitted(members: F64) -> Row:
    """The row's model by least squares, each figure weighted by its probability."""
    weight = members[:, 6] / members[:, 6].sum()
    middle = weight @ members[:, :2]
    tall = float(np.exp(weight @ np.log(members[:, 2])))
    tilt = float(weight @ members[:, 4])
    t = np.radians(tilt)
    far = members[:, :2] - middle
    along, off = far @ [np.cos(t), np.sin(t)], far @ [-np.sin(t), np.cos(t)]
    # the middles' own slope, and the network's tilt as what is known beforehand
    prior = len(members) * (OFF_LINE * tall / np.radians(OFF_TILT)) ** 2
    tilt += float(np.degrees(np.arctan((along * off).sum() / ((along**2).sum() + prior))))
    ends = (float(along.min()), float(along.max()))
    at = middle + (ends[0] + ends[1]) / 2 * np.array([np.cos(np.radians(tilt)), np.sin(np.radians(tilt))])
    return Row((float(at[0]), float(at[1])), tall, float(weight @ members[:, 3]), tilt, float(weight @ members[:, 5]),
               float(members[:, 6].sum()), (ends[1] - ends[0]) / tall)  # fmt: skip
