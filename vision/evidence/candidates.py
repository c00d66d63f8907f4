"""Every straight thing along a raster's rows, without judgement: where sums of plain ridge maps along lines peak.

A faint line is found by summing along all of it, not by linking pieces. Dark stripes, light stripes and stripes of another
hue are summed apart, so that a texture of both signs cancels; the best of all maps are returned.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from shared.numerics.arrays import F32, F64, Bools
from vision.evidence.raster import Raster
from vision.image.line_sums import line_sums
from vision.image.ridges import level_ridges

FULL_DEPTH_OF_MAP = (0.05, 0.05, 0.15)
"""Relative depth from which on a stripe counts in full, by map: more ink is not more line. Coloured walls are full of
hues. By judgement, as the rest of this file; `training/recall.py` measures what they recall together."""
SHARE = (0.5, 0.5, 0.4)
"""Most of all candidates that come from each map, so that one map full of texture leaves room for the others. By
judgement."""
LEAST_FULL = 0.02
"""The same, at least, where the map's own noise is small: paper and foam show less than this by chance."""
NOISES = 4.0
"""The same in units of the map's noise. A normal deviate passes it once in 30,000 columns."""
ABSENT = -0.35
"""What a column without a ridge takes off, in the same unit: a line must show over a quarter of the length looked for
to gain anything (s = 0.35 (1 - s))."""
BESIDE_ROWS = np.array([-11.0, -7.0, 7.0, 11.0])
"""Rows from a line to those beside it that it must stand out from: broader than lines are."""
PLACE_CAP = 4.0
"""Most that a column counts where a line's place, not its presence, is asked: the middle of a broad stripe is deepest."""
POOLED = 2
"""Rows taken together before summing. Halves the time of summing; `ROUGH` finds the row again."""
SIDES_MM = (1.5, 3.4)
"""Where the sides of a stripe are looked at: lines 0.3 to 4 mm broad."""
ROUGH = (0.0,), (-1.0, 0.0, 1.0)
FINE = (-6.0, -4.5, -3.0, -1.5, 0.0, 1.5, 3.0, 4.5, 6.0), (-2.0, -1.0, 0.0, 1.0, 2.0)
"""Tilts over a map's whole width, and offsets in its middle, rows, tried round a line before and after the choice."""
SMOOTH_MM = 6.0
"""Length of the running mean along a stripe. Ten times a pen's breadth: what crosses is blurred away, what runs along
is not."""


@dataclass(frozen=True)
class Candidates:
    """Straight lines across a raster, the best first. row, slope : (n,) row at column 0, rows a column. gain : (n,) best
    sum along a window of the length looked for, in columns of full depth. seen_as : (n,) 0 dark, 1 light, 2 hue."""

    row: F64
    slope: F64
    gain: F64
    seen_as: NDArray[np.intp]

    def __len__(self) -> int:
        return len(self.row)

    def at(self, column: F64 | float) -> F64:
        """(n, m) rows at columns (m,).

        column : fractional, of the raster.
        """
        return np.asarray(self.row[:, None] + self.slope[:, None] * np.atleast_1d(column))


def find_candidates(
    raster: Raster, hide: Bools, slope_limit: float, length_mm: float, most: int, apart_mm: float
) -> Candidates:
    """The `most` best lines of a raster.

    hide : (h, w) bool, what is not looked at (cards). slope_limit : largest |slope|, mm across per mm along.
    length_mm : of the line looked for: what is longer gains no more. apart_mm : lines nearer to each other than this, at
    both quarters of the raster's length, are one.
    """
    along, across = raster.step
    limit, apart, width = slope_limit * along / across, apart_mm / across, raster.grey.shape[1]
    window = max(8, min(width // 2, int(length_mm / along / 2)))
    blind = ~raster.valid | hide
    steep: list[F32] = []
    found: list[tuple[F64, F64, F64, NDArray[np.intp]]] = []
    for k, depth in enumerate(ridge_maps(raster)):
        less = _FACTOR[k]
        depth[blind[::less, ::less][: len(depth), : depth.shape[1]]] = 0.0
        steep.append(_votes(depth, FULL_DEPTH_OF_MAP[k]))
        votes = np.minimum(steep[k], np.float32(1.0))
        row, slope = _peaks(votes, limit, 3 * most, apart / less)
        row, slope, gain = _sharper(votes, row, slope, window // less, ROUGH)
        found.append((_grown(row, slope, less), slope, less * gain, np.full(len(row), k)))
    few = _apart(Candidates(*(np.concatenate(part) for part in zip(*found, strict=True))), width, apart, most)
    row, slope = few.row.copy(), few.slope.copy()
    for ks, depth, less in (((0, 1), np.maximum(steep[0], steep[1]), 1), ((2,), steep[2], _FACTOR[2])):
        own = np.isin(few.seen_as, ks)
        r, slope[own], _ = _sharper(depth, _shrunk(row[own], slope[own], less), slope[own], depth.shape[1] // 2, FINE)
        row[own] = _grown(r, slope[own], less)
    return _apart(Candidates(row, slope, few.gain, few.seen_as), width, apart / 2, most)


_FACTOR = (1, 1, 2)
"""How much coarser each map is than the raster: a JPEG's hue has half the resolution."""


def _grown(row: F64, slope: F64, less: int) -> F64:
    """Rows at column 0 of the raster of lines in a map `less` times coarser, whose pixels cover less x less of its own."""
    return np.asarray(less * row + (less - 1) / 2 * (1 - slope), dtype=np.float64)


def _shrunk(row: F64, slope: F64, less: int) -> F64:
    """The other way."""
    return np.asarray((row - (less - 1) / 2 * (1 - slope)) / less, dtype=np.float64)


def ridge_maps(raster: Raster) -> tuple[F32, F32, F32]:
    """Depths along the rows of dark and of light stripes (h, w), and of stripes of another hue (h // 2, w // 2).

    raster : with grey and hue. A depth is the fraction by which a stripe differs from its sides (see
    `vision.image.ridges`).
    """
    along, across = raster.step
    reaches = tuple(sorted({max(2, round(s / across)) for s in SIDES_MM}))
    dark, light = level_ridges(raster.grey, reaches, max(1, round(SMOOTH_MM / along)))
    hue: F32 | None = None
    coarse = tuple(sorted({max(2, round(s / across / 2)) for s in SIDES_MM}))
    for k in range(2):
        for ridge in level_ridges(cv2.exp(raster.hue[..., k]) * 100, coarse, max(1, round(SMOOTH_MM / along / 2))):  # type: ignore[arg-type]
            hue = ridge if hue is None else np.maximum(hue, ridge)
    assert hue is not None
    return dark, light, hue


def _votes(depth: F32, most: float) -> F32:
    """Depths as votes between ABSENT and PLACE_CAP; 1 is a stripe in full."""
    part = depth[::7, ::5]
    noise = 1.4826 * float(np.median(np.abs(part - np.median(part))))
    full = min(max(NOISES * noise, LEAST_FULL), most)
    return np.asarray(np.minimum(np.maximum(depth * np.float32(1 / full), np.float32(ABSENT)), np.float32(PLACE_CAP)))


def _peaks(votes: F32, limit: float, most: int, apart: float) -> tuple[F64, F64]:
    """Row and slope of the `most` highest sums that are the highest of all lines within `apart` rows of them."""
    h = len(votes) - len(votes) % POOLED
    sums, rises = line_sums(np.maximum(votes[:h:POOLED], votes[1:h:POOLED]), limit / POOLED)
    width = 1 << max(1, (votes.shape[1] - 1).bit_length())
    # by the row in the middle instead of the one at column 0: neighbours in both are then neighbours in space
    lift = np.rint(rises / (width - 1) * votes.shape[1] / 2).astype(int)
    most_lift = int(np.abs(lift).max())
    middle = np.full((len(sums), sums.shape[1] + 2 * most_lift), -np.inf, dtype=np.float32)
    for k, up in enumerate(lift):
        middle[k, most_lift + up : most_lift + up + sums.shape[1]] = sums[k]
    half = max(1, round(apart / POOLED))
    tilts = max(1, round(4 * apart / POOLED * width / votes.shape[1]))
    top = cv2.dilate(middle, np.ones((2 * tilts + 1, 2 * half + 1), np.uint8))
    ks, rows = np.nonzero((middle == top) & (middle > 0))
    best = np.argsort(-middle[ks, rows], kind="stable")[:most]
    ks, rows = ks[best], rows[best]
    slope = rises[ks] / (width - 1) * POOLED
    return POOLED * (rows - most_lift - lift[ks]) + 0.5, slope.astype(np.float64)


def _sharper(
    votes: F32, row: F64, slope: F64, window: int, about: tuple[tuple[float, ...], tuple[float, ...]]
) -> tuple[F64, F64, F64]:
    """The best lines near others at the map's own resolution, and their best sums over a window (columns / 2), less half of
    what the lines beside them sum up there: in a texture of stripes every line does.

    about : tilts and offsets tried, rows at the far end and in the middle.
    """
    h, w = votes.shape
    cols = np.arange(0, w, 2)
    tilts, offs = (g.ravel() for g in np.meshgrid(np.array(about[0]) / w, np.array(about[1])))
    flat = np.concatenate([votes[:, ::2], np.zeros((1, len(cols)), np.float32)]).ravel()
    aside = np.concatenate([offs, BESIDE_ROWS])[:, None] + np.concatenate([tilts, np.zeros(len(BESIDE_ROWS))])[
        :, None
    ] * (cols - w / 2)
    best: list[tuple[float, float, float]] = []
    for r, s in zip(row.tolist(), slope.tolist(), strict=True):
        rows = np.rint(r + s * cols + aside).astype(np.intp)
        rows[(rows < 0) | (rows >= h)] = h
        total = np.cumsum(flat.take(rows * len(cols) + np.arange(len(cols))), axis=1)
        sums = total[:, window - 1 :].copy()
        sums[:, 1:] -= total[:, :-window]
        k, at = divmod(int(sums[: len(offs)].argmax()), sums.shape[1])
        beside = float(np.maximum(sums[len(offs) :, at], 0.0).mean())
        best.append(
            (r + float(offs[k]) - float(tilts[k]) * w / 2, s + float(tilts[k]), 2 * float(sums[k, at]) - beside)
        )
    out = np.array(best).reshape(-1, 3)
    return out[:, 0], out[:, 1], out[:, 2]


def _apart(c: Candidates, width: int, apart: float, most: int) -> Candidates:
    """The best candidates, none nearer than `apart` rows to a better one at both quarters of the width."""
    order = np.argsort(-c.gain, kind="stable")
    quarters = c.at(np.array([0.25, 0.75]) * width)
    kept: list[int] = []
    left = [int(share * most) for share in SHARE]
    for i in order.tolist():
        if len(kept) == most:
            break
        if not left[c.seen_as[i]]:
            continue
        if not kept or (np.abs(quarters[kept] - quarters[i]).max(1) > apart).all():
            kept.append(i)
            left[c.seen_as[i]] -= 1
    return Candidates(c.row[kept], c.slope[kept], c.gain[kept], c.seen_as[kept])
