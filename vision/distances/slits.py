"""Two blurred steps beside each other, fitted together: the two sides of a gap a few pixels wide."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from shared.numerics.arrays import F64

ROUNDS = 12


def fit_slits(x: F64, values: F64, left: float, right: float, blur: float) -> tuple[F64, F64, F64, F64]:
    """Batched fits of A + B P((x - c) / s) + C P((x - d) / s) to profiles (m, k), P the normal cdf, by Gauss-Newton.

    x : (k,) places of the profiles, pixels. values : (m, k) light. left, right : where c and d are looked for first. blur :
    s, pixels. Returns the two places (m, 2), their standard deviations (m, 2), their
    steps B and C (m, 2), and residual rms over the lesser step (m,).
    """
    m, k = values.shape
    at = np.tile([left, right], (m, 1)).astype(np.float64)
    rows = np.empty((m, 5, k))
    rows[:, 0] = 1.0
    step, cov = np.zeros((m, 2)), np.zeros((m, 5, 5))
    rms: F64 = np.full(m, np.inf)
    for _ in range(ROUNDS):
        z = (x - at[:, :, None]) / blur
        rows[:, 1:3] = ndtr(z)
        linear = rows[:, :3]
        normal = linear @ linear.transpose(0, 2, 1) + 1e-9 * np.eye(3)
        coef = np.linalg.solve(normal, linear @ values[:, :, None])[:, :, 0]
        step = np.asarray(coef[:, 1:], dtype=np.float64)
        left_over = values - (coef[:, None, :] @ linear)[:, 0]
        rows[:, 3:] = -step[:, :, None] * np.exp(-0.5 * z * z) / (blur * 2.5066282746)
        full = rows @ rows.transpose(0, 2, 1) + 1e-12 * np.eye(5)
        delta = np.linalg.solve(full, rows @ left_over[:, :, None])[:, 3:, 0]
        at = at + np.clip(delta, -1.0, 1.0)
        rms = np.sqrt((left_over**2).sum(1) / max(k - 5, 1))
        cov = np.asarray(np.linalg.inv(full), dtype=np.float64)
    sigma = rms[:, None] * np.sqrt(np.maximum(np.stack([cov[:, 3, 3], cov[:, 4, 4]], axis=1), 0.0))
    return at, sigma, step, rms / np.maximum(np.abs(step).min(1), 1e-9)
