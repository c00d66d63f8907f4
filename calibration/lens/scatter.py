"""How far estimates scatter between views: their covariance by leaving out one view at a time.

Corners of one view err together where the board is not flat, the picture is blurred or the lens model does not
hold; a covariance from independent corners is then too narrow, and not by one factor for all parameters.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import stdtrit

from shared.numerics.arrays import F64

UNLIKELY = 0.01
"""How often independent corners may show a wider scatter between views by chance, along each axis."""
DRAWS = 400
"""Sets of independent corners drawn to learn what they show."""


def between_views(normal: F64, parts: Sequence[F64], scores: Sequence[F64], model: F64) -> tuple[F64, float]:
    """Covariance (m, m) that is nowhere narrower than `model`, and the mean factor it was widened by, >= 1.

    normal : (m, m) normal matrix of the parameters, poses eliminated, a prior's precision in it. parts, scores :
    of each view, its share of that matrix (m, m), and of its right-hand side (m,) at the solution. model :
    covariance from independent corners, the inverse of `normal` times a corner's variance.

    Without view v the estimate moves by (N - N_v)^-1 g_v, to first order; the jackknife's covariance is
    (V - 1) / V times the sum of their squares (Tukey 1958; for clusters, Bell and McCaffrey 2002, CR3). Where views
    differ in weight it is too wide even for independent corners; by how much, and what it shows by chance, is learnt
    from DRAWS sets of scores with just these views' shares. Along each of its principal axes, in units of `model`,
    whose variance is beyond what those show in UNLIKELY of all cases, it is taken in place of the model's, its mean
    over the drawn sets brought to one and widened so that 2u covers 95 % under Student's t with V - 1 degrees of freedom
    (GUM G.3).
    """
    m, views = len(normal), len(parts)
    if m == 0 or views <= 2:
        return model, 1.0
    scale = np.sqrt(np.diag(normal))
    shares = np.array(parts) / np.outer(scale, scale)
    whole = normal / np.outer(scale, scale)
    rest = np.array([_without(whole, share) for share in shares])
    root = np.linalg.cholesky(whole)  # N = root root^T: whitened steps are root^T (theta - theta_0)
    moved = np.einsum("ab,vbc,vc->va", root.T, rest, np.array(scores) / scale)
    corner = float(np.trace(np.linalg.solve(np.linalg.inv(whole), model * np.outer(scale, scale)))) / m
    white = (views - 1) / views / corner * moved.T @ moved
    values, axes = np.linalg.eigh((white + white.T) / 2)
    chance, mean = _by_chance(whole, shares, rest, root)
    t = max(float(stdtrit(views - 1, 0.975)) / 2.0, 1.0)
    values = np.where(values > chance, np.maximum(values * t * t / mean, 1.0), 1.0)
    half = np.linalg.solve(root.T, axes * np.sqrt(values)) / scale[:, None]
    return np.asarray(corner * half @ half.T), float(values.mean())


def _by_chance(whole: F64, shares: F64, rest: F64, root: F64) -> tuple[F64, float]:
    """(m,) variances along the principal axes, rising, that independent corners do not exceed in 99 %, and the mean of all
    of their variances. shares, rest : (V, m, m) of each view, its own and the inverse of all others'."""
    rng = np.random.default_rng(0)
    views, m = len(shares), len(whole)
    prior = whole - shares.sum(0)
    scores = np.einsum("vab,nvb->nva", _roots(shares), rng.normal(size=(DRAWS, views, m)))
    pull = scores.sum(1) + rng.normal(size=(DRAWS, m)) @ _roots(prior[None])[0].T
    step = np.linalg.solve(whole, pull.T).T  # at the solution the scores have lost what the step took up
    scores -= np.einsum("vab,nb->nva", shares, step)
    moved = np.einsum("ab,vbc,nvc->nva", root.T, rest, scores)
    values = np.linalg.eigvalsh((views - 1) / views * moved.transpose(0, 2, 1) @ moved)
    return np.asarray(np.quantile(values, 1 - UNLIKELY, axis=0)), float(values.mean())


def _roots(matrices: F64) -> F64:
    """(n, m, m) square roots of (n, m, m) positive semidefinite matrices; what rounding made negative counts as zero."""
    values, axes = np.linalg.eigh((matrices + matrices.transpose(0, 2, 1)) / 2)
    return np.asarray(axes * np.sqrt(np.maximum(values, 0.0))[:, None, :])


def _without(whole: F64, share: F64) -> F64:
    """Inverse of the normal matrix without one view; without it the rest must still determine the parameters."""
    rest = whole - share
    return np.asarray(np.linalg.inv(rest if np.linalg.eigvalsh(rest)[0] > 1e-12 else whole))
