"""Straightened strips: a fitted line laid out flat from the full photo, stretched across.

Where the fit is right the drawn line runs dead level along the strip's middle; waviness, a wrong
turn or a jump to another line shows at a glance, at many times what the eye sees in the photo.
"""

from __future__ import annotations

import cv2
import numpy as np

from shared.numerics.arrays import F64, U8


def straightened(gray: U8, path: F64, width: int, height: int, half_px: float) -> U8:
    """A strip (height, width) uint8 along `path` (n, 2), full-photo pixels, from `half_px` on one side
    to `half_px` on the other; left to right in the photo for a lying line, top to bottom for a standing one.

    Brightness is stretched to the strip's own range.

    gray : the full photo (h, w). width, height : of the strip, pixels.
    """
    path = path[np.argsort(path[:, 0 if _lying(path) else 1], kind="stable")]
    where = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
    at = np.linspace(0.0, where[-1], width)
    centre = np.stack([np.interp(at, where, path[:, k]) for k in (0, 1)], axis=1)
    along = np.gradient(centre, axis=0)
    along /= np.maximum(np.linalg.norm(along, axis=1, keepdims=True), 1e-9)
    across = np.stack([-along[:, 1], along[:, 0]], axis=1)
    offsets = np.linspace(-half_px, half_px, height)
    spots = (centre[None] + offsets[:, None, None] * across[None]).astype(np.float32)
    strip = cv2.remap(gray, spots[:, :, 0], spots[:, :, 1], cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    low, high = np.percentile(strip, (0.5, 99.5))
    stretched = np.clip((strip - low) * (255.0 / max(high - low, 8.0)), 0, 255)
    return np.asarray(stretched, dtype=np.uint8)


def length_px(path: F64) -> float:
    """Length of a polyline.

    path : (n, 2) pixels.
    """
    return float(np.linalg.norm(np.diff(path, axis=0), axis=1).sum())


def _lying(path: F64) -> bool:
    span = np.abs(path[-1] - path[0])
    return bool(span[0] >= span[1])
