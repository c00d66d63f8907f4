"""Whether two level references can both be true: the way down in the rib plane that each of them gives by itself.

A string lies in a plane through the camera, and with the rib's lean as stated that plane holds one direction that can be down.
A level line on the rib's face gives it outright. Two true references differ by no more than their own errors and by what the
lean's uncertainty moves one against the other; of two that differ by more at most one is true.
"""

from __future__ import annotations

import math

import numpy as np

from calibration.lens.model import undistort
from shared.lines import Shows
from shared.numerics.arrays import F64
from vision.image.rectified import Plane
from vision.solution.scene import Lean, LineSeen

LIMIT = 3.0
"""Standard uncertainties beyond which two references contradict each other (0.3 % of true pairs do)."""


def contradict(plane: Plane, one: LineSeen, other: LineSeen, lean: Lean) -> bool:
    """Whether two references cannot both be true before a rib of this lean.

    plane : of the rib. one, other : as seen. lean : their difference counts in units of its standard uncertainty,
    which holds the lean's.
    """
    apart, by_lean = (
        down_in_plane(plane, one, deg, lean.outward) - down_in_plane(plane, other, deg, lean.outward)
        for deg in (lean.deg, lean.deg + lean.u_deg)
    )
    u = math.sqrt((by_lean - apart) ** 2 + own_error(one) ** 2 + own_error(other) ** 2)
    return abs(apart) > LIMIT * u


def down_in_plane(plane: Plane, line: LineSeen, lean_deg: float, outward: float) -> float:
    """Degrees from the sheet's v axis, towards its u axis, of what is down by one reference, in the rib plane.

    lean_deg, outward : as in `Lean`. A string: down is in its plane of view, n . g = 0, and g . normal is the sine of the lean.
    A level line: down is square to it; what it is known to be off counts with its errors here (`own_error`).
    """
    if line.role.shows is not Shows.PLUMB:
        uv = plane.to_sheet(line.pixels)
        (u0, v0), (u1, v1) = uv[[0, -1]] if uv[-1, 0] > uv[0, 0] else uv[[-1, 0]]
        return math.degrees(math.atan2(-(v1 - v0), u1 - u0))
    n = view_plane(plane, line.pixels)
    n = n if n @ plane.along_u > 0 else -n
    across, along = float(n @ plane.along_u), float(n @ plane.along_v)
    out = outward * math.sin(math.radians(lean_deg))
    part = -float(n @ plane.normal) * out / (math.cos(math.radians(lean_deg)) * math.hypot(across, along))
    return math.degrees(math.asin(max(-1.0, min(1.0, part))) - math.atan2(along, across))


def own_error(line: LineSeen) -> float:
    """Standard uncertainty, degrees, of the direction that a reference gives: its own error, its waviness, the light on it.

    line : as seen. Its waviness is taken for independent over each `reach_px`, as a straight line's slope has it: 12
    / n times the variance over the length squared.
    """
    along = np.linalg.norm(line.pixels - line.pixels[0], axis=1)
    length = float(along[-1])
    few = max(2.0, length / line.reach_px)
    wave = line.wave_px * math.sqrt(12 / few) / length
    shade = 0.0 if line.shade_px is None else float(np.polyfit(along, line.shade_px, 1)[0])
    return math.hypot(line.own_deg, line.zero_deg, math.degrees(wave), math.degrees(shade))


def view_plane(plane: Plane, pixels: F64) -> F64:
    """Unit normal (3,), camera frame, of the plane through the camera that holds a straight line seen at pixels (n, 2)."""
    rays = np.c_[undistort(pixels, plane.theta), np.ones(len(pixels))]
    return np.asarray(np.linalg.svd(rays, full_matrices=False)[2][-1], dtype=np.float64)
