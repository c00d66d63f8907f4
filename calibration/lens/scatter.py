"""How far estimates scatter between views: their covariance with each view's errors taken together.

Corners of one view err together where the board is not flat, the picture is blurred or the lens model does not
hold; a covariance from independent corners is then too narrow, and not by one factor for all parameters.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from shared.numerics.arrays import F64

CHANCE = 3.0
"""Standard deviations of the mean factor beyond which independent corners are no longer believed."""
HEAVIEST = 0.95
"""A view that holds more than this of what is known along an axis says next to nothing of its own error there."""


def between_views(normal: F64, parts: Sequence[F64], scores: Sequence[F64], model: F64) -> tuple[F64, float]:
    """Covariance (m, m) of the parameters, nowhere narrower than `model`, and the mean factor on it, >= 1.

    normal : (m, m) normal matrix of the parameters, poses eliminated, a prior's precision in it. parts, scores :
    of each view, its share of that matrix (m, m), and of its right-hand side (m,) at the solution. model :
    covariance from independent corners, the inverse of `normal` times a corner's variance.

    In units in which `normal` is the identity, independent corners give scores of view v the covariance P_v - P_v^2
    (P_v: its share). (1 - P_v)^-1/2 brings that to P_v, and the sum of the squares of the scores so corrected is the
    cluster-robust sandwich (Liang and Zeger 1986; correction CR2: Bell and McCaffrey 2002). Its trace over that of
    all shares is the mean factor. A few views show the factor of each axis poorly and the mean well: within CHANCE of one
    the mean alone counts; beyond it the sandwich, drawn to the mean as if as many views more as there are parameters had
    shown that.
    """
    m, views = len(normal), len(parts)
    if m == 0 or views <= 2:
        return model, 1.0
    scale = np.sqrt(np.diag(normal))
    root = np.linalg.cholesky(normal / np.outer(scale, scale))
    back = np.linalg.inv(root) / scale
    corner = float(np.trace(normal @ model)) / m
    shares = np.array([back @ part @ back.T for part in parts])
    known = shares.sum(axis=0)
    corrected = np.array([_corrected(p, back @ s) for p, s in zip(shares, scores, strict=True)])
    sandwich = corrected.T @ corrected / corner
    freedom = max(float(np.trace(known)) - float(np.einsum("vab,vba->", shares, shares)), 1e-9)
    mean = max(float(np.trace(sandwich) / np.trace(known)), 1.0)
    if mean > 1 + CHANCE * np.sqrt(2 / freedom / max(views - 1, 1)):
        spread = (views * sandwich + m * mean * known) / (views + m)
    else:
        spread = mean * known
    values, axes = np.linalg.eigh(spread + np.eye(m) - known)
    half = back.T @ (axes * np.sqrt(np.maximum(values, 1.0)))
    return np.asarray(corner * half @ half.T), mean


def _corrected(share: F64, score: F64) -> F64:
    """A view's score as if the fit had not taken up a part of it."""
    values, axes = np.linalg.eigh((share + share.T) / 2)
    return np.asarray(axes @ ((axes.T @ score) / np.sqrt(1 - np.clip(values, 0.0, HEAVIEST))))
