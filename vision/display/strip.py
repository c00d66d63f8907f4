"""The strip that a row of figures is read from: slant, tilt and height taken out, light figures on a dark ground."""

from __future__ import annotations

import cv2
import numpy as np

from shared.numerics.arrays import F32, F64, U8

TALL, OVER = 32, 12
"""Height of the figures in a strip, and of the room over and under them, pixels."""
HIGH, WIDE = TALL + 2 * OVER, 8 * TALL
"""Shape of a strip, pixels."""
COLUMN = 4
"""Pixels from one place that is looked at to the next."""
FLOOR = 2.0
"""Grey levels below which a difference is the noise of 8-bit pixels and not spread to full contrast."""


def levelled(strip: U8) -> F32:
    """(2, HIGH, WIDE) what the network sees: contrast of the whole strip, and contrast of each neighbourhood."""
    grey = strip.astype(np.float32)
    some = np.sort(strip[::2, ::2], axis=None)
    low, middle, top = (float(some[int(q * (some.size - 1))]) for q in (0.02, 0.5, 0.98))
    whole = np.clip((grey - middle) / (0.5 * (top - low) + FLOOR), -2.5, 2.5)
    return np.stack([whole, evened(grey, 0.5 * TALL)])


def evened(grey: F32, reach: float, floor: float = FLOOR) -> F32:
    """Differences from the mean of the neighbourhood, in its standard deviations. reach : its size, pixels."""
    far = grey - cv2.GaussianBlur(grey, (0, 0), reach)
    spread = np.sqrt(cv2.GaussianBlur(far * far, (0, 0), reach)) + floor
    return np.asarray(np.clip(far / spread, -3, 3), dtype=np.float32)


def to_picture(middle: tuple[float, float], tall: float, slant: float, tilt: float, squat: float = 1.0) -> F64:
    """(2, 3) affine map from a strip's pixels to the picture's, for a row about `middle` (pixels; angles in degrees).

    squat : share of `tall` that is taken for the height, the width being left as it is.
    """
    t, lean = np.radians(tilt), np.tan(np.radians(slant))
    along, down = np.array([np.cos(t), np.sin(t)]), np.array([-np.sin(t), np.cos(t)])
    turn = tall / TALL * np.column_stack([along, squat * (down - lean * along)])
    return np.column_stack([turn, np.asarray(middle) - turn @ [WIDE / 2, OVER + TALL / 2]])


def cut(picture: U8, way: F64, light: bool) -> U8:
    """The strip (HIGH, WIDE) that `way` (from `to_picture`) leads to, inverted where figures are dark."""
    shrink = min(1.25 * TALL / max(float(np.linalg.norm(way[:, 1])), 1e-6), 1.0)
    if shrink < 1:
        size = (max(round(picture.shape[1] * shrink), 1), max(round(picture.shape[0] * shrink), 1))
        scale = np.array([size[0] / picture.shape[1], size[1] / picture.shape[0]])[:, None]
        picture, way = np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), dtype=np.uint8), way * scale
    strip = cv2.warpAffine(picture, way, (WIDE, HIGH), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                           borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
    return np.asarray(strip if light else 255 - strip, dtype=np.uint8)
