"""The rib plane laid flat: a rectified picture in millimetres, and the exact way back to pixels.

Sheet frame: u to the right in the photo, v down, mm in the rib plane; an upright camera is assumed only
to choose which in-plane axes are called so. Straight things at any depth stay straight in the sheet.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.lens.model import distort, undistort
from shared.numerics.arrays import F32, F64, U8, Bools
from shared.numerics.small_sums import cross

Floats = NDArray[np.floating]


@dataclass(frozen=True)
class Plane:
    """The rib plane with its sheet axes. origin, along_u, along_v : (3,) camera frame, mm / unit vectors."""

    origin: F64
    along_u: F64
    along_v: F64
    theta: F64

    @classmethod
    def from_pose(cls, rotation: F64, origin: F64, theta: F64) -> Plane:
        """Sheet axes for a rib pose: u nearest to the camera's x axis.

        rotation : (3, 3) rib frame to camera frame; its third column is the plane's normal. origin : (3,) mm, camera
        frame, of sheet point (0, 0). theta : (9,) lens parameters.
        """
        n = rotation[:, 2]
        u = np.array([1.0, 0.0, 0.0])
        u = u - n * float(u @ n)
        u /= np.linalg.norm(u)
        return cls(origin, u, cross(n, u), theta)

    @cached_property
    def normal(self) -> F64:
        """Unit normal away from the camera."""
        return cross(self.along_u, self.along_v)

    def to_pixels(self, uv: F64) -> F64:
        """Pixels (n, 2) of sheet points (n, 2) mm.

        uv : u right in the photo, v down. The lens distortion is in.
        """
        p = self.origin + uv[:, :1] * self.along_u + uv[:, 1:] * self.along_v
        return distort(p[:, :2] / p[:, 2:], self.theta)

    def to_sheet(self, pixels: F64) -> F64:
        """Sheet points (n, 2) mm of pixels (n, 2)."""
        rays = np.c_[undistort(pixels, self.theta), np.ones(len(pixels))]
        n = self.normal
        p = rays * (float(n @ self.origin) / (rays @ n))[:, None] - self.origin
        return np.stack([p @ self.along_u, p @ self.along_v], axis=1)

    def turned_to(self, a: F64, b: F64) -> Plane:
        """The same plane with its origin at sheet point a and its u axis towards b (2,) mm."""
        t = (b - a) / np.linalg.norm(b - a)
        u = t[0] * self.along_u + t[1] * self.along_v
        return Plane(self.origin + a[0] * self.along_u + a[1] * self.along_v, u, cross(self.normal, u), self.theta)


@dataclass(frozen=True)
class Reduced:
    """The photo made smaller by whole factors, each pixel the mean of across x down pixels."""

    image: U8
    across: int
    down: int

    @classmethod
    def of(cls, gray: U8, across: int, down: int) -> Reduced:
        """Shrink by area.

        gray : (h, w). across, down : whole factors along x and y; a rest at the right and lower edge is cut off.
        """
        h, w = gray.shape
        return cls(
            np.asarray(
                cv2.resize(
                    gray[: h - h % down, : w - w % across], (w // across, h // down), interpolation=cv2.INTER_AREA
                ),
                dtype=np.uint8,
            ),
            across,
            down,
        )

    def further(self, across: int, down: int) -> Reduced:
        """Smaller still.

        across, down : whole factors, on top of those before.
        """
        small = Reduced.of(self.image, across, down)
        return Reduced(small.image, self.across * across, self.down * down)


@dataclass(frozen=True)
class Sheet:
    """A rectified picture. image : (h, w) uint8; pixel (i, j) shows u = u0 + j * mm_u, v = v0 + i * mm_v.
    valid : (h, w) bool, inside the photo."""

    plane: Plane
    image: U8
    valid: Bools
    u0: float
    v0: float
    mm_u: float
    mm_v: float

    def index(self, uv: F64) -> F64:
        """Fractional (column, row) of sheet points (n, 2) mm.

        uv : mm, of the plane's sheet.
        """
        return (uv - [self.u0, self.v0]) / [self.mm_u, self.mm_v]

    def uv(self, index: F64) -> F64:
        """Sheet points (n, 2) mm of fractional (column, row).

        index : (n, 2), column first; (0, 0) is the middle of the first pixel.
        """
        return index * [self.mm_u, self.mm_v] + [self.u0, self.v0]

    def within(self, ring: F64, rim_mm: float = 2.5) -> Bools:
        """(h, w) bool: inside a convex ring of sheet points (n, 2) mm, or within a rim round it.

        ring : in order round it. rim_mm : breadth of the rim, about, for it grows with the corners' distance from the
        middle.
        """
        middle = ring.mean(0)
        wider = middle + (ring - middle) * (1 + rim_mm / np.linalg.norm(ring - middle, axis=1, keepdims=True))
        mask = np.zeros(self.image.shape, dtype=np.uint8)
        cv2.fillConvexPoly(mask, np.rint(self.index(wider) * 16).astype(np.int32), 1, shift=4)
        return mask.astype(bool)


def pixel_map(plane: Plane, u: Floats, v: Floats, across: int = 1, down: int = 1, step: int = 24) -> F32:
    """(h, w, 2) coordinates, in the picture reduced by across x down, of an even grid of sheet coordinates u (w,), v (h,),
    mm: projected on coarse knots, bilinear between them (good to a few hundredths of a pixel: for looking, not for
    measuring).

    plane : of the rib. across, down : 1: the picture itself. step : grid points between knots.
    """
    w, h = len(u), len(v)
    nu, nv = -(-w // step) + 2, -(-h // step) + 2
    place = (np.arange(max(nu, nv)) - 1) * step + (step - 1) / 2  # knots in the middle of blocks, as resize has them
    gu, gv = np.meshgrid(u[0] + (u[1] - u[0]) * place[:nu], v[0] + (v[1] - v[0]) * place[:nv])
    px = plane.to_pixels(np.stack([gu.ravel(), gv.ravel()], axis=1)).reshape(nv, nu, 2)
    # a small pixel's centre lies in the middle of those it was made from
    small = ((px - [(across - 1) / 2, (down - 1) / 2]) / [across, down]).astype(np.float32)
    fine = cv2.resize(small, (nu * step, nv * step), interpolation=cv2.INTER_LINEAR)
    return np.asarray(fine[step : step + h, step : step + w], dtype=np.float32)


def look_up(picture: U8, at: F32) -> U8:
    """Values of a picture (h, w) or (h, w, 3) at a map (n, m, 2) of its pixels, bilinear; its rim beyond."""
    seen = cv2.remap(picture, at, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)  # type: ignore[call-overload]
    return np.asarray(seen, dtype=np.uint8)


def lay_flat(photo: Reduced, plane: Plane, box: tuple[float, float, float, float], mm_u: float, mm_v: float) -> Sheet:
    """Rectify a box (u0, v0, u1, v1) mm at the given steps, mm a pixel.

    photo : reduced as far as the steps ask for. plane : of the rib. mm_u, mm_v : along u and v.
    """
    u0, v0, u1, v1 = box
    u = u0 + mm_u * np.arange(max(8, int((u1 - u0) / mm_u)))
    v = v0 + mm_v * np.arange(max(8, int((v1 - v0) / mm_v)))
    at = pixel_map(plane, u, v, photo.across, photo.down)
    h, w = photo.image.shape
    valid = cv2.inRange(at, (0, 0), (w - 1, h - 1)) > 0
    return Sheet(plane, look_up(photo.image, at), valid, u0, v0, mm_u, mm_v)
