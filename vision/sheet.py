"""The rib plane laid flat: a rectified picture in millimetres, and the exact way back to pixels.

Sheet frame: u to the right in the photo, v down, mm in the rib plane; an upright camera is assumed only
to choose which in-plane axes are called so. Straight things at any depth stay straight in the sheet.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.lens_model import distort, undistort

F64 = NDArray[np.float64]


@dataclass(frozen=True)
class Plane:
    """The rib plane with its sheet axes. origin, along_u, along_v : (3,) camera frame, mm / unit vectors."""

    origin: F64
    along_u: F64
    along_v: F64
    theta: F64

    @classmethod
    def from_pose(cls, rotation: F64, origin: F64, theta: F64) -> Plane:
        """Sheet axes for a rib pose: u nearest to the camera's x axis."""
        n = rotation[:, 2]
        u = np.array([1.0, 0.0, 0.0])
        u = u - n * float(u @ n)
        u /= np.linalg.norm(u)
        return cls(origin, u, np.cross(n, u), theta)

    @property
    def normal(self) -> F64:
        """Unit normal away from the camera."""
        return np.cross(self.along_u, self.along_v)

    def to_pixels(self, uv: F64) -> F64:
        """Pixels (n, 2) of sheet points (n, 2) mm."""
        p = self.origin + uv[:, :1] * self.along_u + uv[:, 1:] * self.along_v
        return distort(p[:, :2] / p[:, 2:], self.theta)

    def to_sheet(self, pixels: F64) -> F64:
        """Sheet points (n, 2) mm of pixels (n, 2)."""
        rays = np.c_[undistort(pixels, self.theta), np.ones(len(pixels))]
        n = self.normal
        p = rays * (float(n @ self.origin) / (rays @ n))[:, None] - self.origin
        return np.stack([p @ self.along_u, p @ self.along_v], axis=1)


@dataclass(frozen=True)
class Sheet:
    """A rectified picture. image : (h, w) uint8; pixel (i, j) shows u = u0 + j * mm, v = v0 + i * mm.
    valid : (h, w) bool, inside the photo."""

    plane: Plane
    image: NDArray[np.uint8]
    valid: NDArray[np.bool_]
    u0: float
    v0: float
    mm: float

    def index(self, uv: F64) -> F64:
        """Fractional (column, row) of sheet points (n, 2) mm."""
        return (uv - [self.u0, self.v0]) / self.mm

    def uv(self, index: F64) -> F64:
        """Sheet points (n, 2) mm of fractional (column, row)."""
        return index * self.mm + [self.u0, self.v0]


def pixel_map(plane: Plane, u: F64, v: F64, step: int = 24) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Picture coordinates on the grid of sheet coordinates u (w,), v (h,), mm: projected on coarse knots,
    bilinear between them (good to a few hundredths of a pixel: for looking, not for measuring)."""
    w, h = len(u), len(v)
    cu = np.linspace(u[0], u[-1], max(2, w // step))
    cv = np.linspace(v[0], v[-1], max(2, h // step))
    gu, gv = np.meshgrid(cu, cv)
    px = plane.to_pixels(np.stack([gu.ravel(), gv.ravel()], axis=1)).reshape(len(cv), len(cu), 2)
    xs, ys = np.linspace(0, len(cu) - 1, w), np.linspace(0, len(cv) - 1, h)
    return _bilinear(px[..., 0], xs, ys), _bilinear(px[..., 1], xs, ys)


def _bilinear(z: F64, xs: F64, ys: F64) -> NDArray[np.float32]:
    i = np.minimum(xs.astype(int), z.shape[1] - 2)
    f = xs - i
    rows = z[:, i] * (1 - f) + z[:, i + 1] * f
    j = np.minimum(ys.astype(int), z.shape[0] - 2)
    g = (ys - j)[:, None]
    return (rows[j] * (1 - g) + rows[j + 1] * g).astype(np.float32)


def lay_flat(gray: NDArray[np.uint8], plane: Plane, box: tuple[float, float, float, float], mm: float,
             shrink: int = 1) -> Sheet:
    """Rectify a box (u0, v0, u1, v1) mm at `mm` a pixel; `gray` is the photo reduced by `shrink`."""
    u0, v0, u1, v1 = box
    u = u0 + mm * np.arange(max(8, int((u1 - u0) / mm)))
    v = v0 + mm * np.arange(max(8, int((v1 - v0) / mm)))
    mx, my = pixel_map(plane, u, v)
    mx, my = (mx - (shrink - 1) / 2) / shrink, (my - (shrink - 1) / 2) / shrink
    h, w = gray.shape
    image = cv2.remap(gray, mx, my, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    valid = (mx >= 0) & (mx <= w - 1) & (my >= 0) & (my <= h - 1)
    return Sheet(plane, image, valid, u0, v0, mm)
