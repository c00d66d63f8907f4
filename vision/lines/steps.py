"""Straight edges across short profiles: the place of a blurred step, and which places make one line."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from shared.numerics.arrays import F64, Bools


def fit_steps(x: F64, values: F64, blur: float, rounds: int = 10) -> tuple[F64, F64, F64, F64]:
    """Batched fits of a blurred step A + B P((x - c) / s) to profiles (m, k), by Gauss-Newton with A and B projected out:
    centre, its standard deviation, B, residual rms over |B|, each (m,).

    x : (k,) places of the profiles, pixels. values : (m, k) profiles. blur : s, pixels. rounds : at most.
    """
    c = np.zeros(len(values))
    b = np.zeros(len(values))
    rms, power = np.full(len(values), np.inf), np.ones(len(values))
    centred = values - values.mean(1, keepdims=True)
    for _ in range(rounds):
        z = (x - c[:, None]) / blur
        p = ndtr(z)
        p -= p.mean(1, keepdims=True)
        pp = np.maximum((p * p).sum(1), 1e-9)
        b = (p * centred).sum(1) / pp
        r = centred - b[:, None] * p
        slope = -b[:, None] * np.exp(-0.5 * z * z) / (blur * 2.5066282746)
        slope -= slope.mean(1, keepdims=True)
        slope -= ((slope * p).sum(1) / pp)[:, None] * p
        power = np.maximum((slope * slope).sum(1), 1e-9)
        rms = np.sqrt((r * r).sum(1) / max(len(x) - 3, 1))
        c = c + np.clip((slope * r).sum(1) / power, -1.0, 1.0)
    return c, rms / np.sqrt(power), b, rms / np.maximum(np.abs(b), 1e-9)


def on_one_line(place: F64, centre: F64, ok: Bools) -> Bools:
    """(m,) which segments agree with the straight line that most of them make.

    place : (m,) along it. centre : (m,) across it, pixels. ok : (m,) those that come into question.
    """
    good = ok.copy()
    if ok.sum() < 8:
        return good
    i, j = np.triu_indices(int(ok.sum()), 1)
    s, c = place[ok], centre[ok]
    far = s[j] - s[i] > 0.25 * np.ptp(s)
    slope = float(np.median((c[j] - c[i])[far] / (s[j] - s[i])[far]))  # Theil 1950, Sen 1968
    line = np.array([slope, float(np.median(c - slope * s))])
    for _ in range(6):
        off = np.abs(centre - np.polyval(line, place))
        good = ok & (off < max(0.08, 4 * 1.4826 * float(np.median(off[ok]))))
        if good.sum() < 6:
            break
        line = np.polyfit(place[good], centre[good], 1)
    return good
