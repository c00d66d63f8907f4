"""Angles of lines and directions. Degrees at every interface; atan2, never a quotient."""

from __future__ import annotations

import math

import numpy as np

from shared.numerics.arrays import F64
from shared.numerics.small_sums import cross


def inclination(direction: F64, up: F64) -> float:
    """Angle of a direction above the horizontal, degrees, -90 to 90; `up` points away from gravity.

    >>> import numpy as np
    >>> round(inclination(np.array([100.0, 0.0, 5.0]), up=np.array([0.0, 0.0, 1.0])), 3)  # 1 in 20
    2.862
    """
    u = up / np.linalg.norm(up)
    rise = float(np.dot(direction, u))
    run = float(np.linalg.norm(direction - rise * u))
    return math.degrees(math.atan2(rise, run))


def angle_in_plane(direction: F64, normal: F64, up: F64, forward: F64) -> float:
    """Angle of an in-plane direction above the plane's own level line, degrees, -180 to 180.

    The level line is the horizontal line of the plane; its sense is the one nearer to `forward`.
    `up` need not lie in the plane: its projection on it counts.

    direction, normal, up, forward : (3,) in one frame, of any length but zero; `normal` is square to the plane, of
    either sign.

    >>> import numpy as np
    >>> x, y, z = np.eye(3)
    >>> round(angle_in_plane(x + z, normal=y, up=z, forward=x), 6)
    45.0
    """
    n = normal / np.linalg.norm(normal)
    v = up - n * float(np.dot(up, n))
    v = v / np.linalg.norm(v)
    h = cross(v, n)
    if float(np.dot(h, forward)) < 0:
        h = -h
    return math.degrees(math.atan2(float(np.dot(direction, v)), float(np.dot(direction, h))))
