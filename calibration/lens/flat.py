"""Homographies of a flat board, and what they tell of the lens and the pose: the start of a fit."""

from __future__ import annotations

import numpy as np

from shared.numerics.arrays import F64


def homography(plane: F64, image: F64) -> F64:
    """(3, 3) homography from plane (n, 2) to image (n, 2) points, normalised DLT (Hartley 1997).

    All NaN where the points of one side lie in one place, or are no finite numbers.
    """
    if not all(np.isfinite(p).all() and np.ptp(p, axis=0).any() for p in (plane, image)):
        return np.full((3, 3), np.nan)

    def norm(p: F64) -> tuple[F64, F64]:
        c, s = p.mean(axis=0), float(np.sqrt(2) / np.mean(np.linalg.norm(p - p.mean(axis=0), axis=1)))
        t = np.array([[s, 0, -s * c[0]], [0, s, -s * c[1]], [0, 0, 1]])
        return (p - c) * s, t

    (a, ta), (b, tb) = norm(plane), norm(image)
    one, zero = np.ones(len(a)), np.zeros((len(a), 3))
    ah = np.column_stack([a, one])
    rows = np.vstack([np.hstack([ah, zero, -b[:, :1] * ah]), np.hstack([zero, ah, -b[:, 1:] * ah])])
    h = np.linalg.svd(rows, full_matrices=len(rows) < 9)[2][-1].reshape(3, 3)
    out = np.linalg.inv(tb) @ h @ ta
    return np.asarray(out / np.linalg.norm(out[2]) * (np.sign(out[2, 2]) or 1.0))


def apply_homography(h: F64, points: F64) -> F64:
    """(n, 2) points through a homography; not finite for points of its horizon."""
    p = np.column_stack([points, np.ones(len(points))]) @ h.T
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(p[:, :2] / p[:, 2:])


def rotation(w: F64) -> F64:
    """Rotation matrix of a rotation vector (Rodrigues)."""
    angle = float(np.linalg.norm(w))
    k = np.array([[0, -w[2], w[1]], [w[2], 0, -w[0]], [-w[1], w[0], 0]])
    if angle < 1e-8:
        return np.asarray(np.eye(3) + k + 0.5 * k @ k)
    return np.asarray(np.eye(3) + np.sin(angle) / angle * k + (1 - np.cos(angle)) / angle**2 * (k @ k))


def first_focal(homographies: list[F64], size: tuple[int, int]) -> float:
    """Focal length, pixels, from homographies of a plane; NaN when no view tells (all square-on).

    Zhang's equations 3 and 4 with square pixels and the principal point in the picture's middle, least
    squares on 1/f^2: with g the homography about the middle, columns 1 and 2 are at right angles and of
    equal length once their first two rows are divided by f.
    """
    c = np.array([(size[0] - 1) / 2, (size[1] - 1) / 2])
    top = bottom = 0.0
    for h in homographies:
        g = np.vstack([h[:2] - np.outer(c, h[2]), h[2]])
        g = g / np.linalg.norm(g[:2, 0])
        a, b = g[:2, 0] @ g[:2, 1], g[2, 0] * g[2, 1]
        d = g[:2, 0] @ g[:2, 0] - g[:2, 1] @ g[:2, 1]
        e = g[2, 0] ** 2 - g[2, 1] ** 2
        top -= a * b + d * e
        bottom += a * a + d * d
    # a/f^2 + b = 0 and d/f^2 + e = 0
    return float(np.sqrt(bottom / top)) if bottom > 0 and top > 0 else float("nan")


def pose_of(h: F64, theta: F64) -> tuple[F64, F64]:
    """Board-to-camera rotation and shift from a homography, distortion neglected (Zhang, section 3.1)."""
    k = np.array([[theta[0], 0, theta[2]], [0, theta[1], theta[3]], [0, 0, 1]])
    g = np.linalg.solve(k, h)
    g = g / np.sqrt(np.linalg.norm(g[:, 0]) * np.linalg.norm(g[:, 1]))
    if g[2, 2] < 0:
        g = -g
    u, _, vt = np.linalg.svd(np.column_stack([g[:, 0], g[:, 1], np.cross(g[:, 0], g[:, 1])]))
    return np.asarray(u @ np.diag([1, 1, np.linalg.det(u @ vt)]) @ vt), np.asarray(g[:, 2])
