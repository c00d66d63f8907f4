"""Which parameters are free: lens models by rising order, and the ways a printed board may be off."""

from __future__ import annotations

import numpy as np

from calibration.lens.model import PARAMETERS
from shared.numerics.arrays import F64

MODELS: dict[str, tuple[str, ...]] = {
    "f, c": (),
    "f, c, k1": ("k1",),
    "f, c, k1, k2": ("k1", "k2"),
    "f, c, k1, k2, p1, p2": ("k1", "k2", "p1", "p2"),
    "f, c, k1, k2, p1, p2, k3": ("k1", "k2", "p1", "p2", "k3"),
    "fx, fy, c, k1, k2, p1, p2, k3": ("k1", "k2", "p1", "p2", "k3"),
}
"""Models by rising order; a single "f" ties fx to fy (square pixels)."""

FULL = "f, c, k1, k2, p1, p2, k3"

SHAPES = ("stretch", "skew", "bow along", "bow across", "twist")
"""How a printed board may differ from the drawing: mm at the end of its longer half."""


def free_columns(model: str) -> F64:
    """(9, m) map from a model's free parameters to theta. Raises KeyError for an unknown model."""
    columns = [[0], [1]] if model.startswith("fx") else [[0, 1]]
    columns += [[2], [3]] + [[PARAMETERS.index(name)] for name in MODELS[model]]
    out = np.zeros((9, len(columns)))
    for j, rows in enumerate(columns):
        out[rows, j] = 1.0
    return out


def shape_basis(board: F64, half_mm: float) -> F64:
    """(n, 3, 5) displacement of board points (n, 2, centred on the board) by a unit of each of SHAPES, mm.

    Stretch of y against x, skew of x with y, and the three second-order bows out of the plane. All five
    stay the same when the board is turned half round.
    """
    u, v = board[:, 0] / half_mm, board[:, 1] / half_mm
    out = np.zeros((len(board), 3, 5))
    out[:, 1, 0], out[:, 0, 1] = v, v
    out[:, 2, 2], out[:, 2, 3], out[:, 2, 4] = u * u, v * v, u * v
    return out
