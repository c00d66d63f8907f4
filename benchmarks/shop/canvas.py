"""A picture in linear light, and exact painting on it: strokes on planes, straight things in space."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from calibration.lens.model import distort
from shared.numerics.arrays import F32, F64, U8
from shop.camera import Camera, Pose, Rays
from shop.planes import Plane

Box = tuple[int, int, int, int]
_PIECES = 12
WINDOW_PX = 0.45
"""Standard deviation of the window through which lines are sampled: pixel and a part of the optics. The rest
of the blur comes in `shop.develop`. At this width a line's place is kept to 0.01 px wherever it falls."""


class Canvas:
    """light : (h, w, 3) float32, linear, RGB. Pixel centres at whole numbers. Everything painted is
    averaged over the pixel or a little more, so that edges and lines keep their place."""

    def __init__(self, camera: Camera, pose: Pose) -> None:
        self.camera, self.pose = camera, pose
        self.rays = Rays(camera)
        self.light: F32 = np.zeros((camera.height, camera.width, 3), np.float32)

    def box(self, pixels: F64, pad: float) -> Box | None:
        """The pixels' bounding box with a border, cut to the picture; None where nothing is left."""
        if not np.all(np.isfinite(pixels)):
            return None
        lo, hi = np.floor(pixels.min(0) - pad), np.ceil(pixels.max(0) + pad) + 1
        x0, y0 = int(np.clip(lo[0], 0, self.camera.width)), int(np.clip(lo[1], 0, self.camera.height))
        x1, y1 = int(np.clip(hi[0], 0, self.camera.width)), int(np.clip(hi[1], 0, self.camera.height))
        return (x0, y0, x1, y1) if x1 > x0 and y1 > y0 else None

    def blend(self, box: Box, alpha: NDArray[np.floating], colour: NDArray[np.floating] | tuple[float, ...]) -> None:
        """Lay a colour over a box with opacity alpha (h, w); colour is one RGB, or (h, w, 3)."""
        a = np.asarray(alpha, np.float32)
        rows, columns = np.flatnonzero(a.any(axis=1)), np.flatnonzero(a.any(axis=0))
        if not len(rows):
            return
        inner = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
        part = self.light[box[1] : box[3], box[0] : box[2]][inner]
        c = np.asarray(colour, np.float32)
        part += a[inner][..., None] * ((c if c.ndim == 1 else c[inner]) - part)

    def fill(self, outline: F64, value: float = 1.0, mask: U8 | None = None) -> U8:
        """(h, w) uint8 mask of a polygon in pixels (n, 2), edges smoothed; drawn into `mask` where given."""
        out = np.zeros((self.camera.height, self.camera.width), np.uint8) if mask is None else mask
        near = np.clip(np.nan_to_num(outline), -30000, 30000)  # corners far out of view
        cv2.fillPoly(out, [np.round(near * 16).astype(np.int32)], int(255 * value), cv2.LINE_AA, 4)
        return out

    def along(self, plane: Plane, a: F64, b: F64, half_mm: float) -> Iterator[tuple[Box, F64, F64, F64]]:
        """Walk a straight band of a plane from a to b (mm), half_mm to each side, piece by piece.

        Yields box, place along the band and distance to its left (mm), and mm per pixel across, all
        (h, w); places outside the piece are NaN, so that each pixel belongs to one piece.
        """
        length = float(np.hypot(*(b - a)))
        t = (b - a) / length
        n = np.array([-t[1], t[0]])
        ends = np.linspace(0, length, _PIECES + 1)
        for k in range(_PIECES):
            corners = np.array([a + t * s + n * d for s in ends[k : k + 2] for d in (-half_mm, half_mm)])
            box = self.box(plane.pixels(self.pose, self.camera, corners), 2)
            if box is None:
                continue
            x, z = plane.from_rays(self.pose, self.rays.grid(box))
            s = (x - a[0]) * t[0] + (z - a[1]) * t[1]
            d = (x - a[0]) * n[0] + (z - a[1]) * n[1]
            middle = a + t * (ends[k] + ends[k + 1]) / 2
            px = plane.pixels(self.pose, self.camera, np.array([middle - n / 2, middle + n / 2]))
            low = -np.inf if k == 0 else ends[k]
            high = np.inf if k == _PIECES - 1 else ends[k + 1]
            yield (
                box,
                np.where((s >= low) & (s < high), s, np.nan),
                d,
                np.full_like(s, 1 / np.hypot(*(px[1] - px[0]))),
            )

    def across(self, p: F64, q: F64, reach_mm: float, extra_px: float) -> Iterator[tuple[Box, F64, F64]]:
        """Walk a straight thing in space from p to q (world mm), piece by piece.

        Yields box, signed distance from its picture in pixels (positive to its right when it is walked
        down the picture), and pixels per mm at its depth; NaN outside the piece.
        """
        camera_points = self._before_lens(p, q)
        if camera_points is None:
            return
        ends = [c[:2] / c[2] for c in camera_points]
        depth = [c[2] for c in camera_points]
        gap = ends[1] - ends[0]
        length = float(np.hypot(*gap))
        if length < 1e-9:
            return
        u = gap / length
        side = np.array([-u[1], u[0]]) * (-1 if u[1] > 0 else 1)
        pieces = np.linspace(0, length, 4 * _PIECES + 1)
        theta = np.array(self.camera.theta)
        for s0, s1 in pairwise(float(v) for v in pieces):
            middle = ends[0] + u * (s0 + s1) / 2
            px_per_ray = (
                float(
                    np.hypot(
                        *np.diff(distort(np.stack([middle - side * 5e-4, middle + side * 5e-4]), theta), axis=0)[0]
                    )
                )
                / 1e-3
            )
            reach = reach_mm / min(depth) + (extra_px + 2) / px_per_ray
            corners = np.array([ends[0] + u * s + side * d for s in (s0, s1) for d in (-reach, reach)])
            box = self.box(distort(corners, theta), 1)
            if box is None:
                continue
            x, y = self.rays.grid(box)
            s = (x - ends[0][0]) * u[0] + (y - ends[0][1]) * u[1]
            d = (x - ends[0][0]) * side[0] + (y - ends[0][1]) * side[1]
            inside = (s >= s0) & (s < s1)
            inverse = (1 - s / length) / depth[0] + s / length / depth[1]
            yield box, np.where(inside, d * px_per_ray, np.nan), inverse * px_per_ray

    def _before_lens(self, p: F64, q: F64) -> tuple[F64, F64] | None:
        """Camera coordinates of both ends, cut to what lies before the lens and not far out of view."""
        a, b = self.pose.to_camera(p)[0], self.pose.to_camera(q)[0]
        steps = np.linspace(0, 1, 400)[:, None]
        line = a + (b - a) * steps
        wide = 1.15 * np.array([self.camera.width, self.camera.height]) / self.camera.focal / 2 + 0.02
        seen = (line[:, 2] > 20) & np.all(np.abs(line[:, :2]) < wide * np.abs(line[:, 2:]), axis=1)
        if seen.sum() < 2:
            return None
        k = np.flatnonzero(seen)
        lo, hi = max(k[0] - 1, 0), min(k[-1] + 1, len(line) - 1)
        lo, hi = (lo if line[lo, 2] > 20 else k[0]), (hi if line[hi, 2] > 20 else k[-1])
        return line[lo], line[hi]


def band(d: F64, half: F64 | float, sigma: F64 | float) -> F64:
    """A band of half width `half` at distance d, seen through a Gaussian window of standard deviation sigma.

    A box window, the pixel's bare square, would let a line thinner than a pixel jump from row to row.
    """
    return np.asarray(ndtr((d + half) / sigma) - ndtr((d - half) / sigma), dtype=np.float64)
