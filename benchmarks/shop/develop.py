"""From linear light to the photo's bytes: exposure, blur, noise, tone curve, sharpening."""

from __future__ import annotations

import math
from functools import cache

import cv2
import numpy as np

from shared.numerics.arrays import F32, U8
from shop.canvas import WINDOW_PX
from shop.scene import Scene

_BAND = 160
_HALO = 24


@cache
def _tone() -> F32:
    """sRGB encoding (IEC 61966-2-1) over 0 to 1 in 65536 steps."""
    v = np.linspace(0, 1, 65536)
    return np.where(v <= 0.0031308, 12.92 * v, 1.055 * np.maximum(v, 1e-9) ** (1 / 2.4) - 0.055).astype(np.float32)


def encode(linear: F32) -> F32:
    """sRGB values, 0 to 1, of linear light."""
    return np.take(_tone(), (np.clip(linear, 0, 1) * np.float32(65535) + np.float32(0.5)).astype(np.uint16))


def decode(bgr: U8) -> F32:
    """Linear RGB light of an sRGB picture in BGR."""
    v = np.arange(256) / 255
    table = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4).astype(np.float32)
    return np.asarray(table[bgr[..., ::-1]], np.float32)


def develop(light: F32, scene: Scene, rng: np.random.Generator) -> U8:
    """(h, w, 3) uint8 BGR of linear RGB light (h, w, 3); `light` is used up."""
    h, w = light.shape[:2]
    light *= np.float32(scene.exposure / max(float(np.percentile(light[::8, ::8], 99.5)), 1e-6))
    pool = rng.standard_normal(min(1 << 21, 4 * h * w), dtype=np.float32)
    starts = [int(v) for v in np.asarray(rng.random((h,)) * (len(pool) // 2), np.int64)]
    # strokes and edges were seen through a window already; a box of one pixel is within the blur asked for
    blur = math.sqrt(max(scene.blur_px**2 + 1 / 12 - WINDOW_PX**2, 0.0))
    kernel = _motion(scene.motion_px, scene.motion_deg)
    out = np.empty((h, w, 3), np.uint8)
    for y0 in range(0, h, _BAND):
        top, bottom = max(y0 - _HALO, 0), min(y0 + _BAND + _HALO, h)
        part = light[top:bottom].copy()
        if kernel is not None:
            part = np.asarray(cv2.filter2D(part, -1, kernel, borderType=cv2.BORDER_REPLICATE), np.float32)
        if blur > 0:
            part = np.asarray(cv2.GaussianBlur(part, (0, 0), blur), np.float32)
        if scene.noise > 0:
            sigma = np.sqrt(np.clip(part, 0, 2) * np.float32(4e-4) + np.float32(2e-5)) * np.float32(scene.noise)
            for k in range(bottom - top):  # noise by row, so that the bands' seams agree
                start = starts[top + k]
                sigma[k] *= np.resize(pool[start : start + 3 * w], (w, 3))
            part += sigma
        shown = encode(part)
        if scene.sharpen > 0:
            soft = cv2.GaussianBlur(shown, (0, 0), 1.2)
            shown = np.asarray(cv2.addWeighted(shown, 1 + scene.sharpen, soft, -scene.sharpen, 0), np.float32)
        piece = shown[y0 - top : y0 - top + min(_BAND, h - y0)]
        out[y0 : y0 + len(piece)] = cv2.convertScaleAbs(np.clip(piece, 0, 1), alpha=255)[..., ::-1]
    return out


def _motion(length: float, angle_deg: float) -> F32 | None:
    """A straight smear of this length, pixels, centred; None for none."""
    if length <= 0:
        return None
    n = 2 * int(np.ceil(length / 2)) + 3
    y, x = np.mgrid[:n, :n] - (n - 1) / 2
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    along, off = x * c - y * s, x * s + y * c
    k = np.clip(length / 2 - np.abs(along) + 0.5, 0, 1) * np.clip(1 - np.abs(off), 0, 1)
    return np.asarray(k / k.sum(), np.float32)
