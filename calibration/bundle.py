"""Least squares over all views of one flat board: the lens, its covariance, and each view's pose.

Zhang, "A flexible new technique for camera calibration", IEEE TPAMI 22 (2000) 1330; start by its closed
form with square pixels and the principal point in the middle, then Levenberg-Marquardt with the poses
eliminated (Schur complement). The covariance of the intrinsics is the inverse of that reduced normal
matrix times the residual variance, so it has the poses' uncertainty in it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from calibration.lens_model import F64, distort

MODELS: dict[str, tuple[str, ...]] = {
    "f, c": (),
    "f, c, k1": ("k1",),
    "f, c, k1, k2": ("k1", "k2"),
    "f, c, k1, k2, p1, p2": ("k1", "k2", "p1", "p2"),
    "f, c, k1, k2, p1, p2, k3": ("k1", "k2", "p1", "p2", "k3"),
    "fx, fy, c, k1, k2, p1, p2, k3": ("k1", "k2", "p1", "p2", "k3"),
}
"""Models by rising order; "f" ties fx to fy (square pixels)."""

_AT = {"fx": 0, "fy": 1, "cx": 2, "cy": 3, "k1": 4, "k2": 5, "p1": 6, "p2": 7, "k3": 8}


def free_columns(model: str) -> F64:
    """(9, m) map from a model's free parameters to theta. Raises KeyError for an unknown model."""
    columns = [[0], [1]] if model.startswith("fx") else [[0, 1]]
    columns += [[2], [3]] + [[_AT[name]] for name in MODELS[model]]
    out = np.zeros((9, len(columns)))
    for j, rows in enumerate(columns):
        out[rows, j] = 1.0
    return out


@dataclass(frozen=True)
class View:
    """Corners of the board seen in one photo.

    board : (n, 2) places on the board, mm. pixels : (n, 2). weight : (n,) 0 to 1.
    """

    board: F64
    pixels: F64
    weight: F64 = field(default_factory=lambda: np.ones(0))

    def weighted(self, weight: F64) -> View:
        """The same view with other weights."""
        return View(self.board, self.pixels, weight)


@dataclass(frozen=True)
class Bundle:
    """What the fit found.

    theta : (9,). covariance : (9, 9) of theta. rotations, shifts : pose of each view, board to camera, mm.
    residuals : per view (n, 2), seen minus projected, pixels. sigma : residual standard deviation, pixels,
    of one coordinate (weighted, by degrees of freedom).
    """

    theta: F64
    covariance: F64
    rotations: tuple[F64, ...]
    shifts: tuple[F64, ...]
    residuals: tuple[F64, ...]
    sigma: float


def rotation(w: F64) -> F64:
    """Rotation matrix of a rotation vector (Rodrigues)."""
    angle = float(np.linalg.norm(w))
    k = np.array([[0, -w[2], w[1]], [w[2], 0, -w[0]], [-w[1], w[0], 0]])
    if angle < 1e-8:
        return np.asarray(np.eye(3) + k + 0.5 * k @ k)
    return np.asarray(np.eye(3) + np.sin(angle) / angle * k + (1 - np.cos(angle)) / angle**2 * (k @ k))


def homography(plane: F64, image: F64) -> F64:
    """(3, 3) homography from plane (n, 2) to image (n, 2) points, normalised DLT (Hartley 1997)."""
    def norm(p: F64) -> tuple[F64, F64]:
        c, s = p.mean(axis=0), float(np.sqrt(2) / np.mean(np.linalg.norm(p - p.mean(axis=0), axis=1)))
        t = np.array([[s, 0, -s * c[0]], [0, s, -s * c[1]], [0, 0, 1]])
        return (p - c) * s, t

    (a, ta), (b, tb) = norm(plane), norm(image)
    one, zero = np.ones(len(a)), np.zeros((len(a), 3))
    ah = np.column_stack([a, one])
    rows = np.vstack([np.hstack([ah, zero, -b[:, :1] * ah]), np.hstack([zero, ah, -b[:, 1:] * ah])])
    h = np.linalg.svd(rows, full_matrices=False)[2][-1].reshape(3, 3)
    out = np.linalg.inv(tb) @ h @ ta
    return np.asarray(out / out[2, 2])


def first_focal(homographies: list[F64], size: tuple[int, int]) -> float:
    """Focal length, pixels, from homographies of a plane: Zhang's equations 3 and 4 with square pixels
    and the principal point in the picture's middle, least squares. NaN when no view tells (all square-on)."""
    c = np.array([(size[0] - 1) / 2, (size[1] - 1) / 2])
    top = bottom = 0.0
    for h in homographies:
        g = np.vstack([h[:2] - np.outer(c, h[2]), h[2]])
        g = g / np.linalg.norm(g[:, 0])
        a, b = g[:2, 0] @ g[:2, 1], g[2, 0] * g[2, 1]
        d = g[:2, 0] @ g[:2, 0] - g[:2, 1] @ g[:2, 1]
        e = g[2, 0] ** 2 - g[2, 1] ** 2
        top -= a * b + d * e          # (a, d) + f^2 (b, e) = 0
        bottom += b * b + e * e
    # Scale-free least squares on f^2 is biased by noise, but only a start is wanted.
    return float(np.sqrt(top / bottom)) if bottom > 0 and top > 0 else float("nan")


def pose_of(h: F64, theta: F64) -> tuple[F64, F64]:
    """Board-to-camera rotation and shift from a homography, distortion neglected (Zhang, section 3.1)."""
    k = np.array([[theta[0], 0, theta[2]], [0, theta[1], theta[3]], [0, 0, 1]])
    g = np.linalg.solve(k, h)
    g = g / np.sqrt(np.linalg.norm(g[:, 0]) * np.linalg.norm(g[:, 1]))
    if g[2, 2] < 0:
        g = -g
    u, _, vt = np.linalg.svd(np.column_stack([g[:, 0], g[:, 1], np.cross(g[:, 0], g[:, 1])]))
    return np.asarray(u @ np.diag([1, 1, np.linalg.det(u @ vt)]) @ vt), np.asarray(g[:, 2])


def project_view(theta: F64, r: F64, t: F64, board: F64) -> tuple[F64, F64, F64]:
    """Pixels (n, 2) of board points (n, 2) with Jacobians by theta (n, 2, 9) and by pose (n, 2, 6).

    The pose steps are a rotation vector applied from the left, then a shift.
    """
    turned = board[:, :1] * r[:, 0] + board[:, 1:] * r[:, 1]
    p = turned + t
    z = p[:, 2]
    x, y = p[:, 0] / z, p[:, 1] / z
    fx, fy, _, _, k1, k2, p1, p2, k3 = theta
    r2 = x * x + y * y
    radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
    slope = k1 + r2 * (2 * k2 + r2 * 3 * k3)          # d radial / d r2
    xd = x * radial + 2 * p1 * x * y + p2 * (r2 + 2 * x * x)
    yd = y * radial + p1 * (r2 + 2 * y * y) + 2 * p2 * x * y
    n = len(x)
    by_theta = np.zeros((n, 2, 9))
    by_theta[:, 0, 0], by_theta[:, 1, 1] = xd, yd
    by_theta[:, 0, 2] = by_theta[:, 1, 3] = 1
    for k, power in ((4, r2), (5, r2**2), (8, r2**3)):
        by_theta[:, 0, k], by_theta[:, 1, k] = fx * x * power, fy * y * power
    by_theta[:, 0, 6], by_theta[:, 1, 6] = fx * 2 * x * y, fy * (r2 + 2 * y * y)
    by_theta[:, 0, 7], by_theta[:, 1, 7] = fx * (r2 + 2 * x * x), fy * 2 * x * y
    cross = 2 * x * y * slope + 2 * p1 * x + 2 * p2 * y
    by_ray = np.empty((n, 2, 2))
    by_ray[:, 0, 0] = fx * (radial + 2 * x * x * slope + 2 * p1 * y + 6 * p2 * x)
    by_ray[:, 0, 1], by_ray[:, 1, 0] = fx * cross, fy * cross
    by_ray[:, 1, 1] = fy * (radial + 2 * y * y * slope + 6 * p1 * y + 2 * p2 * x)
    ray_by_point = np.zeros((n, 2, 3))
    ray_by_point[:, 0, 0] = ray_by_point[:, 1, 1] = 1 / z
    ray_by_point[:, 0, 2], ray_by_point[:, 1, 2] = -x / z, -y / z
    by_point = by_ray @ ray_by_point
    point_by_pose = np.zeros((n, 3, 6))
    point_by_pose[:, 0, 1], point_by_pose[:, 0, 2] = turned[:, 2], -turned[:, 1]
    point_by_pose[:, 1, 0], point_by_pose[:, 1, 2] = -turned[:, 2], turned[:, 0]
    point_by_pose[:, 2, 0], point_by_pose[:, 2, 1] = turned[:, 1], -turned[:, 0]
    point_by_pose[:, :, 3:] = np.eye(3)
    return distort(np.stack([x, y], axis=1), theta), by_theta, by_point @ point_by_pose


def fit(views: list[View], size: tuple[int, int], model: str, start: Bundle | None = None,
        steps: int = 60) -> Bundle:
    """Fit a model to all views.

    Raises numpy.linalg.LinAlgError when the views do not determine it (too few, all square-on).
    """
    free = free_columns(model)
    if start is None:
        hs = [homography(v.board, v.pixels) for v in views]
        f = first_focal(hs, size)
        if not np.isfinite(f):
            f = float(max(size))
        theta = np.array([f, f, (size[0] - 1) / 2, (size[1] - 1) / 2, 0, 0, 0, 0, 0])
        poses = [pose_of(h, theta) for h in hs]
    else:
        theta = start.theta.copy()
        theta[4:][free[4:].sum(axis=1) == 0] = 0
        if not model.startswith("fx"):
            theta[:2] = theta[:2].mean()
        poses = list(zip(start.rotations, start.shifts, strict=True))
    damping, cost = 1e-3, _cost(views, theta, poses)
    for _ in range(steps):
        blocks = [_normal(v, theta, pose, free) for v, pose in zip(views, poses, strict=True)]
        moved = False
        for _ in range(12):
            step, turns = _solve(blocks, damping)
            new_theta = theta + free @ step
            new_poses = [(rotation(d[:3]) @ r, t + d[3:]) for (r, t), d in zip(poses, turns, strict=True)]
            new_cost = _cost(views, new_theta, new_poses)
            if new_cost < cost:
                moved = True
                break
            damping *= 8
        if not moved:
            break
        gain, cost = (cost - new_cost) / cost, new_cost
        theta, poses, damping = new_theta, new_poses, max(damping / 8, 1e-12)
        if gain < 1e-10:
            break
    return _result(views, theta, poses, free)


def fit_pose(view: View, theta: F64) -> tuple[F64, F64, F64]:
    """Best pose of one view under a fixed lens: rotation, shift, residuals (n, 2)."""
    pose = pose_of(homography(view.board, view.pixels), theta)
    none = np.zeros((9, 0))
    cost, damping = _cost([view], theta, [pose]), 1e-3
    for _ in range(40):
        block = _normal(view, theta, pose, none)
        d = scaled_solve(block[1] + damping * np.diag(np.diag(block[1])), block[4])
        new = (rotation(d[:3]) @ pose[0], pose[1] + d[3:])
        new_cost = _cost([view], theta, [new])
        if new_cost < cost:
            gain, pose, cost, damping = (cost - new_cost) / cost, new, new_cost, max(damping / 8, 1e-12)
            if gain < 1e-10:
                break
        else:
            damping *= 8
            if damping > 1e8:
                break
    return pose[0], pose[1], view.pixels - project_view(theta, *pose, view.board)[0]


def _weights(view: View) -> F64:
    return view.weight if len(view.weight) else np.ones(len(view.board))


def _cost(views: list[View], theta: F64, poses: list[tuple[F64, F64]]) -> float:
    total = 0.0
    for v, (r, t) in zip(views, poses, strict=True):
        p = v.board[:, :1] * r[:, 0] + v.board[:, 1:] * r[:, 1] + t
        if np.any(p[:, 2] <= 0):
            return float("inf")
        e = v.pixels - distort(p[:, :2] / p[:, 2:], theta)
        total += float(np.sum(_weights(v)[:, None] * e * e))
    return total


Block = tuple[F64, F64, F64, F64, F64]


def _normal(view: View, theta: F64, pose: tuple[F64, F64], free: F64) -> Block:
    """Parts of the normal equations: A'A, B'B, A'B, A'e, B'e with A by the lens, B by the pose."""
    seen, by_theta, by_pose = project_view(theta, *pose, view.board)
    root = np.repeat(np.sqrt(_weights(view)), 2)
    e = (view.pixels - seen).ravel() * root
    a = by_theta.reshape(-1, 9) @ free * root[:, None]
    b = by_pose.reshape(-1, 6) * root[:, None]
    return a.T @ a, b.T @ b, a.T @ b, a.T @ e, b.T @ e


def _solve(blocks: list[Block], damping: float) -> tuple[F64, list[F64]]:
    m = blocks[0][0].shape[0]
    s, g = np.zeros((m, m)), np.zeros(m)
    for aa, bb, ab, ae, be in blocks:
        v = bb + damping * np.diag(np.diag(bb))
        w = np.linalg.solve(v, ab.T)
        s += aa + damping * np.diag(np.diag(aa)) - ab @ w
        g += ae - w.T @ be
    step = scaled_solve(s, g)
    turns = [np.asarray(np.linalg.solve(bb + damping * np.diag(np.diag(bb)), be - ab.T @ step), np.float64)
             for _, bb, ab, _, be in blocks]
    return step, turns


def scaled_solve(s: F64, g: F64) -> F64:
    """Solve a symmetric system whose unknowns have very different units."""
    d = np.sqrt(np.diag(s))
    return np.asarray(np.linalg.solve(s / np.outer(d, d), g / d) / d)


def scaled_inverse(s: F64) -> F64:
    """Inverse of a positive definite matrix with very different units. Raises LinAlgError if it is not."""
    if np.any(np.diag(s) <= 0):
        raise np.linalg.LinAlgError("a parameter is not determined")
    d = np.sqrt(np.diag(s))
    c = np.linalg.cholesky(s / np.outer(d, d))
    inv = np.linalg.inv(c)
    return np.asarray(inv.T @ inv / np.outer(d, d))


def _result(views: list[View], theta: F64, poses: list[tuple[F64, F64]], free: F64) -> Bundle:
    m = free.shape[1]
    s = np.zeros((m, m))
    residuals, squares, count = [], 0.0, 0.0
    for v, pose in zip(views, poses, strict=True):
        aa, bb, ab, _, _ = _normal(v, theta, pose, free)
        s += aa - ab @ np.linalg.solve(bb, ab.T)
        e = v.pixels - project_view(theta, *pose, v.board)[0]
        residuals.append(e)
        squares += float(np.sum(_weights(v)[:, None] * e * e))
        count += 2 * float(np.sum(_weights(v)))
    freedom = count - m - 6 * len(views)
    if freedom <= 0:
        raise np.linalg.LinAlgError("fewer corners than unknowns")
    sigma = float(np.sqrt(squares / freedom))
    covariance = free @ scaled_inverse(s) @ free.T * sigma**2
    rotations, shifts = tuple(r for r, _ in poses), tuple(t for _, t in poses)
    return Bundle(theta, covariance, rotations, shifts, tuple(residuals), sigma)
