"""Flat things in space: a plane with its own millimetres, and the pixels that see it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shared.numerics.arrays import F64
from shop.camera import Camera, Pose, turn_x


@dataclass(frozen=True)
class Plane:
    """A plane in the world: origin, unit axes ex and ez (world), all (3,). Its points are (x, z) in mm."""

    origin: F64
    ex: F64
    ez: F64

    @property
    def normal(self) -> F64:
        """Towards the camera for an upright plane (ex x ez)."""
        return np.cross(self.ex, self.ez)

    def world(self, points: F64) -> F64:
        """(n, 3) world points of plane points (n, 2)."""
        p = np.atleast_2d(np.asarray(points, dtype=np.float64))
        return self.origin + p[:, :1] * self.ex + p[:, 1:] * self.ez

    def turned(self, centre: tuple[float, float], turn_deg: float, tilt_deg: float = 0.0) -> Plane:
        """A plane at a point of this one, its axes turned in the plane, then tilted about its own ez."""
        c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
        ex, ez = c * self.ex + s * self.ez, c * self.ez - s * self.ex
        t = np.radians(tilt_deg)
        return Plane(self.world(np.array([centre]))[0], np.cos(t) * ex + np.sin(t) * self.normal, ez)

    def printed(self, scale: float, stretch: float, skew_deg: float) -> Plane:
        """This plane as a printer scales, stretches and shears it: its axes are no unit vectors any more."""
        lean = np.sin(np.radians(skew_deg)) * self.ex + np.cos(np.radians(skew_deg)) * self.ez
        return Plane(self.origin, scale * self.ex, scale * (1 + stretch) * lean)

    def from_rays(self, pose: Pose, rays: tuple[F64, F64]) -> tuple[F64, F64]:
        """Plane coordinates (x, z), mm, of rays (x/z, y/z); NaN where a ray misses the plane."""
        m = np.linalg.inv(
            np.stack(
                [pose.rotation @ self.ex, pose.rotation @ self.ez, pose.rotation @ (self.origin - pose.eye)],
                axis=1,
            )
        )
        u, v = rays
        w = m[2, 0] * u + m[2, 1] * v + m[2, 2]
        w = np.where(w > 1e-9, w, np.nan)
        return ((m[0, 0] * u + m[0, 1] * v + m[0, 2]) / w, (m[1, 0] * u + m[1, 1] * v + m[1, 2]) / w)

    def pixels(self, pose: Pose, camera: Camera, points: F64) -> F64:
        """(n, 2) pixels of plane points (n, 2)."""
        return pose.project(self.world(points), camera)


def rib_plane(chord_deg: float, forward: int, lean_deg: float) -> Plane:
    """The rib face: origin mid chord, x along the chord to the right of the photo, z up the rib.

    The plane is turned in itself by the chord angle, then leans about the world's X, its top towards the
    camera where lean_deg is positive.
    """
    a = np.radians(chord_deg * forward)
    lean = turn_x(lean_deg)
    return Plane(np.zeros(3), lean @ np.array([np.cos(a), 0, np.sin(a)]), lean @ np.array([-np.sin(a), 0, np.cos(a)]))


def upright_plane(y_mm: float) -> Plane:
    """The plane Y = y_mm: x to the right, z up."""
    return Plane(np.array([0.0, y_mm, 0.0]), np.array([1.0, 0, 0]), np.array([0, 0, 1.0]))


def level_plane(z_mm: float) -> Plane:
    """The plane Z = z_mm: x to the right, second axis away from the camera."""
    return Plane(np.array([0.0, 0.0, z_mm]), np.array([1.0, 0, 0]), np.array([0, 1.0, 0]))
