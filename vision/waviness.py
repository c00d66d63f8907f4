"""How a drawn line strays from straight: slow waviness, told from the noise of its measured centres.

Residuals r(s) along the line are taken as independent noise of known size plus a stationary process of
standard deviation `size` and correlation exp(-|ds| / reach). Both are found by maximum likelihood with the
straight line's two parameters integrated out (restricted likelihood; Rasmussen and Williams 2006, 2.7).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]


@dataclass(frozen=True)
class Waviness:
    """size : standard deviation, in the residuals' unit. reach : correlation length, in the places' unit."""

    size: float
    reach: float


def estimate_waviness(place: F64, off: F64, sigma: F64) -> Waviness:
    """Size and reach of the waviness of residuals `off` (n,) at `place` (n,) with noise `sigma` (n,)."""
    n = len(place)
    span = float(np.ptp(place))
    if n < 6 or span <= 0:
        return Waviness(float(np.std(off)) if n > 1 else 0.0, max(span, 1.0) / 4)
    gap = np.abs(place[:, None] - place[None, :])
    design = np.stack([np.ones(n), (place - place.mean()) / span], axis=1)
    typical = max(float(np.std(off)), 1e-6)
    best = (-np.inf, 0.0, span / 10)
    for reach in span * np.array([0.01, 0.02, 0.035, 0.06, 0.1, 0.2]):
        shape = np.exp(-gap / reach)
        for ratio in (0.0, 0.15, 0.3, 0.5, 0.7, 0.85, 1.0, 1.2, 1.5, 2.0):
            value = _likelihood(off, design, np.diag(sigma**2) + (ratio * typical) ** 2 * shape)
            if value > best[0]:
                best = (value, ratio * typical, float(reach))
    return Waviness(best[1], best[2])


def _likelihood(r: F64, x: F64, cov: F64) -> float:
    try:
        chol = np.linalg.cholesky(cov)
    except np.linalg.LinAlgError:
        return -np.inf
    w = np.linalg.solve(chol, np.c_[x, r])
    a, b = w[:, :2], w[:, 2]
    normal = a.T @ a
    fit = b - a @ np.linalg.solve(normal, a.T @ b)
    return float(-np.log(np.diag(chol)).sum() - 0.5 * np.linalg.slogdet(normal)[1] - 0.5 * fit @ fit)
