"""Did a camera on a tripod stay where it was? Told from what stands still in the photo: background and string.

A camera that turns (or refocuses) moves the picture of everything alike, however far away: three angles and a
change of focal length, fitted to the shifts of patches of the background, most of which must agree. A camera
that is carried sideways moves near and far things differently and cannot be told from a turn by a single
picture; so a shift beyond MOVED_PX ends the comparison, and below it half of the turn found is carried as
uncertain.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.lens_model import distort, undistort
from vision.scene import rotation_of
from vision.shifts import Shift, patch_shifts, patches

F64 = NDArray[np.float64]
U8 = NDArray[np.uint8]

MOST_PATCHES, LEAST_PATCHES = 160, 15
MOVED_PX = 0.25
"""Shift of the background, pixels at 2000 across, beyond which the camera counts as moved: sideways 0.3 mm, of
which a near and a far background could make 0.005 degrees of turn."""
AGREE = 0.5
"""Least share of the patches that must follow one movement of the camera."""
CLEAR = 3.0
"""How many times a pixel's noise a patch's own contrast must be."""
REACH_PX = 12.0
"""How far a bumped camera is still followed, so that the movement can be told."""


@dataclass(frozen=True)
class Background:
    """Patches of the first photo that stand still. centres : (n, 2). patterns : (n, k). half : of a patch, pixels."""

    centres: F64
    patterns: F64
    half: int


@dataclass(frozen=True)
class Stillness:
    """What the background says of the camera since the first photo.

    turn : (3,) rad about the camera's axes. zoom : relative change of focal length. covariance : (4, 4) of both.
    shift_px : the largest shift of the picture's corners that they make. u_px : scatter of one patch. patches : that
    agree. reason : why the camera cannot be taken as still, or empty.
    """

    turn: F64
    zoom: float
    covariance: F64
    shift_px: float
    u_px: float
    patches: int
    reason: str

    @property
    def rotation(self) -> F64:
        """(3, 3) from the first camera frame to this one."""
        return rotation_of(self.turn)


def find_background(gray: U8, keep_out: NDArray[np.uint8]) -> Background:
    """Distinct places outside `keep_out` ((h, w), non-zero where the rib and its string are), well spread."""
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
    patterns, inside = patches(gray, centres, half)
    clear = inside & (patterns.std(1) > CLEAR * _noise(gray))
    return Background(centres[clear], patterns[clear], half)


def _noise(gray: U8) -> float:
    """Standard deviation of one pixel, from second differences that flat and evenly shaded places leave none of."""
    g = gray.astype(np.int16)
    twice = g[1:, 1:] - g[:-1, 1:] - g[1:, :-1] + g[:-1, :-1]
    return 1.4826 * float(np.median(np.abs(twice))) / 2


def judge(background: Background, gray: U8, theta: F64, width: int) -> Stillness:
    """Hold the background of the first photo against another photo of the same size."""
    none = np.zeros(3), 0.0, np.full((4, 4), np.nan)
    if len(background.centres) < LEAST_PATCHES:
        return Stillness(*none, np.nan, np.nan, len(background.centres), "there is too little to see behind the rib to tell "
                         "whether the camera stayed still: put something with corners there, outside the rib")
    x: F64 = np.zeros(4)
    seen = _followed(background, gray, np.zeros(2))
    if seen.good.mean() < AGREE:
        seen_far, start = _far(background, gray)
        if seen_far.good.mean() < AGREE:
            return Stillness(*none, np.nan, np.nan, int(seen.good.sum()), "the background is not where it was: the camera was "
                             "moved, or something large stands in its way")
        moved = float(np.hypot(*(start + np.median(seen_far.px[seen_far.good], axis=0))))
        return Stillness(*none, moved, np.nan, int(seen_far.good.sum()), _moved(moved))
    weight = seen.good.astype(np.float64)
    jac = _jacobian(background.centres, theta)
    scale = 0.0
    for _ in range(12):
        w = np.repeat(np.sqrt(weight) / np.maximum(seen.sigma_px, 1e-6), 2)
        shown = np.where(w > 0, w * seen.px.ravel(), 0.0)
        x = np.asarray(np.linalg.lstsq(jac.reshape(-1, 4) * w[:, None], shown, rcond=None)[0], dtype=np.float64)
        off = np.linalg.norm(seen.px - jac @ x, axis=1) / seen.sigma_px
        scale = max(1.0, float(np.median(off[seen.good])) / 1.1774)  # Rayleigh's median for two coordinates
        weight = np.clip(1 - (off / (4.7 * scale)) ** 2, 0, None) ** 2 * seen.good
    agree = (off < 4.7 * scale) & seen.good
    if agree.sum() < max(LEAST_PATCHES, AGREE * len(agree)):
        return Stillness(*none, np.nan, np.nan, int(agree.sum()), "the background does not stand still as a whole: the camera "
                         "was moved, or much behind the rib has moved")
    w = np.repeat(np.sqrt(weight) / np.maximum(seen.sigma_px * scale, 1e-6), 2)
    a = jac.reshape(-1, 4) * w[:, None]
    # bisquare weights at the normal cost 5 % of efficiency (Maronna, Martin and Yohai 2006, table 2.2)
    covariance = np.asarray(np.linalg.inv(a.T @ a) * 1.05, dtype=np.float64)
    h, w_px = gray.shape
    corners = np.array([[0, 0], [w_px, 0], [0, h], [w_px, h], [w_px / 2, h / 2]], dtype=np.float64)
    shift = float(np.linalg.norm(_jacobian(corners, theta) @ x, axis=1).max())
    u_px = float(np.median(seen.sigma_px[agree])) * scale
    far = shift > MOVED_PX * width / 2000
    return Stillness(x[:3], float(x[3]), covariance, shift, u_px, int(agree.sum()), _moved(shift) if far else "")


def _moved(px: float) -> str:
    return f"the camera was moved or refocused: the background lies {px:.1f} pixels from where it was"


def _followed(background: Background, gray: U8, start: F64) -> Shift:
    """Shifts in two rounds, the second from where the first found each patch."""
    at = np.broadcast_to(start, background.centres.shape)
    total = np.zeros_like(background.centres)
    good = np.ones(len(at), dtype=bool)
    got = Shift(total, np.full(len(at), np.inf), good)
    for _ in range(3):
        values, inside = patches(gray, background.centres + at + total, background.half)
        got = patch_shifts(background.patterns, values)
        good = good & got.good & inside
        total = total + np.where(good[:, None], got.px, 0.0)
    return Shift(total, np.where(good, got.sigma_px, np.inf), good)


def _far(background: Background, gray: U8) -> tuple[Shift, F64]:
    """The best common start within REACH_PX, for a camera that was bumped."""
    steps = np.arange(-REACH_PX, REACH_PX + 1, 2.0)
    starts = [np.array([i, j]) for i in steps for j in steps]

    def likeness(start: F64) -> float:
        values, _ = patches(gray, np.rint(background.centres + start), background.half)
        a = values - values.mean(1, keepdims=True)
        b = background.patterns - background.patterns.mean(1, keepdims=True)
        return float(np.median((a * b).sum(1) / np.sqrt((a * a).sum(1) * (b * b).sum(1) + 1e-9)))

    best = max(starts, key=likeness)
    return _followed(background, gray, best), best


def _jacobian(pixels: F64, theta: F64, step: float = 1e-5) -> F64:
    """(n, 2, 4) shift of pixels by the camera's turn about its axes (rad) and by relative change of focal length."""
    rays = np.c_[undistort(pixels, theta, steps=12), np.ones(len(pixels))]

    def seen(x: F64) -> F64:
        moved = rays @ rotation_of(x[:3]).T
        t = theta.copy()
        t[:2] *= 1 + x[3]
        return distort(moved[:, :2] / moved[:, 2:], t)

    return np.stack([(seen(e) - seen(-e)) / (2 * step) for e in step * np.eye(4)], axis=-1)
