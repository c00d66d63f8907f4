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
    scale = np.maximum(sigma, 1e-9)
    whitened = np.c_[design, off] / scale[:, None]
    ratios = typical * np.array([0.0, 0.15, 0.3, 0.5, 0.7, 0.85, 1.0, 1.2, 1.5, 2.0])
    best = (-np.inf, 0.0, span / 10)
    for reach in span * np.array([0.01, 0.02, 0.035, 0.06, 0.1, 0.2]):
        shape = np.exp(-gap / reach) / np.outer(scale, scale)
        values = _likelihoods(whitened, shape, ratios)
        k = int(values.argmax())
        if values[k] > best[0] + 1e-9:  # without waviness every reach is as likely
            best = (float(values[k]), float(ratios[k]), float(reach))
    return Waviness(best[1], best[2])


def _likelihoods(whitened: F64, shape: F64, sizes: F64) -> F64:
    """Log likelihood, up to a constant, for each size (k,) of the process; all in units of the noise.

    whitened : (n, 3) design and residuals over the noise. In the eigenvectors of `shape` (n, n), the process'
    covariance at size 1, noise and process are diagonal at every size, so one decomposition serves them all.
    """
    power, basis = np.linalg.eigh(shape)
    w = basis.T @ whitened
    variance = 1.0 + sizes[:, None] ** 2 * np.maximum(power, 0.0)
    moments = np.einsum("ni,nj,kn->kij", w, w, 1.0 / variance)
    normal, cross = moments[:, :2, :2], moments[:, :2, 2]
    fit = moments[:, 2, 2] - np.einsum("ki,ki->k", cross, np.linalg.solve(normal, cross[..., None])[..., 0])
    return np.asarray(-0.5 * (np.log(variance).sum(1) + np.linalg.slogdet(normal)[1] + fit))
