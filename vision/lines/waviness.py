"""How a drawn line strays from straight: slow waviness, told from the noise of its measured centres.

Residuals r(s) along the line are taken as independent noise of known size plus a stationary process of
standard deviation `size` and correlation exp(-|ds| / reach). Both are found by maximum likelihood with the
straight line's two parameters integrated out (restricted likelihood; Rasmussen and Williams 2006, 2.7).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shared.numerics.arrays import F64


@dataclass(frozen=True)
class Waviness:
    """size : standard deviation, in the residuals' unit. reach : correlation length, in the places' unit."""

    size: float
    reach: float


TRIED_SIZES = np.array([0.0, 0.15, 0.3, 0.5, 0.7, 0.85, 1.0, 1.2, 1.5, 2.0])
"""Sizes that are tried, in standard deviations of the residuals. A grid, by judgement finer than a likelihood of some
dozen segments tells apart."""
REACHES = np.array([0.01, 0.02, 0.035, 0.06, 0.1, 0.2])
"""Reaches that are tried, in lengths of the line. From one segment to a fifth of the line; what reaches farther is the
line's own direction."""


def estimate_waviness(place: F64, off: F64, sigma: F64) -> Waviness:
    """Size and reach of the waviness of residuals `off` (n,) at `place` (n,) with noise `sigma` (n,)."""
    n = len(place)
    span = float(np.ptp(place))
    if n < 6 or span <= 0:
        return Waviness(float(np.std(off)) if n > 1 else 0.0, max(span, 1.0) / 4)
    typical = max(float(np.std(off)), 1e-6)
    reaches, sizes = (g.ravel() for g in np.meshgrid(span * REACHES, typical * TRIED_SIZES, indexing="ij"))
    order = np.argsort(place, kind="stable")
    design = np.stack([np.ones(n), (place - place.mean()) / span, off], axis=1)
    values = _likelihoods(place[order], design[order], np.maximum(sigma[order], 1e-9), reaches, sizes)
    # without waviness every reach is as likely: the first of equals
    k = int(np.flatnonzero(values >= values.max() - 1e-9)[0])
    return Waviness(float(sizes[k]), float(reaches[k]))


def _likelihoods(place: F64, columns: F64, sigma: F64, reaches: F64, sizes: F64) -> F64:
    """Log likelihood, up to a constant, for each reach and size (k,) of the process.

    place : (n,) rising. columns : (n, 3) the line's two parameters and the residuals. The process forgets what lies
    further back than one place (it is Markov), so that each place's innovation, what it adds to all before it,
    follows in one pass (Kalman filter; Rasmussen and Williams 2006, appendix B).
    """
    keep = np.exp(-np.diff(place, prepend=-np.inf)[:, None] / reaches)
    fresh = sizes**2 * (1.0 - keep**2)
    noise = sigma**2
    mean, variance = np.zeros((3, len(sizes))), np.zeros(len(sizes))
    news, spread = np.empty((len(place), 3, len(sizes))), np.empty((len(place), len(sizes)))
    for i, seen in enumerate(columns[:, :, None]):
        mean *= keep[i]
        variance = keep[i] ** 2 * variance + fresh[i]
        np.add(variance, noise[i], out=spread[i])
        gain = variance / spread[i]
        np.subtract(seen, mean, out=news[i])
        mean += gain * news[i]
        variance -= gain * variance
    moments = np.einsum("nik,njk->kij", news / spread[:, None], news)
    normal, cross = moments[:, :2, :2], moments[:, :2, 2]
    fit = moments[:, 2, 2] - np.einsum("ki,ki->k", cross, np.linalg.solve(normal, cross[..., None])[..., 0])
    return np.asarray(-0.5 * (np.log(spread).sum(0) + np.linalg.slogdet(normal)[1] + fit))
