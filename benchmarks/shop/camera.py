"""The camera: its lens and its EXIF, its pose, and the rays of its pixels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial import chebyshev

from calibration.lens.model import distort, undistort
from shared.numerics.arrays import F64

_MARGIN = 8.0
_NODES, _TERMS = 32, 20


@dataclass(frozen=True)
class Camera:
    """A camera: picture size in pixels, theta = fx fy cx cy k1 k2 p1 p2 k3, and what its EXIF says."""

    width: int
    height: int
    theta: tuple[float, ...]
    make: str = "Shopcam"
    model: str = "S1"
    focal_mm: float = 4.6
    focal35_mm: int = 27

    @property
    def focal(self) -> float:
        """Mean focal length, pixels."""
        return (self.theta[0] + self.theta[1]) / 2

    def scaled(self, factor: float) -> Camera:
        """The same lens on a picture `factor` times as large; first pixel's centre stays (0, 0)."""
        fx, fy, cx, cy, *rest = self.theta
        c = [(v + 0.5) * factor - 0.5 for v in (cx, cy)]
        return Camera(
            round(self.width * factor),
            round(self.height * factor),
            (fx * factor, fy * factor, *c, *rest),
            self.make,
            self.model,
            self.focal_mm,
            self.focal35_mm,
        )


PHONE = Camera(2000, 1500, (1525.0, 1525.0, 1003.7, 744.2, 0.055, -0.12, 0.0006, -0.0004, 0.06))
PHONE_12 = PHONE.scaled(2.0)


class Rays:
    """Undistorted rays of all pixels: a Chebyshev fit of the inverse lens model, exact to 1e-4 px."""

    def __init__(self, camera: Camera) -> None:
        self._w, self._h = camera.width - 1 + 2 * _MARGIN, camera.height - 1 + 2 * _MARGIN
        nodes = np.cos(np.pi * (np.arange(_NODES) + 0.5) / _NODES)
        px, py = (nodes + 1) / 2 * self._w - _MARGIN, (nodes + 1) / 2 * self._h - _MARGIN
        grid = np.stack(np.meshgrid(px, py), axis=-1).reshape(-1, 2)
        rays = undistort(grid, np.array(camera.theta), steps=400).reshape(_NODES, _NODES, 2)
        inverse = np.linalg.pinv(chebyshev.chebvander(nodes, _TERMS))
        self._terms = np.einsum("iy,yxk,jx->kij", inverse, rays, inverse)

    def grid(self, box: tuple[int, int, int, int]) -> tuple[F64, F64]:
        """Rays (x/z, y/z), each (h, w), of the pixel centres of a box x0, y0, x1, y1 (ends open)."""
        x0, y0, x1, y1 = box
        tx = chebyshev.chebvander((np.arange(x0, x1) + _MARGIN) / self._w * 2 - 1, _TERMS)
        ty = chebyshev.chebvander((np.arange(y0, y1) + _MARGIN) / self._h * 2 - 1, _TERMS)
        return ty @ self._terms[0] @ tx.T, ty @ self._terms[1] @ tx.T


def turn_x(deg: float) -> F64:
    """Rotation about X, right-handed."""
    c, s = np.cos(np.radians(deg)), np.sin(np.radians(deg))
    return np.array([[1, 0, 0], [0, c, -s], [0, s, c]])


def turn_z(deg: float) -> F64:
    """Rotation about Z, right-handed."""
    c, s = np.cos(np.radians(deg)), np.sin(np.radians(deg))
    return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])


@dataclass(frozen=True)
class Pose:
    """Where a camera stands: x_camera = rotation @ (x_world - eye); camera axes right, down, forward."""

    rotation: F64
    eye: F64

    @staticmethod
    def aimed(target: F64, distance: float, yaw_deg: float, pitch_deg: float, roll_deg: float) -> Pose:
        """A camera looking along +Y, turned by yaw about Z and pitch about X, then rolled."""
        turn = turn_z(yaw_deg) @ turn_x(pitch_deg)
        forward, up = turn @ np.array([0, 1.0, 0]), turn @ np.array([0, 0, 1.0])
        right = np.cross(forward, up)
        c, s = np.cos(np.radians(roll_deg)), np.sin(np.radians(roll_deg))
        up, right = c * up + s * right, c * right - s * up
        return Pose(np.stack([right, -up, forward]), target - forward * distance)

    def to_camera(self, points: F64) -> F64:
        """(n, 3) camera coordinates of world points (n, 3)."""
        return (np.atleast_2d(points) - self.eye) @ self.rotation.T

    def project(self, points: F64, camera: Camera) -> F64:
        """(n, 2) pixels of world points (n, 3)."""
        p = self.to_camera(points)
        return distort(p[:, :2] / p[:, 2:], np.array(camera.theta))
