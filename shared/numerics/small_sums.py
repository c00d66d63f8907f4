"""Vector product, straight line and means, for the few numbers at a time that a reading asks for by the hundred.

NumPy's own spend more time on their options than on the sum.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from shared.numerics.arrays import F64


def cross(a: F64, b: F64) -> F64:
    """(3,) vector product of two vectors (3,).

    a, b : (3,).
    """
    (ax, ay, az), (bx, by, bz) = a.tolist(), b.tolist()
    return np.array([ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx])


def straight(x: F64, y: F64) -> tuple[float, float]:
    """Slope, and height at x = 0, of the least-squares line through points x, y (n,), which are two at least."""
    mean, height = float(x.mean()), float(y.mean())
    d = x - mean
    slope = float(d @ (y - height)) / float(d @ d)
    return slope, height - slope * mean


def row_means(values: NDArray[Any]) -> F64:
    """(n, k) means over the rows of pictures (n, rows, k).

    values : (n, rows, k), of any type of number.
    """
    rows = values.shape[1]
    even = np.full((1, rows), 1 / rows, dtype=np.float32)
    return np.asarray((even @ values.astype(np.float32))[:, 0], dtype=np.float64)
