"""Whether two strings can both be plumb: what they say together of the rib's lean, against what is known of it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calibration.lens.model import undistort
from shared.numerics.small_sums import cross
from vision.image.rectified import Plane
from vision.solution.scene import Lean

F64 = NDArray[np.float64]

LIMIT = 3.0
"""Standard uncertainties beyond which two strings contradict each other (0.3 % of true pairs do)."""


def view_plane(plane: Plane, pixels: F64) -> F64:
    """Unit normal (3,), camera frame, of the plane through the camera that holds a straight line seen at pixels (n, 2)."""
    rays = np.c_[undistort(pixels, plane.theta), np.ones(len(pixels))]
    return np.asarray(np.linalg.svd(rays, full_matrices=False)[2][-1], dtype=np.float64)


def contradict(plane: Plane, one: F64, other: F64, lean: Lean, own_deg: float) -> bool:
    """Whether two strings, seen at pixels (n, 2) each, cannot both hang plumb before a rib of this lean.

    Gravity is where the two planes of view meet (their normals' cross product). own_deg : standard uncertainty of a string.
    An error of one string turns that direction by it over the sine of the angle between the planes.
    """
    a, b = view_plane(plane, one), view_plane(plane, other)
    g = cross(a, b)
    apart = float(np.linalg.norm(g))
    if apart < 1e-6:
        return False
    g = g / apart if g[1] > 0 else -g / apart
    found = float(np.degrees(np.arcsin(np.clip(lean.outward * float(plane.normal @ g), -1, 1))))
    u = float(np.hypot(lean.u_deg, np.sqrt(2) * own_deg / apart))
    return abs(found - lean.deg) > LIMIT * u
