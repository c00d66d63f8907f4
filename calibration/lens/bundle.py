"""Least squares over all views of one flat board: the lens, its covariance, and each view's pose.

Zhang, "A flexible new technique for camera calibration", IEEE TPAMI 22 (2000) 1330; Levenberg-Marquardt
with the poses eliminated (Schur complement). The covariance of the intrinsics is the inverse of that
reduced normal matrix times the residual variance, so it has the poses' uncertainty in it, widened where the
estimates scatter more between views (`scatter`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.lens.flat import first_focal, homography, pose_of, rotation
from calibration.lens.model import distort
from calibration.lens.models import free_columns, shape_basis
from calibration.lens.projection import project_board
from calibration.lens.scatter import between_views
from shared.numerics.arrays import F64

Pose = tuple[F64, F64]
LEAST_SIGMA_PX = 0.025
"""Corners are not credited with less than this: what perspective, distortion and sharpening do to them is the
same each time and does not average out."""
Block = tuple[F64, F64, F64, F64, F64]


@dataclass(frozen=True)
class View:
    """Corners of the board seen in one photo.

    board : (n, 2) places on the board, mm, counted from the board's centre where it is seen whole.
    pixels : (n, 2). weight : (n,) 0 to 1.
    """

    board: F64
    pixels: F64
    weight: F64

    @staticmethod
    def of(board: F64, pixels: F64) -> View:
        """A view whose corners all count in full."""
        return View(board, pixels, np.ones(len(board)))


@dataclass(frozen=True)
class Bundle:
    """What the fit found.

    theta : (9,). shape : (5,) see `models.SHAPES`, mm. covariance : (9, 9) of theta. shape_covariance : (5,
    5).
    rotations, shifts : pose of each view, board to camera, mm. residuals : per view (n, 2), seen minus
    projected, pixels. sigma : residual standard deviation of one coordinate, pixels, by degrees of freedom.
    inflation : by how much the variances were widened since residuals within a view hang together, in the mean, >= 1.
    """

    theta: F64
    shape: F64
    covariance: F64
    shape_covariance: F64
    rotations: tuple[F64, ...]
    shifts: tuple[F64, ...]
    residuals: tuple[F64, ...]
    sigma: float
    inflation: float


@dataclass(frozen=True)
class _Free:
    """What is free: columns of theta, and of the board's shape (5, j) where its half length is given."""

    columns: F64
    half_mm: float | None
    shapes: F64

    @property
    def count(self) -> int:
        return int(self.columns.shape[1]) + (int(self.shapes.shape[1]) if self.half_mm else 0)

    def points(self, board: F64, shape: F64) -> F64:
        flat = np.column_stack([board, np.zeros(len(board))])
        return flat if self.half_mm is None else flat + shape_basis(board, self.half_mm) @ shape


def fit(
    views: list[View],
    size: tuple[int, int],
    model: str,
    start: Bundle | None = None,
    half_mm: float | None = None,
    steps: int = 60,
    columns: F64 | None = None,
    shapes: F64 | None = None,
) -> Bundle:
    """Fit a lens model to all views.

    half_mm : half the board's longer side; then the board's own shape is fitted as well (whole views only).
    start : an earlier fit of the same views, of any model. columns : (9, m) directions in which theta may
    move away from the start's, in place of the model's. shapes : (5, j) likewise for the board's shape.
    Raises numpy.linalg.LinAlgError when the views do not determine the model (too few, all square-on).
    """
    free = _Free(free_columns(model) if columns is None else columns, half_mm, np.eye(5) if shapes is None else shapes)
    theta, shape, poses = _start(views, size, start)
    if columns is None:
        theta[4:][free.columns[4:].sum(axis=1) == 0] = 0
        if not model.startswith("fx"):
            theta[:2] = theta[:2].mean()
    if half_mm is None:
        shape = np.zeros(5)
    damping, cost = 1e-3, _cost(views, theta, poses, free, shape)
    m = free.columns.shape[1]
    for _ in range(steps):
        blocks = [_normal(v, theta, pose, free, shape) for v, pose in zip(views, poses, strict=True)]
        for _ in range(12):
            step, turns = _solve(blocks, damping)
            new_theta = theta + free.columns @ step[:m]
            new_shape = shape + free.shapes @ step[m:] if half_mm else shape
            new_poses = [(rotation(d[:3]) @ r, t + d[3:]) for (r, t), d in zip(poses, turns, strict=True)]
            new_cost = _cost(views, new_theta, new_poses, free, new_shape)
            if new_cost < cost:
                break
            damping *= 8
        else:
            break
        gain, cost = (cost - new_cost) / cost, new_cost
        theta, shape, poses, damping = new_theta, new_shape, new_poses, max(damping / 8, 1e-12)
        if gain < 1e-10:
            break
    return _result(views, theta, shape, poses, free)


def fit_pose(view: View, theta: F64, shape: F64 | None = None, half_mm: float | None = None) -> tuple[F64, F64, F64]:
    """Best pose of one view under a fixed lens: rotation, shift, residuals (n, 2)."""
    free = _Free(np.zeros((9, 0)), half_mm, np.eye(5))
    points = free.points(view.board, np.zeros(5) if shape is None else shape)
    pose = pose_of(homography(view.board, view.pixels), theta)
    weight = view.weight
    damping, cost = 1e-3, np.inf
    for _ in range(60):
        seen, _, by_pose, _ = project_board(theta, *pose, points)
        e = view.pixels - seen
        b = by_pose.reshape(-1, 6) * np.repeat(np.sqrt(weight), 2)[:, None]
        g = b.T @ (e.ravel() * np.repeat(np.sqrt(weight), 2))
        n = b.T @ b
        cost = float(np.sum(weight[:, None] * e * e))
        moved = False
        while damping < 1e8:
            d = scaled_solve(n + damping * np.diag(np.diag(n)), g)
            new = (rotation(d[:3]) @ pose[0], pose[1] + d[3:])
            p = points @ new[0].T + new[1]
            new_cost = (
                np.inf
                if np.any(p[:, 2] <= 0)
                else float(np.sum(weight[:, None] * (view.pixels - distort(p[:, :2] / p[:, 2:], theta)) ** 2))
            )
            if new_cost < cost:
                moved, pose, damping = True, new, max(damping / 8, 1e-12)
                break
            damping *= 8
        if not moved or (cost - new_cost) < 1e-10 * cost:
            break
    return pose[0], pose[1], view.pixels - project_board(theta, *pose, points)[0]


def _start(views: list[View], size: tuple[int, int], start: Bundle | None) -> tuple[F64, F64, list[Pose]]:
    if start is not None:
        return start.theta.copy(), start.shape.copy(), list(zip(start.rotations, start.shifts, strict=True))
    hs = [homography(v.board, v.pixels) for v in views]
    f = first_focal(hs, size)
    if not np.isfinite(f):
        f = float(max(size))
    theta = np.array([f, f, (size[0] - 1) / 2, (size[1] - 1) / 2, 0, 0, 0, 0, 0])
    return theta, np.zeros(5), [pose_of(h, theta) for h in hs]


def _cost(views: list[View], theta: F64, poses: list[Pose], free: _Free, shape: F64) -> float:
    total = 0.0
    for v, (r, t) in zip(views, poses, strict=True):
        p = free.points(v.board, shape) @ r.T + t
        if np.any(p[:, 2] <= 0):
            return float("inf")
        e = v.pixels - distort(p[:, :2] / p[:, 2:], theta)
        total += float(np.sum(v.weight[:, None] * e * e))
    return total


def _normal(view: View, theta: F64, pose: Pose, free: _Free, shape: F64) -> Block:
    """Parts of the normal equations: A'A, B'B, A'B, A'e, B'e with A by lens and board, B by the pose."""
    seen, by_theta, by_pose, by_board = project_board(theta, *pose, free.points(view.board, shape))
    root = np.repeat(np.sqrt(view.weight), 2)
    e = (view.pixels - seen).ravel() * root
    a = by_theta.reshape(-1, 9) @ free.columns
    if free.half_mm:
        by_shape = (by_board @ shape_basis(view.board, free.half_mm)).reshape(-1, 5)
        a = np.hstack([a, by_shape @ free.shapes])
    a, b = a * root[:, None], by_pose.reshape(-1, 6) * root[:, None]
    return a.T @ a, b.T @ b, a.T @ b, a.T @ e, b.T @ e


def _solve(blocks: list[Block], damping: float) -> tuple[F64, list[F64]]:
    m = blocks[0][0].shape[0]
    s, g = np.zeros((m, m)), np.zeros(m)
    for aa, bb, ab, ae, be in blocks:
        w = np.linalg.solve(bb + damping * np.diag(np.diag(bb)), ab.T)
        s += aa + damping * np.diag(np.diag(aa)) - ab @ w
        g += ae - w.T @ be
    step = scaled_solve(s, g)
    turns = [
        np.asarray(np.linalg.solve(bb + damping * np.diag(np.diag(bb)), be - ab.T @ step), np.float64)
        for _, bb, ab, _, be in blocks
    ]
    return step, turns


def scaled_solve(s: F64, g: F64) -> F64:
    """Solve a symmetric system whose unknowns have very different units. Raises LinAlgError."""
    d = np.sqrt(np.diag(s))
    if not np.all(d > 0):
        raise np.linalg.LinAlgError("a parameter is not determined")
    return np.asarray(np.linalg.solve(s / np.outer(d, d), g / d) / d)


def scaled_inverse(s: F64) -> F64:
    """Inverse of a positive definite matrix with very different units. Raises LinAlgError if it is not."""
    d = np.sqrt(np.diag(s))
    if not np.all(d > 0):
        raise np.linalg.LinAlgError("a parameter is not determined")
    inv = np.linalg.inv(np.linalg.cholesky(s / np.outer(d, d)))
    return np.asarray(inv.T @ inv / np.outer(d, d))


def reduced(
    views: list[View],
    theta: F64,
    poses: list[Pose],
    columns: F64,
    half_mm: float | None = None,
    shapes: F64 | None = None,
) -> tuple[list[F64], list[F64]]:
    """Each view's share (m, m) of the normal matrix of lens and board, poses eliminated, and its right-hand side (m,).

    columns, shapes, half_mm : as for `fit`; the board's shape is taken as flat and square. In units of a corner's
    variance: both are to be divided by it.
    """
    free = _Free(columns, half_mm, np.eye(5) if shapes is None else shapes)
    parts, scores = [], []
    for v, pose in zip(views, poses, strict=True):
        aa, bb, ab, ae, be = _normal(v, theta, pose, free, np.zeros(5))
        w = np.linalg.solve(bb, ab.T)
        parts.append(aa - ab @ w)
        scores.append(ae - w.T @ be)
    return parts, scores


def _result(views: list[View], theta: F64, shape: F64, poses: list[Pose], free: _Free) -> Bundle:
    m = free.count
    parts, scores = [], []
    residuals, squares, count = [], 0.0, 0.0
    for v, pose in zip(views, poses, strict=True):
        aa, bb, ab, ae, be = _normal(v, theta, pose, free, shape)
        w = np.linalg.solve(bb, ab.T)
        parts.append(aa - ab @ w)
        scores.append(ae - w.T @ be)
        e = v.pixels - project_board(theta, *pose, free.points(v.board, shape))[0]
        residuals.append(e)
        squares += float(np.sum(v.weight[:, None] * e * e))
        count += 2 * float(np.sum(v.weight))
    freedom = count - m - 6 * len(views)
    if freedom <= 0:
        raise np.linalg.LinAlgError("fewer corners than unknowns")
    sigma = float(np.sqrt(squares / freedom))
    normal = np.sum(parts, axis=0) if m else np.zeros((0, 0))
    model = scaled_inverse(normal) * max(sigma, LEAST_SIGMA_PX) ** 2
    covariance, inflation = between_views(normal, parts, scores, model)
    k = free.columns.shape[1]
    shape_covariance = np.zeros((5, 5))
    if free.half_mm:
        shape_covariance = np.asarray(free.shapes @ covariance[k:, k:] @ free.shapes.T)
    return Bundle(
        theta,
        shape,
        free.columns @ covariance[:k, :k] @ free.columns.T,
        shape_covariance,
        tuple(r for r, _ in poses),
        tuple(t for _, t in poses),
        tuple(residuals),
        sigma,
        inflation,
    )
