"""Segments that have some ink and are read as unlit: they may be faded, and the figure another one.

A segment is a ridge: it stands out from what lies on both of its sides. Glow, shadows and glare are smooth and do not.
"""

from __future__ import annotations

import numpy as np

from shared.numerics.arrays import F32, F64, U8
from vision.display.strip import COLUMN, OVER, TALL

SPANS = {"a": (0.0, 0.13), "g": (0.44, 0.56), "d": (0.87, 1.0)}
"""Where the middle of a level segment is sought, figure heights from the top."""
HALVES = {"f": (0.16, 0.4), "b": (0.16, 0.4), "e": (0.6, 0.8), "c": (0.6, 0.8)}
"""The part of an upright segment's height that is looked at: between the level ones, over a decimal point."""
REACH = (0.14, 0.3)
"""How far an upright segment's middle is from the figure's, figure heights: as narrow and wide figures have it."""
ASIDE = 0.14
"""Distance at which both sides of a segment are looked at: strokes are 0.06 to 0.2 wide."""
FADED = (0.15, 0.4)
"""Ink, as a share of the figure's lit segments, up to which a segment is an unlit one, and from which no one can say."""
NOISE = 2.0
"""Standard deviations of noise that are no ink."""


def doubted(strip: U8, place: int, lit: F64) -> F64:
    """(7,) probability that each segment is lit, at least as high as its ink beside that of the lit ones allows.

    strip : (HIGH, WIDE), figures light, the figure's middle at `place`. lit : (7,) as the network sees it.
    """
    ridge, noise = ridges(strip, place)
    sure = lit > 0.5
    if not sure.any():
        return lit
    full = max(float(np.median(ridge[sure])), 1.0)
    share = (ridge - NOISE * noise) / full
    least, most = FADED
    floor = 0.5 * np.clip((share - least) / (most - least), 0.0, 1.0)
    return np.asarray(np.where(sure, lit, np.maximum(lit, floor)))


def ridges(strip: U8, place: int) -> tuple[F64, F64]:
    """(7,) grey levels by which segments a to g stand out from both of their sides, and the noise in each."""
    x, half = place * COLUMN, round(REACH[1] * TALL) + round(ASIDE * TALL) + 2
    patch = np.pad(strip.astype(np.float64), ((0, 0), (half, half)), mode="edge")[:, x : x + 2 * half + 1]
    grain = float(np.median(np.abs(np.diff(patch, axis=1)))) / 0.95  # of two neighbours' difference, normal noise
    out, noise = np.zeros(7), np.zeros(7)
    for k, name in enumerate("abcdefg"):
        if name in SPANS:
            band = patch[:, half - TALL // 10 : half + TALL // 10 + 1]
            first, last = (OVER + round(v * TALL) for v in SPANS[name])
            out[k] = _best(np.median(band, axis=1), first, last)
        else:
            top, foot = (OVER + round(v * TALL) for v in HALVES[name])
            band = patch[top:foot]
            near, far = (round(v * TALL) for v in REACH)
            ends = (half - far, half - near) if name in "fe" else (half + near, half + far)
            out[k] = _best(np.median(band, axis=0), *ends)
        noise[k] = grain / np.sqrt(band.size / max(band.shape))
    return out, noise


def _best(profile: F64 | F32, first: int, last: int) -> float:
    """The highest ridge with its middle from `first` to `last`: over the higher of both sides."""
    aside = round(ASIDE * TALL)
    at = np.arange(max(first, aside), min(last, len(profile) - 1 - aside) + 1)
    return float((profile[at] - np.maximum(profile[at - aside], profile[at + aside])).max()) if len(at) else 0.0
