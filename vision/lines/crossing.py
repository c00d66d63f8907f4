"""Where upright lines cross the chord line."""

from __future__ import annotations

import numpy as np

from shared.numerics.arrays import F64
from vision.evidence.views import View


def crossings(view: View, chord: F64) -> F64:
    """(n,) v, sheet mm, where each upright candidate crosses the chord line through (2, 2) sheet mm.

    view : of upright lines, n candidates. chord : left end first.
    """
    c, r = view.candidates, view.raster
    rise = (chord[1, 1] - chord[0, 1]) / (chord[1, 0] - chord[0, 0])
    # u = a + b v on the candidate, v = v0 + rise (u - u0) on the chord line
    b = c.slope * r.step[1] / r.step[0]
    a = r.start[1] + c.row * r.step[1] - b * r.start[0]
    return np.asarray((chord[0, 1] + rise * (a - chord[0, 0])) / (1 - rise * b), dtype=np.float64)


def crossing_of(ends: F64, chord: F64) -> F64:
    """(2,) sheet mm where the upright line through (2, 2) meets the chord line through (2, 2).

    ends : sheet mm, upper end first. chord : sheet mm, left end first.
    """
    rise = (chord[1, 1] - chord[0, 1]) / (chord[1, 0] - chord[0, 0])
    b = (ends[1, 0] - ends[0, 0]) / (ends[1, 1] - ends[0, 1])
    a = ends[0, 0] - b * ends[0, 1]
    v = (chord[0, 1] + rise * (a - chord[0, 0])) / (1 - rise * b)
    return np.array([a + b * v, v])
