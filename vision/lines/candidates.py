"""Straight stripes in a sheet, best first, each with the stretch where it is really seen."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from shared.numerics.ranks import median, percentile
from vision.image.line_sums import line_sums
from vision.image.ridges import votes

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

ROWS_POOLED = 2
_BESIDE = np.array([[0.0], [-14.0], [-9.0], [9.0], [14.0]])
"""A line and the lines beside it that it must stand out from, rows."""


@dataclass(frozen=True)
class Stripe:
    """A straight stripe, in the pixels of the map it was found in.

    row, slope : row at column 0, rows per column. first, last : columns between which it is seen.
    cover : fraction of that stretch with a ridge. seen : columns with a ridge, altogether.
    depth : median relative depth where seen. runs : seen stretches.
    """

    row: float
    slope: float
    first: float
    last: float
    cover: float
    seen: float
    depth: float
    runs: tuple[tuple[float, float], ...]

    def at(self, column: float) -> float:
        """Row at a column."""
        return self.row + self.slope * column

    @property
    def ends(self) -> F64:
        """(2, 2) columns and rows of both ends."""
        return np.array([[self.first, self.at(self.first)], [self.last, self.at(self.last)]])


def find_stripes(
    depth: F32,
    valid: NDArray[np.bool_] | None,
    slope_limit: float,
    apart: float,
    bridge: float,
    shortest: float,
    window: int,
    most: int = 12,
) -> list[Stripe]:
    """Stripes by the sum of their votes, the longest well-covered first; overlapping finds are dropped.

    slope_limit : largest |slope|, rows a column. apart : rows within which two finds are the same.
    bridge : longest unseen gap inside one stripe, columns. shortest : least seen columns to report.
    window : columns over which a stripe's depth is averaged when it is traced.
    """
    gains = votes(depth, most=2.0)
    sharper, near = _Sharper(_Rows(gains, 0.0)), _Rows(_widest(depth), np.nan)
    if valid is not None:
        gains[~valid] = 0.0
    ballots = _pooled(np.minimum(gains, np.float32(1.0)))
    sums, rises = line_sums(ballots, slope_limit / ROWS_POOLED)
    width = 1 << max(1, (ballots.shape[1] - 1).bit_length())
    slopes = rises / (width - 1)
    found: list[Stripe] = []
    for _ in range(3 * most):
        k, i = divmod(int(sums.argmax()), sums.shape[1])
        if sums[k, i] < 0.4 * shortest or len(found) >= most:
            break
        row, slope = sharper.near(ROWS_POOLED * float(i) + 0.5, float(slopes[k]) * ROWS_POOLED)
        stripe = _trace(near, row, slope, bridge, window)
        ends = (0.0, float(ballots.shape[1])) if stripe is None else (stripe.first, stripe.last)
        _forget(sums, slopes, float(i), k, max(1.0, apart / ROWS_POOLED), ends)
        if stripe is not None and stripe.seen >= shortest and not any(_same(stripe, s, apart) for s in found):
            found.append(stripe)
    return sorted(found, key=lambda s: -s.seen * s.cover)


def _pooled(ballots: F32) -> F32:
    """Best of each pair of rows: half the work at no loss in reach."""
    h = len(ballots) - len(ballots) % ROWS_POOLED
    return np.maximum(ballots[:h:ROWS_POOLED], ballots[1:h:ROWS_POOLED])


class _Rows:
    """A map from which values along many lines are taken; lines may leave it above and below.

    values : (h, w). outside : what is there above and below it.
    """

    def __init__(self, values: F32, outside: float) -> None:
        self.height, self.width = values.shape
        rim = np.full((1, self.width), outside, dtype=np.float32)
        self._flat = np.concatenate([rim, values, rim]).ravel()
        self._first = np.arange(self.width) + float(self.width)  # of the row that is row 0 of the map

    def along(self, rows: F64, step: int = 1) -> F32:
        """(n, m) values at fractional rows (n, m), rounded, in every step-th column from the first."""
        at = np.rint(rows)
        np.maximum(at, -1.0, out=at)
        np.minimum(at, self.height, out=at)
        at *= self.width
        at += self._first[::step]
        return self._flat.take(at.astype(np.intp))


class _Sharper:
    """The best line near a pooled one, at the map's own resolution."""

    def __init__(self, gains: _Rows) -> None:
        w = gains.width
        self._gains = gains
        self._cols = np.arange(0, w, 2)
        self._tilts, self._offs = (g.ravel() for g in np.meshgrid(np.arange(-4, 5) / w, np.arange(-2, 3)))
        self._aside = self._offs[:, None] + self._tilts[:, None] * (self._cols - w / 2)

    def near(self, row: float, slope: float) -> tuple[float, float]:
        """Row and slope of the line that gains most."""
        k = int(self._gains.along(row + slope * self._cols + self._aside, 2).sum(1).argmax())
        tilt = float(self._tilts[k])
        return row + float(self._offs[k]) - tilt * self._gains.width / 2, slope + tilt


def _widest(depth: F32) -> F32:
    """Largest of a row and its two neighbours."""
    return np.asarray(cv2.dilate(depth, np.ones((3, 1), np.uint8)), dtype=np.float32)


def _forget(sums: F32, slopes: F32, row: float, index: int, apart: float, ends: tuple[float, float]) -> None:
    """Blank all sums whose line stays within `apart` rows of the found one over the middle half of its stretch."""
    a, b = ends
    c0, c1 = a + (b - a) * 0.25, a + (b - a) * 0.75
    reach = int(np.ceil(2 * apart / max(c1 - c0, 1.0) / max(float(slopes[1] - slopes[0]), 1e-9))) + 1
    ks = np.arange(max(0, index - reach), min(len(slopes), index + reach + 1))
    tilt = slopes[ks] - slopes[index]
    first, second = row - tilt * c0, row - tilt * c1
    lo, hi = np.maximum(first, second) - apart, np.minimum(first, second) + apart
    rows = np.arange(max(0, int(lo.min())), min(sums.shape[1], int(hi.max()) + 1))
    near = (rows >= lo[:, None]) & (rows <= hi[:, None])
    part = sums[ks[0] : ks[-1] + 1, rows[0] : rows[-1] + 1] if len(rows) else sums[:0]
    part[near] = -np.inf


def _same(a: Stripe, b: Stripe, apart: float) -> bool:
    c0, c1 = max(a.first, b.first), min(a.last, b.last)
    if c1 <= c0:
        return False
    return abs(a.at(c0) - b.at(c0)) < apart and abs(a.at(c1) - b.at(c1)) < apart


def profile_along(depth: F32, row: float, slope: float, slack: int = 1) -> F32:
    """Largest depth within `slack` rows of a line, for every column; NaN outside the map."""
    h, w = depth.shape
    cols = np.arange(w)
    rows = np.rint(row + slope * cols).astype(np.intp)
    lowest, highest = sorted((int(rows[0]), int(rows[-1])))
    if lowest < slack or highest >= h - slack:
        return np.asarray(profiles_along(depth, np.array([row]), slope, slack)[0], dtype=np.float32)
    flat, at = depth.reshape(-1), rows * w + cols
    best = flat[at]
    for off in range(1, slack + 1):
        best = np.maximum(best, np.maximum(flat[at - off * w], flat[at + off * w]))
    return np.asarray(best, dtype=np.float32)


def profiles_along(depth: F32, starts: F64, slope: float, slack: int = 1) -> F32:
    """(n, columns): the same for parallel lines that start at these rows, (n,)."""
    h, w = depth.shape
    cols = np.arange(w)
    rows = np.rint(starts[:, None] + slope * cols).astype(int)
    near = rows[:, None, :] + np.arange(-slack, slack + 1)[:, None]
    values = np.where((near >= 0) & (near < h), depth[np.clip(near, 0, h - 1), cols], -np.inf).max(axis=1)
    values[~np.isfinite(values)] = np.nan
    return np.asarray(values, dtype=np.float32)


def _trace(near: _Rows, row: float, slope: float, bridge: float, window: int) -> Stripe | None:
    """Where along a line the ridge is really there: it must stand out from the lines beside it."""
    profiles = near.along(row + _BESIDE + slope * np.arange(near.width))
    own = profiles[0]
    inside = np.isfinite(own)
    if inside.sum() < 2 * window:
        return None
    own = np.where(inside, own, -1.0)
    beside = profiles[1:][np.isfinite(profiles[1:])]
    noise = percentile(beside, 85) if len(beside) else 0.0
    strong = cv2.blur(own.reshape(1, -1).astype(np.float32), (window, 1)).ravel()
    typical = percentile(strong[inside], 90)
    seen = inside & (strong > max(0.012, 0.3 * typical, min(noise, 0.6 * typical)))
    runs = _runs(seen, max(1, window // 2))
    best = _longest_chain(runs, bridge)
    if not best:
        return None
    a, b = best[0][0], best[-1][1]
    total = float(sum(q - p for p, q in best))
    mask = np.zeros(len(own), dtype=bool)
    for p, q in best:
        mask[p:q] = True
    return Stripe(
        row,
        slope,
        float(a),
        float(b - 1),
        total / (b - a),
        total,
        median(own[mask]),
        tuple((float(p), float(q - 1)) for p, q in best),
    )


def _runs(seen: NDArray[np.bool_], least: int) -> list[tuple[int, int]]:
    padded = np.zeros(len(seen) + 2, dtype=bool)
    padded[1:-1] = seen
    edges = np.flatnonzero(padded[1:] != padded[:-1]).tolist()
    return [(a, b) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a >= least]


def _longest_chain(runs: list[tuple[int, int]], bridge: float) -> list[tuple[int, int]]:
    """The chain of runs with gaps no longer than `bridge` that holds the most."""
    chains: list[list[tuple[int, int]]] = []
    for run in runs:
        if chains and run[0] - chains[-1][-1][1] <= bridge:
            chains[-1].append(run)
        else:
            chains.append([run])
    return max(chains, key=lambda c: sum(b - a for a, b in c), default=[])
