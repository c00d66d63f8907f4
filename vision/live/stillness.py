"""Did a camera on a tripod stay where it was? Told from what stands still in the photo: background and string.

A camera that turns (or refocuses) moves the picture of everything alike, however far away: three angles and a
change of focal length, fitted to the shifts of patches of the background, most of which must agree. A camera
that is carried sideways moves near and far things differently and cannot be told from a turn by a single
picture; so a shift beyond MOVED_PX ends the comparison, and below it what a carry could feign is uncertain: near
things below and far ones above, moved differently, look like a roll.

The movement found is corrected for, never dropped: it enters the rib's fit with this covariance, and what remains is
the component "camera's stillness" of the change. A background that shows little makes it large.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from calibration.lens.model import distort, undistort
from shared.numerics.arrays import F32, F64, U8
from vision.live.shifts import Patches, patch_shifts, patches
from vision.solution.scene import rotation_of

MOST_PATCHES, LEAST_PATCHES = 160, 15
"""Patches looked for at most, for the time it takes, and those that must be there: 15 give 30 equations for 4 unknowns,
so that some of them may be wrong. By judgement."""
MOVED_PX = 0.25
"""Shift of the background, pixels at 2000 across, beyond which the camera counts as moved: sideways 0.3 mm, of
which a near and a far background could make 0.005 degrees of turn."""
SURELY = 4.0
"""How many of its own standard uncertainties such a shift must be as well: a poor background's noise alone can look
like a shift, and makes the change's u large instead."""
NEAR_AND_FAR = 0.5
"""Share by which a carry's shift differs from the middle of the picture to its rim, standard deviation, because of
what stands nearer or farther there: from 3 m in the middle, 2 m or 6 m at the rim (common practice, no source)."""
LEAST_FOLLOWING = 0.5
"""Least share of the patches that must follow one movement of the camera. Robust fits break down where more than half
is something else."""
BLUR_PX, ROUNDS, ENOUGH_PX = 1.3, 10, 0.003
"""Blur before patches are followed, how often they are looked for again, and the step that needs no further one. The
step is about a hundredth of `MOVED_PX`. By judgement."""
CLEAR = 3.0
"""How many times a pixel's noise a patch's own contrast must be. By judgement: noise alone has one, three lie beyond
its chance."""
REACH_PX = 12.0
"""How far a bumped camera is still followed, so that the movement can be reported. A quarter of a degree at 12 megapixels,
by judgement; a camera that moved farther is reported as moved without saying how far."""


@dataclass(frozen=True)
class Background:
    """Patches of the first photo that stand still. centres : (n, 2). patterns : (n, k). half : of a patch, pixels."""

    centres: F64
    patterns: F64
    half: int


@dataclass(frozen=True)
class Stillness:
    """What the background says of the camera since the first photo.

    turn : (3,) rad about the camera's axes. zoom : relative change of focal length. covariance : (4, 4) of both by the
    noise of the patches. carry : (4, 4) added to it, for the shift may be a carry sideways past things near and far.
    shift_px : the largest shift of the picture's corners that they make. patches : that agree. reason : why the
    camera cannot be taken as still, or empty.
    """

    turn: F64
    zoom: float
    covariance: F64
    carry: F64
    shift_px: float
    patches: int
    reason: str

    @classmethod
    def unknown(cls, reason: str, patches: int = 0, shift_px: float = float("nan")) -> Stillness:
        """Where the movement is not known. reason, patches, shift_px : as above."""
        nothing = np.full((4, 4), np.nan)
        return cls(np.zeros(3), 0.0, nothing, nothing, shift_px, patches, reason)

    @property
    def rotation(self) -> F64:
        """(3, 3) from the first camera frame to this one."""
        return rotation_of(self.turn)


def find_background(gray: U8, keep_out: U8) -> Background:
    """Distinct places outside `keep_out` ((h, w), non-zero where the rib and its string are), well spread.

    gray : the first photo (h, w).
    """
    h, w = gray.shape
    half = max(7, round(w / 180))
    shrink = max(1, round(w / 1500))
    small = cv2.resize(gray, (w // shrink, h // shrink), interpolation=cv2.INTER_AREA)
    free = cv2.resize(keep_out, (w // shrink, h // shrink), interpolation=cv2.INTER_NEAREST)
    free = cv2.dilate(free, np.ones((2 * half // shrink + 3,) * 2, np.uint8))
    rim = half // shrink + round(REACH_PX / shrink) + 3
    mask = np.where(free > 0, 0, 255).astype(np.uint8)
    mask[:rim] = mask[-rim:] = 0
    mask[:, :rim] = mask[:, -rim:] = 0
    got = cv2.goodFeaturesToTrack(small, MOST_PATCHES, 0.01, 2.2 * half / shrink, mask=mask, blockSize=5)
    centres = np.empty((0, 2)) if got is None else np.rint((got.reshape(-1, 2).astype(np.float64) + 0.5) * shrink - 0.5)
    if not len(centres):
        return Background(centres, np.empty((0, (2 * half + 1) ** 2)), half)
    patterns, inside = patches(_soft(gray), centres, half)
    clear = inside & (patterns.std(1) > CLEAR * _noise(gray))
    return Background(centres[clear], patterns[clear], half)


def _soft(gray: U8) -> F32:
    """The picture a little blurred: noise in a patch's own gradient would make every shift come out too small."""
    return np.asarray(cv2.GaussianBlur(gray.astype(np.float32), (0, 0), BLUR_PX), dtype=np.float32)


def _noise(gray: U8) -> float:
    """Standard deviation of one pixel, from second differences that flat and evenly shaded places leave none of."""
    g = gray.astype(np.int16)
    twice = g[1:, 1:] - g[:-1, 1:] - g[1:, :-1] + g[:-1, :-1]
    return 1.4826 * float(np.median(np.abs(twice))) / 2


def judge(background: Background, gray: U8, theta: F64, width: int) -> Stillness:
    """Hold the background of the first photo against another photo of the same size.

    background : from `find_background`. gray : the later photo (h, w). theta : (9,) lens parameters. width : of the
    photo, pixels.
    """
    if len(background.centres) < LEAST_PATCHES:
        return Stillness.unknown(
            "there is too little to see behind the rib to tell whether the camera stayed still: put something with "
            "corners there, outside the rib",
            len(background.centres),
        )
    soft = _soft(gray)
    seen = _look(background, soft, np.zeros(2))
    if seen.good.mean() < LEAST_FOLLOWING:
        seen, start = _far(background, soft)
        if seen.good.mean() < LEAST_FOLLOWING:
            return Stillness.unknown(
                "the background is not where it was: the camera was moved, or something large hides it",
                int(seen.good.sum()),
            )
        moved = float(np.hypot(*(start + np.median(seen.px[seen.good], axis=0))))
        return Stillness.unknown(_moved(moved), int(seen.good.sum()), moved)
    jac = _jacobian(background.centres, theta)
    h, w = gray.shape
    corners = _jacobian(np.array([[0, 0], [w, 0], [0, h], [w, h], [w / 2, h / 2]], dtype=np.float64), theta)
    x: F64 = np.zeros(4)
    for _ in range(ROUNDS):
        # looked for where the camera's movement so far puts them: a patch that shows too little of its own shift,
        # for its noise or for being a mere edge, then does no harm
        seen = _look(background, soft, jac @ x)
        step, normal, scale, trust = _fitted(seen, jac)
        x = x + step
        if np.linalg.norm(corners @ step, axis=1).max() < ENOUGH_PX:
            break
    agree = trust > 0
    if agree.sum() < max(LEAST_PATCHES, LEAST_FOLLOWING * len(agree)):
        return Stillness.unknown(
            "the background does not stand still as a whole: the camera was moved, or much behind the rib has moved",
            int(agree.sum()),
        )
    # bisquare weights at the normal cost 5 % of efficiency (Maronna, Martin and Yohai 2006, table 2.2)
    free = 2 * int(agree.sum()) - 4
    # and the scatter that few patches show is uncertain itself: the variance of Student's t
    covariance = np.asarray(np.linalg.inv(normal) * scale**2 * 1.05 * free / (free - 2), dtype=np.float64)
    size, u = _shifts(corners, x, covariance)
    shift = float(size.max())
    told = bool(np.any((size > MOVED_PX * width / 2000) & (size > SURELY * u)))
    carry = _feigned(background.centres, seen.weight * trust[:, None, None], jac, corners, x)
    return Stillness(
        x[:3],
        float(x[3]),
        covariance,
        carry,
        shift,
        int(agree.sum()),
        _moved(shift) if told else "",
    )


def _fitted(seen: Patches, jac: F64) -> tuple[F64, F64, float, F64]:
    """Step (4,) of the camera's movement, its normal matrix, the scatter of the patches over what their noise makes,
    and the bisquare weight (n,) of each patch by its distance, counted in its own covariance; 0 where it disagrees."""
    x: F64 = np.zeros(4)
    normal, scale = np.eye(4), 1.0
    w: F64 = np.zeros(len(seen.good))
    for k in range(10):
        r = seen.px - jac @ x
        far = np.sqrt(np.einsum("ni,nij,nj->n", r, seen.weight, r))
        scale = max(1.0, float(np.median(far[seen.good])) / 1.1774)  # Rayleigh's median
        trust = np.clip(1 - (far / (4.7 * scale)) ** 2, 0, None) ** 2 if k else np.ones(len(far))
        w = np.asarray(trust * seen.good, dtype=np.float64)
        normal = np.einsum("n,nia,nij,njb->ab", w, jac, seen.weight, jac)
        right = np.einsum("n,nia,nij,nj->a", w, jac, seen.weight, seen.px)
        x = np.asarray(np.linalg.lstsq(normal, right, rcond=None)[0], dtype=np.float64)
    return x, normal, scale, w


def _shifts(corners: F64, x: F64, covariance: F64) -> tuple[F64, F64]:
    """(n,) how far the picture's corners have shifted, pixels, and the standard uncertainty of each."""
    shift = corners @ x
    size = np.linalg.norm(shift, axis=1)
    way = np.einsum("nia,ni->na", corners, shift / np.maximum(size, 1e-12)[:, None])
    return size, np.sqrt(np.einsum("na,ab,nb->n", way, covariance, way))


def _feigned(centres: F64, weight: F64, jac: F64, corners: F64, x: F64) -> F64:
    """(4, 4) of the movement that a carry sideways would feign: the shift of the picture's middle, other by
    NEAR_AND_FAR towards each rim and along each axis, put through the patches' own fit."""
    middle = corners[4] @ x
    span = centres - centres.mean(0)
    span = NEAR_AND_FAR * span / np.maximum(np.abs(span).max(0), 1.0)
    normal = np.einsum("nia,nij,njb->ab", jac, weight, jac)
    right = np.einsum("nia,nij,nk,j->ak", jac, weight, span, middle)
    feigned = np.linalg.lstsq(normal, right, rcond=None)[0]
    return np.asarray(feigned @ feigned.T, dtype=np.float64)


def _moved(px: float) -> str:
    return f"the camera was moved or refocused: the background lies {px:.1f} pixels from where it was"


def _look(background: Background, gray: F32, at: F64) -> Patches:
    values, inside = patches(gray, background.centres + at, background.half)
    got = patch_shifts(background.patterns, values, BLUR_PX)
    return Patches(got.px, got.weight * inside[:, None, None], got.good & inside)


def _far(background: Background, gray: F32) -> tuple[Patches, F64]:
    """The best common start within REACH_PX, for a camera that was bumped."""
    steps = np.arange(-REACH_PX, REACH_PX + 1, 2.0)
    starts = [np.array([i, j]) for i in steps for j in steps]

    def likeness(start: F64) -> float:
        values, _ = patches(gray, np.rint(background.centres + start), background.half)
        a = values - values.mean(1, keepdims=True)
        b = background.patterns - background.patterns.mean(1, keepdims=True)
        return float(np.median((a * b).sum(1) / np.sqrt((a * a).sum(1) * (b * b).sum(1) + 1e-9)))

    best = max(starts, key=likeness)
    return _look(background, gray, best), best


def _jacobian(pixels: F64, theta: F64, step: float = 1e-5) -> F64:
    """(n, 2, 4) shift of pixels by the camera's turn about its axes (rad) and by relative change of focal length."""
    rays = np.c_[undistort(pixels, theta, steps=12), np.ones(len(pixels))]

    def seen(x: F64) -> F64:
        moved = rays @ rotation_of(x[:3]).T
        t = theta.copy()
        t[:2] *= 1 + x[3]
        return distort(moved[:, :2] / moved[:, 2:], t)

    return np.stack([(seen(e) - seen(-e)) / (2 * step) for e in step * np.eye(4)], axis=-1)
