"""How far small parts of a picture have shifted between two photos: strips across a line or edge, and patches.

Each part of the first photo is its own pattern. In the later photo it is looked for with brightness and contrast
free, J(x) = g I(x - d) + o (strips: + s x as well), by least squares (Lucas and Kanade 1981, with the gradient
of the first photo: Baker and Matthews 2004, inverse compositional). Pen, ink, grain and lens are the same in both
photos, so what they do to a place cancels; the two photos' noise does not.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from scipy.interpolate import CubicSpline
from scipy.ndimage import gaussian_filter

from shared.numerics.arrays import F32, F64, U8, Bools

Gray = U8 | F32

LEAST_CORRELATION = 0.85
"""Least correlation between a part and its find; less is something else (a shadow, a hand). By judgement."""
LEAST_GAIN = 0.2
"""Least contrast of a part over what it had in the first photo. By judgement: in a fifth of the light noise decides."""
FARTHEST_PX = 2.5
"""Most that a part may lie from where it was expected: the gradients that the shift is found by reach no farther (by
judgement)."""
SAMPLING_FLOOR_PX = 0.004
"""What sampling between pixels leaves in a shift beyond the noise of the pixels. By judgement."""


@dataclass(frozen=True)
class Shift:
    """Of strips. px : (n,) how far each lies, across itself, from where it was looked for. sigma_px, good : (n,)."""

    px: F64
    sigma_px: F64
    good: Bools


@dataclass(frozen=True)
class Patches:
    """Of patches. px : (n, 2) how far each lies from where it was looked for. weight : (n, 2, 2) inverse covariance,
    1/px^2, zero for those not found. good : (n,)."""

    px: F64
    weight: F64
    good: Bools


def strips(gray: U8, run: F64, half_px: int) -> tuple[F64, Bools]:
    """(n, k) mean profiles across n short pieces, one pixel a step, k = 2 half_px + 1; which lie in the picture.

    run : (n, m, 2) pixels along each piece. Across: 90 degrees from the piece's own way, clockwise as seen.

    gray : (h, w). half_px : how far to either side.
    """
    normal = across(run)
    off = np.arange(-half_px, half_px + 1, dtype=np.float64)
    at = run[:, :, None, :] + off[:, None] * normal[:, None, None, :]
    values = _at(gray, at.reshape(len(at), -1, 2)).reshape(at.shape[:3])
    return values.mean(1), _inside(gray, at.reshape(len(at), -1, 2))


def across(run: F64) -> F64:
    """(n, 2) unit vectors across pieces (n, m, 2).

    run : pixels along each piece.
    """
    along = run[:, -1] - run[:, 0]
    along = along / np.linalg.norm(along, axis=1, keepdims=True)
    return np.stack([-along[:, 1], along[:, 0]], axis=1)


def strip_shifts(first: F64, later: F64) -> Shift:
    """Shift of profiles (n, k) against those of the first photo, pixels across.

    first : profiles in the first photo. later : in the later one, where the piece was expected.
    """
    x = np.linspace(-1.0, 1.0, first.shape[1])
    slope = _slope(first, 1)
    design = np.stack([slope, first, np.ones_like(first), np.broadcast_to(x, first.shape)], axis=-1)
    px, covariance, good = _solved(design, later, 1)
    sigma = np.sqrt(np.where(good, covariance[:, 0, 0], np.inf))
    return Shift(px[:, 0], np.hypot(sigma, SAMPLING_FLOOR_PX), good)


def patches(gray: Gray, centres: F64, half_px: int) -> tuple[F64, Bools]:
    """(n, k) squares round (n, 2) pixels, row by row; which lie in the picture.

    gray : (h, w), uint8 or float32. centres : (n, 2). half_px : k = (2 half_px + 1)^2.
    """
    y, x = np.mgrid[-half_px : half_px + 1, -half_px : half_px + 1]
    at = centres[:, None, :] + np.stack([x.ravel(), y.ravel()], axis=1)
    return _at(gray, at), _inside(gray, at)


def patch_shifts(first: F64, later: F64, blur_px: float) -> Patches:
    """Shift of squares (n, k) against those of the first photo, pixels (x, y). An edge tells one direction only.

    blur_px : of both pictures, before the squares were taken: it leaves noise of neighbours alike, and a fit that took
    it for white would be several times too sure of itself.

    first : squares of the first photo. later : of the later one, at the same pixels.
    """
    side = round(first.shape[1] ** 0.5)
    square = first.reshape(-1, side, side)
    gy, gx = _slope(square, 1), _slope(square, 2)
    flat = (len(first), -1)
    design = np.stack([gx.reshape(flat), gy.reshape(flat), first, np.ones_like(first)], axis=-1)
    px, covariance, good = _solved(design, later, 2)
    covariance = _of_alike_noise(design, covariance, side, blur_px)
    weight = np.linalg.inv(np.where(good[:, None, None], covariance, np.eye(2)) + SAMPLING_FLOOR_PX**2 * np.eye(2))
    return Patches(px, np.where(good[:, None, None], weight, 0.0), good)


def _solved(design: F64, later: F64, axes: int) -> tuple[F64, F64, Bools]:
    """Gradient, pattern and offset fitted to the later photo: later = g first - g d . gradient + o. Shifts (n, axes),
    their covariance and which are to be believed."""
    normal = np.einsum("nki,nkj->nij", design, design)
    normal += 1e-6 * np.eye(design.shape[2]) * (1.0 + np.trace(normal, axis1=1, axis2=2))[:, None, None] * 1e-3
    inverse = np.linalg.inv(normal)
    fit = np.einsum("nij,nkj,nk->ni", inverse, design, later)
    left = later - np.einsum("nki,ni->nk", design, fit)
    gain = fit[:, axes]
    with np.errstate(divide="ignore", invalid="ignore"):
        px = -fit[:, :axes] / gain[:, None]
        spread = (left * left).sum(1) / max(design.shape[1] - design.shape[2], 1)
        covariance = inverse[:, :axes, :axes] * (spread / gain**2)[:, None, None]
        alike = 1.0 - np.var(left, axis=1) / np.maximum(np.var(later, axis=1), 1e-9)
    good = (
        (gain > LEAST_GAIN)
        & (alike > LEAST_CORRELATION**2)
        & np.isfinite(px).all(1)
        & (np.abs(px).max(1) < FARTHEST_PX)
    )
    return np.where(good[:, None], px, 0.0), covariance, good


def _of_alike_noise(design: F64, covariance: F64, side: int, blur_px: float) -> F64:
    """(n, 2, 2) covariance of shifts for noise whose correlation at distance r is exp(-r^2 / 4 b^2), as white noise has
    after a Gaussian blur b: (D'D)^-1 D'CD (D'D)^-1 (Aitken 1935) instead of the (D'D)^-1 that `covariance` is made of."""
    inverse = np.linalg.inv(np.einsum("nki,nkj->nij", design, design) + 1e-9 * np.eye(design.shape[2]))
    square = design.reshape(len(design), side, side, -1)
    wide = (0, blur_px * 2**0.5, blur_px * 2**0.5, 0)
    alike = gaussian_filter(square, wide, mode="constant", truncate=6.0) * 4 * np.pi * blur_px**2
    middle = np.einsum("nki,nkj->nij", design, alike.reshape(design.shape))
    full = (inverse @ middle @ inverse)[:, :2, :2]
    noise = covariance[:, 0, 0] / np.maximum(inverse[:, 0, 0], 1e-30)
    # the fit takes more of such noise than of white: its residuals have k - tr((D'D)^-1 D'CD) degrees of freedom
    k, axes = design.shape[1:]
    noise = noise * (k - axes) / np.maximum(k - np.trace(inverse @ middle, axis1=1, axis2=2), 0.1 * k)
    return np.asarray(full * noise[:, None, None], dtype=np.float64)


def _slope(values: F64, axis: int) -> F64:
    """Derivative by a spline: differences of neighbours fall short by a third where lines are a pixel or two wide,
    and all shifts with their noise would come out too large by as much."""
    x = np.arange(values.shape[axis])
    return np.asarray(CubicSpline(x, values, axis=axis)(x, 1), dtype=np.float64)


def _at(gray: Gray, at: F64) -> F64:
    flat = np.ascontiguousarray(at.astype(np.float32))
    return np.asarray(
        cv2.remap(gray, flat[..., 0], flat[..., 1], cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_REPLICATE),
        dtype=np.float64,
    )


def _inside(gray: Gray, at: F64) -> Bools:
    h, w = gray.shape
    return np.asarray((at.min(1) > 1).all(1) & (at[..., 0].max(1) < w - 2) & (at[..., 1].max(1) < h - 2))
