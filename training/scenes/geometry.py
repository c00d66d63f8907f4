"""Camera, poses, projection through the lens, and polylines in space. NumPy and OpenCV only."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from shared.numerics.arrays import F64

SAMPLES = 65
"""Points along every labelled line."""
FIELD = 1.25
"""Tangent of the half field beyond which the lens polynomial is not trusted (phones reach 0.9 in their corners)."""

MARGIN = 0.045
"""Part of the width that is rendered beyond the frame on every side, at least."""
STEP = 256


@dataclass(frozen=True)
class Camera:
    """A phone's camera: OpenCV's pinhole with k1 k2 p1 p2 k3, pixels."""

    width: int = 4000
    height: int = 3000
    f: float = 3050.0
    cx: float = 2008.0
    cy: float = 1489.0
    dist: tuple[float, ...] = (0.055, -0.12, 0.0006, -0.0004, 0.06)

    @property
    def matrix(self) -> F64:
        """Camera matrix, 3 x 3."""
        return np.array([[self.f, 0, self.cx], [0, self.f, self.cy], [0, 0, 1.0]])

    def scaled(self, s: float) -> Camera:
        """The same camera with `s` times as many pixels a side."""
        w, h = round(self.width * s), round(self.height * s)
        return Camera(w, h, self.f * s, (self.cx + 0.5) * s - 0.5, (self.cy + 0.5) * s - 0.5, self.dist)


@dataclass(frozen=True)
class Pose:
    """Where the camera stands. R : world to camera (x right, y down, z forward), 3 x 3. eye : mm."""

    R: F64
    eye: F64

    @property
    def forward(self) -> F64:
        """Viewing direction."""
        return np.asarray(self.R[2])

    @property
    def up(self) -> F64:
        """The picture's upward direction."""
        return np.asarray(-self.R[1])


def film_size(cam: Camera) -> tuple[int, int]:
    """Size of the pinhole picture that is rendered, with a margin for the lens to bend in.

    In steps, so that phones share it: the ray tracer compiles its program anew for every size.
    """
    m = 2 * int(MARGIN * cam.width)
    return -(-(cam.width + m) // STEP) * STEP, -(-(cam.height + m) // STEP) * STEP


def turn(axis: str, deg: float) -> F64:
    """Rotation matrix about x, y or z by degrees, right-handed."""
    c, s = np.cos(np.radians(deg)), np.sin(np.radians(deg))
    rows = {
        "x": [[1, 0, 0], [0, c, -s], [0, s, c]],
        "y": [[c, 0, s], [0, 1, 0], [-s, 0, c]],
        "z": [[c, -s, 0], [s, c, 0], [0, 0, 1]],
    }
    return np.array(rows[axis], float)


def look(yaw: float, pitch: float, roll: float, target: F64, distance: float) -> Pose:
    """A camera looking at `target` from `distance` mm, turned by degrees from square-on."""
    r = turn("z", yaw) @ turn("x", pitch)
    forward, up = r @ [0, 1.0, 0], r @ [0, 0, 1.0]
    right = np.cross(forward, up)
    c, s = np.cos(np.radians(roll)), np.sin(np.radians(roll))
    up, right = c * up + s * right, c * right - s * up
    return Pose(np.stack([right, -up, forward]), np.asarray(target, float) - forward * distance)


def project(cam: Camera, pose: Pose, points: F64) -> F64:
    """World points (n, 3) to distorted pixels (n, 2); NaN where behind the camera or beyond the lens's field."""
    p = (np.asarray(points, float).reshape(-1, 3) - pose.eye) @ pose.R.T
    out = np.full((len(p), 2), np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        good = (p[:, 2] > 10) & (np.hypot(p[:, 0], p[:, 1]) < FIELD * p[:, 2])
    if good.any():
        flat, _ = cv2.projectPoints(p[good].reshape(-1, 1, 3), np.zeros(3), np.zeros(3), cam.matrix, np.array(cam.dist))
        out[good] = flat.reshape(-1, 2)
    return out


def resample(points: F64, n: int) -> F64:
    """n points evenly spaced along a polyline (m, 3)."""
    step = np.linalg.norm(np.diff(points, axis=0), axis=1)
    s = np.concatenate([[0], np.cumsum(step)])
    at = np.linspace(0, s[-1], n)
    return np.stack([np.interp(at, s, points[:, k]) for k in range(points.shape[1])], 1)


def in_frame(cam: Camera, pose: Pose, points: F64, beyond: float = 0.02) -> F64 | None:
    """The part of a polyline (m, 3) inside the frame, `beyond` of its width to spare, as SAMPLES points; None if none."""
    fine = resample(points, 600)
    px, pad = project(cam, pose, fine), beyond * cam.width
    with np.errstate(invalid="ignore"):
        inside = (px > -pad).all(1) & (px[:, 0] < cam.width - 1 + pad) & (px[:, 1] < cam.height - 1 + pad)
    where = np.flatnonzero(inside)
    if len(where) < 2:
        return None
    return resample(fine[where[0] : where[-1] + 1], SAMPLES)
