"""Plumb line against level laser line: two references that know nothing of each other must agree."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri

from calibration.level.reversal import COVER
from shared.quantity import Quantity, combine
from shared.rounding import degrees


@dataclass(frozen=True)
class LevelCheck:
    """Outcome of a cross-check.

    difference : by the plumb line minus by the level line, mean over lines, degrees. en : the En number of
    ISO/IEC
    17043 and ISO 13528. agrees : abs(en) <= 1. scatter_deg : standard deviation over lines (NaN for one).
    text : what it means, in words.
    """

    difference: Quantity
    en: float
    agrees: bool
    scatter_deg: float
    text: str


def cross_check(by_plumb: Sequence[Quantity], by_level: Sequence[Quantity]) -> LevelCheck:
    """Compare angles of the same lines, read once against a plumb line, once against a level line.

    What both readings of a line share cancels. A constant difference is the zero error of one of the two;
    which one, a reversal shows. Raises ValueError unless there is one of each per line.

    by_plumb, by_level : degrees, nose-up positive, in the same order of lines.

    >>> from shared.quantity import Component
    >>> by_string = [Quantity(2.00, (Component("line", "photo:1", 0.02),))]
    >>> by_laser = [Quantity(2.03, (Component("line", "photo:2", 0.02),))]
    >>> check = cross_check(by_string, by_laser)
    >>> check.agrees, round(check.en, 2)
    (True, -0.53)
    """
    if len(by_plumb) != len(by_level) or not by_plumb:
        raise ValueError("one angle by each reference is needed for every line")
    gaps = [a - b for a, b in zip(by_plumb, by_level, strict=True)]
    n = len(gaps)
    mean = combine([1 / n] * n, gaps)
    values = np.array([g.value for g in gaps])
    scatter = float(np.std(values, ddof=1)) if n > 1 else math.nan
    en = mean.value / mean.U if mean.U > 0 else math.inf
    agrees = abs(en) <= 1
    shown = degrees(mean, sign=True)
    if agrees:
        text = f"plumb line and level line agree: {shown}, En {en:+.2f}"
    else:
        text = (
            f"plumb line and level line disagree by {shown}, En {en:+.2f}: one of the two is off; turn "
            f"the laser or "
            "the bar end for end (ribangle calibrate level), let the bob come to rest out of the draught"
        )
    if n > 2:
        expected = math.sqrt(sum(g.u**2 for g in gaps) / n)
        if scatter > expected * math.sqrt(float(chdtri(n - 1, 1 - COVER)) / (n - 1)):
            text += (
                f"; the differences scatter by {scatter:.3f} deg where their uncertainties explain "
                f"{expected:.3f}: something moved between the photos"
            )
    return LevelCheck(mean, en, agrees, scatter, text)
