"""Judges the figures of a fitted row together: each segment's odds of being lit, by the row's own lit and unlit levels.

A segment's ink, from 0 (the figure's holes) to 1 (the lit segments about it), is held against two mixtures: lit
segments scatter about 1 and now and then one has faded; unlit ones scatter about the row's unlit level and now and then
one stands out a little. A figure is as sure as its odds against the next best one, and every segment must be plain.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.display.fit import FIGURES, Fit, column_worth, inked
from vision.display.row import OVER, TALL
from vision.display.types import F32, F64, GLYPHS

LEAST = 0.06
"""Scatter of segments about their level, at least, as share of full ink."""
FADED, STANDING_OUT, RARE = 0.08, 0.03, 1e-3
"""Share of lit segments that fade, of unlit ones that stand out, and density of what neither explains."""
PLAIN = 4.0
"""Logarithm of the odds from which a figure is sure (confidence 0.5)."""
STROKE_ODDS = 2.0
"""What the edges of a dim stroke add to the logarithm of its odds: unlit segments and glare have no such edges."""
BESIDE = 1.2
"""Where a segment's flanks lie, strokes from its middle."""
CHARS = tuple(GLYPHS.values())


@dataclass(frozen=True)
class Placed:
    """A figure's place in a strip: left edge in figure heights, its size, ink of its cores (7,) and voids (12,).

    flanks : (7,) the most ink beside each core, a stroke away at either side.
    """

    left: float
    scale: float
    cores: F64
    voids: F64
    flanks: F64


def figures(strip: F32, fit: Fit) -> list[Placed]:
    """The row's figures, settled to the strip's columns."""
    worth = column_worth(strip, fit.shape)
    cores, voids = inked(strip, fit.shape)
    found = []
    for left in fit.lefts:
        at = round(left * TALL)
        near = np.arange(max(at - 3, 0), min(at + 4, len(worth)))
        x = int(near[np.argmax(worth[near] - 0.01 * np.abs(near - at))])
        found.append(Placed(x / TALL, 1.0, cores[:, x], voids[:, x], flanks(strip, fit, x, 1.0)))
    if fit.small is not None:
        left, scale = fit.small
        cores, voids = inked(strip, fit.shape, scale)
        x = min(round(left * TALL), cores.shape[1] - 1)
        found.append(Placed(left, scale, cores[:, x], voids[:, x], flanks(strip, fit, x, scale)))
    return found


def flanks(strip: F32, fit: Fit, at: int, scale: float) -> F64:
    """(7,) the most ink beside each segment's core, a stroke and a bit off its middle; `at`: the figure's left column."""
    w, t = fit.shape.width, fit.shape.thick
    h, up, down = t / 2, 0.25 + t / 4, 0.75 - t / 4
    size, top = scale * TALL, OVER + TALL * (1 - scale)
    level, long, off = 0.18 * w, 0.11, BESIDE * t

    def ink(x: float, half_x: float, y: float, half_y: float) -> float:
        x0, y0 = max(round(at + (x - half_x) * size), 0), max(round(top + (y - half_y) * size), 0)
        box = strip[
            y0 : max(round(top + (y + half_y) * size), y0 + 1), x0 : max(round(at + (x + half_x) * size), x0 + 1)
        ]
        return float(box.mean()) if box.size else 0.0

    core = 0.2 * t
    middles = {"a": (w / 2, h), "b": (w - h, up), "c": (w - h, down), "d": (w / 2, 1 - h), "e": (h, down), "f": (h, up),
               "g": (w / 2, 0.5)}  # fmt: skip
    return np.array([max(ink(x, level, y + s * off, core) if n in "adg" else ink(x + s * off, core, y, long)
                         for s in (-1, 1)) for n, (x, y) in middles.items()])  # fmt: skip


def shares(cores: F64, voids: F64) -> F64:
    """(n, 7) ink of the cores as share of full, 0 as in the figure's own holes, 1 as the lit segments about it."""
    n = len(cores)
    ground = np.clip(np.minimum(voids[:, 0], voids[:, 1]), 0.0, None)
    lit = cores > 0.5 * np.quantile(cores, 0.9)
    out = np.empty_like(cores)
    place = np.arange(n)
    for i in range(n):
        weight = np.repeat(0.3 ** np.abs(place - i)[:, None], 7, axis=1)[lit]
        values = cores[lit]
        order = np.argsort(values)
        sums = np.cumsum(weight[order])
        full = values[order][int(np.searchsorted(sums, 0.5 * sums[-1]))]
        base = min(ground[i], 0.5 * full)
        out[i] = (cores[i] - base) / (full - base)
    return out


def unlit_level(share: F64) -> tuple[float, float]:
    """Level and scatter of the row's unlit segments; (0, LEAST) where there are hardly any."""
    low = share[share < 0.35]
    if len(low) < 3:
        return 0.0, LEAST
    middle = float(np.clip(np.median(low), 0.0, 0.2))
    return middle, float(np.clip(1.48 * np.median(np.abs(low - middle)), LEAST, 2 * LEAST))


def odds(share: F64) -> F64:
    """(n, 7) natural logarithm of the odds that a segment is lit, before anything is known of figures."""
    high = share[share > 0.5]
    spread = float(np.clip(1.48 * np.median(np.abs(high - 1)), LEAST, 2 * LEAST)) if len(high) else LEAST
    middle, scatter = unlit_level(share)
    lit = (1 - FADED) * _normal(np.minimum(share, 1.0), 1.0, spread) + FADED * _within(share, 0.25, 1.0)
    unlit = (1 - STANDING_OUT) * _normal(np.maximum(share, middle), middle, scatter)
    unlit += STANDING_OUT * _normal(share, middle, 0.1)
    return np.asarray(np.log((lit + RARE) / (unlit + RARE)))


def _normal(x: F64, middle: float, spread: float) -> F64:
    return np.asarray(np.exp(-0.5 * ((x - middle) / spread) ** 2) / (spread * np.sqrt(2 * np.pi)))


def _within(x: F64, low: float, high: float) -> F64:
    return np.where((x > low) & (x < high + 0.3), 1 / (high - low), 0.0)


def stand_out(share: F64, beside: F64) -> NDArray[np.bool_]:
    """(n, 7) whether a segment is dim and yet plainly a stroke. beside : share of full ink beside it, at most.

    Light in the glass gives ink as well, but without a stroke's edges. Only where the row has segments that are plainly
    unlit, and one or two dim ones: unlit segments may be seen too, but then alike.
    """
    dim = (share > 0.2) & (share < 0.9)
    if (share < 0.15).sum() < 3 or dim.sum() > 2:
        return np.zeros(share.shape, dtype=bool)
    return np.asarray(dim & (share > 0.45) & (beside < 0.25 * share))


def judged(share: F64, strokes: NDArray[np.bool_] | None = None) -> list[tuple[str, str, float]]:
    """For each figure: the likeliest, its lit segments, and how sure, 0 to 1. strokes : those of `stand_out`.

    Sure means: odds of e^PLAIN against the next best figure, and none of its segments nearer to the other state than
    e^(PLAIN / 2).
    """
    each = odds(share) + (STROKE_ODDS * strokes if strokes is not None else 0.0)
    found = []
    for row in each:
        likely = FIGURES @ row
        best = int(np.argmax(likely))
        other = max(v for v, c in zip(likely, CHARS, strict=True) if c != CHARS[best])
        doubt = float(np.min(np.where(FIGURES[best] > 0, row, -row)))
        sure = min((likely[best] - other) / PLAIN, 2 * doubt / PLAIN, 2.0) / 2
        found.append((CHARS[best], list(GLYPHS)[best], float(np.clip(sure, 0.0, 1.0))))
    return found
