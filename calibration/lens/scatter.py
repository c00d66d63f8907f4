"""How far estimates scatter between views: their covariance by leaving out one view at a time.

Corners of one view err together where the board is not flat, the picture is blurred or the lens model does not
hold; a covariance from independent corners is then too narrow, and not by one factor for all parameters.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy import stats

F64 = NDArray[np.float64]

UNLIKELY = 0.01
"""How often independent corners may show a wider scatter between views by chance, along each axis."""


def between_views(normal: F64, parts: Sequence[F64], scores: Sequence[F64], model: F64) -> tuple[F64, float]:
    """Covariance (m, m) that is nowhere narrower than `model`, and the mean factor it was widened by, >= 1.

    normal : (m, m) normal matrix of the parameters, poses eliminated, a prior's precision in it. parts, scores :
    of each view, its share of that matrix (m, m), and of its right-hand side (m,) at the solution. model :
    covariance from independent corners.

    Without view v the estimate moves by (N - N_v)^-1 g_v, to first order; the jackknife's covariance is
    (V - 1) / V times the sum of their squares (Tukey 1958; for clusters, Bell and McCaffrey 2002, CR3), and is
    widened so that 2u covers 95 % under Student's t with V - 1 degrees of freedom (GUM G.3). In units of
    `model` it is that of V - 1 draws of m unit normals where corners are independent; along each of its
    principal axes whose variance is beyond what those show in UNLIKELY of all cases, it is taken in place of
    the model's.
    """
    m, views = len(normal), len(parts)
    if m == 0 or views <= 2:
        return model, 1.0
    moved = np.array([_moved(normal, a, g) for a, g in zip(parts, scores, strict=True)])
    t = float(stats.t.ppf(0.975, views - 1)) / 2.0
    scatter = (views - 1) / views * moved.T @ moved
    scale = np.sqrt(np.diag(model))
    factor = np.linalg.cholesky(model / np.outer(scale, scale)) * scale[:, None]
    white = np.linalg.solve(factor, np.linalg.solve(factor, scatter).T)
    values, axes = np.linalg.eigh((white + white.T) / 2)
    values = np.where(values > _by_chance(views - 1, m), np.maximum(values * max(t, 1.0) ** 2, 1.0), 1.0)
    wide = factor @ (axes * values) @ axes.T @ factor.T
    return np.asarray((wide + wide.T) / 2), float(values.mean())


@cache
def _by_chance(draws: int, m: int) -> F64:
    """(m,) variances along the principal axes of `draws` draws of m unit normals, rising, not exceeded in 99 %."""
    x = np.random.default_rng(0).normal(size=(400, draws, m))
    values = np.linalg.eigvalsh(x.transpose(0, 2, 1) @ x / draws)
    return np.asarray(np.quantile(values, 1 - UNLIKELY, axis=0))


def _moved(normal: F64, part: F64, score: F64) -> F64:
    """How far the estimate moves without one view; without it the rest must still determine the parameters."""
    scale = np.sqrt(np.diag(normal))
    rest = (normal - part) / np.outer(scale, scale)
    if np.linalg.eigvalsh(rest)[0] <= 1e-12:
        rest = normal / np.outer(scale, scale)
    return np.asarray(np.linalg.solve(rest, score / scale) / scale)
