"""Are the views different enough, and of one lens? Copies, few poses, and photos of two cameras are named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.lens.bundle import Bundle, View, fit, fit_pose, reduced
from calibration.lens.models import free_columns
from shared.numerics.arrays import F64

COPY_PX = 1.5
"""Corners of two photos nearer to each other than this: one was saved twice, or neither board nor camera moved."""
POSE_SHARE = 0.02
"""Corners that moved by less than this part of the picture's diagonal show the board as before."""
SPLIT = 0.85
"""Two lenses are named where they bring the residuals below this part of one lens's. Measured on real photos by the
two cameras of one rig (tests/data/opencv-doc), 0.5 % apart in focal length: mixed 13 + 13 and 8 + 5 below 0.8, either
camera alone above 0.9."""
FEWEST = 3
"""Photos that a second lens must explain, at least."""
SIMPLE = "f, c, k1, k2"
"""The model of either lens while the photos are sorted: few photos may be left to each."""


@dataclass(frozen=True)
class TwoLenses:
    """Photos that two lenses explain much better. groups : photos of each. focal_px : of each."""

    groups: tuple[tuple[int, ...], tuple[int, ...]]
    focal_px: tuple[float, float]


def gap_px(a: F64, b: F64) -> float:
    """How far the corners (n, 2) of one photo lie from those (m, 2) of another: median to the nearest, pixels."""
    d = np.linalg.norm(a[:, None] - b[None], axis=2)
    return max(float(np.median(d.min(axis=1))), float(np.median(d.min(axis=0))))


def poses_seen(pixels: Sequence[F64], size: tuple[int, int]) -> int:
    """In how many poses that differ the photos show the board. pixels : corners of each (n, 2)."""
    near = POSE_SHARE * float(np.hypot(*size))
    kinds: list[F64] = []
    for p in pixels:
        if all(gap_px(p, k) > near for k in kinds):
            kinds.append(p)
    return len(kinds)


def two_lenses(views: Sequence[View], groups: Sequence[int], size: tuple[int, int], whole: Bundle) -> TwoLenses | None:
    """Whether the photos (`groups`: photo of each view) come from two lenses; None where one does.

    The photos are parted by the way each of them pulls the focal length and the principal point of the common fit,
    then sorted to the lens that fits them better until nothing changes. whole : one lens of the full model: a lens
    whose glass is off centre is well told by two simple ones, and still is one.
    """
    photos = sorted(set(groups))
    if len(photos) < 2 * FEWEST:
        return None
    by_photo = {g: [k for k, h in enumerate(groups) if h == g] for g in photos}
    pull = np.array([_pull([views[k] for k in by_photo[g]], whole, by_photo[g]) for g in photos])
    pull = pull - pull.mean(axis=0)
    axis = np.linalg.svd(pull, full_matrices=False)[2][0]
    side = pull @ axis > np.median(pull @ axis)
    one = min(_fitted(views, by_photo, photos, size), sum(_square(v, whole.theta) for v in views))
    lenses: list[Bundle] = []
    for _ in range(6):
        if min(int(side.sum()), int((~side).sum())) < FEWEST:
            return None
        try:
            lenses = [
                fit(
                    [views[k] for g, s in zip(photos, side, strict=True) if s == way for k in by_photo[g]], size, SIMPLE
                )
                for way in (False, True)
            ]
        except np.linalg.LinAlgError:
            return None
        cost = np.array(
            [[sum(_square(views[k], b.theta) for k in by_photo[g]) for b in lenses] for g in photos], dtype=np.float64
        )
        sorted_ = cost[:, 1] < cost[:, 0]
        if np.array_equal(sorted_, side):
            break
        side = sorted_
    if cost.min(axis=1).sum() > SPLIT**2 * one:
        return None
    parts = tuple(tuple(g for g, s in zip(photos, side, strict=True) if s == way) for way in (False, True))
    return TwoLenses((parts[0], parts[1]), (float(lenses[0].theta[0]), float(lenses[1].theta[0])))


def _fitted(views: Sequence[View], by_photo: dict[int, list[int]], photos: list[int], size: tuple[int, int]) -> float:
    lens = fit([views[k] for g in photos for k in by_photo[g]], size, SIMPLE)
    return sum(_square(views[k], lens.theta) for g in photos for k in by_photo[g])


def _square(view: View, theta: F64) -> float:
    e = fit_pose(view, theta)[2]
    return float(np.sum(view.weight[:, None] * e * e))


def _pull(views: list[View], whole: Bundle, index: list[int]) -> F64:
    """(3,) where one photo alone would move f and c, in parts of what the common fit allows, others as they are."""
    columns = free_columns("f, c")
    poses = [(whole.rotations[k], whole.shifts[k]) for k in index]
    parts, scores = reduced(views, whole.theta, poses, columns)
    normal = np.sum(parts, axis=0)
    scale = np.sqrt(np.maximum(np.diag(normal), 1e-12))
    return np.asarray(np.linalg.lstsq(normal / scale, np.sum(scores, axis=0), rcond=1e-6)[0])
