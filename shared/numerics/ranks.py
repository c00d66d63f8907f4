"""Medians as NumPy's, for the small arrays of which a reading needs hundreds.

NumPy's own spend more time on their options than on sorting a few hundred numbers.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from shared.numerics.arrays import F64


def median(values: NDArray[Any]) -> float:
    """Median of all values; NaN where there is none or where one of them is NaN."""
    s = np.sort(values, axis=None)
    n = len(s)
    if n == 0 or s[-1] != s[-1]:
        return float("nan")
    return 0.5 * (float(s[(n - 1) // 2]) + float(s[n // 2]))


def row_medians(values: NDArray[Any]) -> F64:
    """(n,) medians of the rows of finite values (n, k), k > 0."""
    s = np.sort(values, axis=1)
    k = s.shape[1]
    return np.asarray(0.5 * (s[:, (k - 1) // 2] + s[:, k // 2]), dtype=np.float64)
