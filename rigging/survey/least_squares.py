"""Generalised least squares on quantities that share sources: the answer keeps what is shared.

The estimate is linear in the inputs, so its components follow by `combine` exactly; nothing is
refitted afterwards (GUM 5.2; C. R. Rao, Linear Statistical Inference, 4a.2 for the estimator).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from shared.numerics.arrays import F64
from shared.quantity import Quantity, combine

FLOOR_DEG = 1e-6
"""Standard deviation added to each value: keeps a covariance of wholly shared errors invertible."""


def covariance_matrix(quantities: Sequence[Quantity], floor: float = FLOOR_DEG) -> F64:
    """(n, n) covariance from shared sources, with `floor`^2 added to the diagonal."""
    place: dict[str, int] = {}
    parts = [(i, c) for i, q in enumerate(quantities) for c in q.components]
    at = [(i, place.setdefault(c.source, len(place)), c.u) for i, c in parts]
    loads = np.zeros((len(quantities), len(place)))
    for i, j, u in at:
        loads[i, j] += u
    return np.asarray(loads @ loads.T + np.eye(len(quantities)) * floor**2, dtype=np.float64)


def fit_weights(design: F64, cov: F64) -> F64:
    """(p, n) weights W of the best linear unbiased estimate W y of y = design @ parameters + error.

    design : (n, p) of full column rank; cov : (n, n) positive definite. Raises numpy's LinAlgError
    when the parameters are not determined.
    """
    whitened = np.linalg.solve(np.linalg.cholesky(cov), np.column_stack([design, np.eye(len(cov))]))
    a, b = whitened[:, : design.shape[1]], whitened[:, design.shape[1] :]
    if np.linalg.matrix_rank(a) < design.shape[1]:
        raise np.linalg.LinAlgError("the parameters are not determined")
    return np.asarray(np.linalg.pinv(a) @ b, dtype=np.float64)


def fit(design: F64, quantities: Sequence[Quantity], extra: F64 | None = None) -> tuple[Quantity, ...]:
    """The p parameters as quantities. `extra` (n, n) is further covariance that only guides the weights."""
    cov = covariance_matrix(quantities)
    weights = fit_weights(design, cov if extra is None else cov + extra)
    return tuple(combine([float(w) for w in row], quantities) for row in weights)


def mean_weights(cov: F64) -> F64:
    """(n,) non-negative weights, sum 1, of least variance.

    The best linear unbiased weights turn negative where one value's shared loading exceeds the other's
    ("Peelle's puzzle"); a mean outside its inputs would then hang on the covariance model alone, so
    weights are kept non-negative. Exact: least |L'w|^2 + s^2 (1'w - 1)^2 over w >= 0 has the direction
    of the constrained least variance for every s, because the best scale of w is found separately.
    """
    n = len(cov)
    if n == 1:
        return np.ones(1)
    if n == 2:
        apart = cov[0, 0] + cov[1, 1] - 2 * cov[0, 1]
        first = float(np.clip((cov[1, 1] - cov[0, 1]) / apart, 0.0, 1.0)) if apart > 0 else 0.5
        return np.array([first, 1.0 - first])
    from scipy.optimize import nnls

    root = np.linalg.cholesky(cov / float(np.mean(np.diag(cov)))).T
    w, _ = nnls(np.vstack([root, np.ones((1, n))]), np.append(np.zeros(n), 1.0))
    return np.asarray(w / w.sum(), dtype=np.float64)


def chi_square(values: F64, cov: F64) -> float:
    """Least r' V^-1 r over a common mean: chi-square of n values, n - 1 degrees of freedom."""
    both = np.column_stack([values - values.mean(), np.ones(len(values))])
    y, a = np.linalg.solve(np.linalg.cholesky(cov), both).T
    r = y - a * float(a @ y) / float(a @ a)
    return float(r @ r)
