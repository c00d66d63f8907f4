"""Names for NumPy arrays by what they hold. The shape stands in the docstring of the function that takes one."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]
"""Coordinates, angles, matrices: what is computed with."""
F32 = NDArray[np.float32]
"""Pictures after filtering, strips, the weights of networks."""
U8 = NDArray[np.uint8]
"""Pictures of eight bits: grey (rows, columns), or RGB (rows, columns, 3)."""
I64 = NDArray[np.int64]
"""Indices and counts."""
Bools = NDArray[np.bool_]
"""Masks: true where an element counts."""

Box = tuple[float, float, float, float]
"""An upright rectangle (u0, v0, u1, v1): left, upper, right and lower edge, in the unit of what it lies on."""
