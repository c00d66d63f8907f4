"""Where the points of a board are seen, with derivatives by lens, pose and board point."""

from __future__ import annotations

import numpy as np

from calibration.lens.model import distort
from shared.numerics.arrays import F64


def project_board(theta: F64, r: F64, t: F64, board: F64) -> tuple[F64, F64, F64, F64]:
    """Pixels (n, 2) of board points (n, 3), mm, and Jacobians.

    By theta (n, 2, 9), by pose (n, 2, 6: a rotation vector applied from the left, then a shift), and by
    the point on the board (n, 2, 3).
    """
    turned = board @ r.T
    p = turned + t
    z = p[:, 2]
    x, y = p[:, 0] / z, p[:, 1] / z
    n = len(x)
    ray = by_ray(theta, x, y)
    ray_by_point = np.zeros((n, 2, 3))
    ray_by_point[:, 0, 0] = ray_by_point[:, 1, 1] = 1 / z
    ray_by_point[:, 0, 2], ray_by_point[:, 1, 2] = -x / z, -y / z
    by_point = ray @ ray_by_point
    point_by_pose = np.zeros((n, 3, 6))
    point_by_pose[:, 0, 1], point_by_pose[:, 0, 2] = turned[:, 2], -turned[:, 1]
    point_by_pose[:, 1, 0], point_by_pose[:, 1, 2] = -turned[:, 2], turned[:, 0]
    point_by_pose[:, 2, 0], point_by_pose[:, 2, 1] = turned[:, 1], -turned[:, 0]
    point_by_pose[:, :, 3:] = np.eye(3)
    seen = distort(np.stack([x, y], axis=1), theta)
    return seen, by_theta(theta, x, y), by_point @ point_by_pose, by_point @ r


def by_theta(theta: F64, x: F64, y: F64) -> F64:
    """(n, 2, 9) derivative of the pixels by the nine parameters, at rays x, y (n,)."""
    fx, fy, _, _, k1, k2, p1, p2, k3 = theta
    r2 = x * x + y * y
    radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
    out = np.zeros((len(x), 2, 9))
    out[:, 0, 0] = x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x)
    out[:, 1, 1] = y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y
    out[:, 0, 2] = out[:, 1, 3] = 1
    for k, power in ((4, r2), (5, r2**2), (8, r2**3)):
        out[:, 0, k], out[:, 1, k] = fx * x * power, fy * y * power
    out[:, 0, 6], out[:, 1, 6] = fx * 2 * x * y, fy * (r2 + 2 * y * y)
    out[:, 0, 7], out[:, 1, 7] = fx * (r2 + 2 * x * x), fy * 2 * x * y
    return out


def by_ray(theta: F64, x: F64, y: F64) -> F64:
    """(n, 2, 2) derivative of the pixels by the ray."""
    fx, fy, _, _, k1, k2, p1, p2, k3 = theta
    r2 = x * x + y * y
    radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
    slope = k1 + r2 * (2 * k2 + r2 * 3 * k3)
    cross = 2 * x * y * slope + 2 * p1 * x + 2 * p2 * y
    out = np.empty((len(x), 2, 2))
    out[:, 0, 0] = fx * (radial + 2 * x * x * slope + 2 * p1 * y + 6 * p2 * x)
    out[:, 0, 1], out[:, 1, 0] = fx * cross, fy * cross
    out[:, 1, 1] = fy * (radial + 2 * y * y * slope + 6 * p1 * y + 2 * p2 * x)
    return out
