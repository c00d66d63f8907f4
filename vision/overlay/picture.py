"""The picture under the overlay: the photo, reduced quickly and kept sharp."""

from __future__ import annotations

from typing import Protocol

import cv2
import numpy as np
from numpy.typing import NDArray

from shared.numerics.arrays import U8

LEAST_WIDTH = 800
"""Smaller photos are enlarged to this, so that the lettering has pixels to stand on."""


class PictureLike(Protocol):
    """What the overlay needs of a loaded photo (`vision.image.photo.Picture`)."""

    @property
    def gray(self) -> U8:
        """(h, w) uint8, EXIF orientation applied."""

    def small_colour(self) -> U8:
        """(h/4, w/4, 3) BGR uint8, the same orientation."""


def gray_of(source: PictureLike | U8) -> U8:
    """The full picture's brightness, (h, w) uint8, of a loaded photo or a BGR, BGRA or grey array.

    source : array (h, w), (h, w, 3) or (h, w, 4), or what `vision.image.photo` gives.
    """
    if not isinstance(source, np.ndarray):
        return source.gray
    array = _to_8_bit(source)
    if array.ndim == 2:
        return array
    code = cv2.COLOR_BGRA2GRAY if array.shape[2] == 4 else cv2.COLOR_BGR2GRAY
    return np.asarray(cv2.cvtColor(array, code), dtype=np.uint8)


def reduced(source: PictureLike | U8, gray: U8, max_width: int) -> U8:
    """The picture as BGR (H, W, 3) uint8 with W = min(max_width, w), but at least LEAST_WIDTH.

    A loaded photo keeps its colours at a quarter of the size only: brightness comes from the full
    picture and colour from the small one, as in the JPEG itself (chroma is coarse there too).

    source : as for `gray_of`. gray : its brightness in full size.
    """
    h, w = gray.shape
    width = min(max_width, max(w, min(LEAST_WIDTH, max_width)))
    size = (width, max(1, round(h * width / w)))
    how = cv2.INTER_AREA if width < w else cv2.INTER_CUBIC
    if isinstance(source, np.ndarray) and source.ndim == 3:
        small = cv2.resize(_to_8_bit(source), size, interpolation=how)
        return np.ascontiguousarray(small[:, :, :3], dtype=np.uint8)
    light = cv2.resize(gray, size, interpolation=how)
    if isinstance(source, np.ndarray):
        return np.asarray(cv2.cvtColor(light, cv2.COLOR_GRAY2BGR), dtype=np.uint8)
    chroma = cv2.cvtColor(source.small_colour(), cv2.COLOR_BGR2YCrCb)
    chroma = cv2.resize(chroma, size, interpolation=cv2.INTER_LINEAR)
    chroma[:, :, 0] = light
    return np.asarray(cv2.cvtColor(chroma, cv2.COLOR_YCrCb2BGR), dtype=np.uint8)


def _to_8_bit(array: NDArray[np.generic]) -> U8:
    if array.dtype == np.uint8:
        return np.asarray(array, dtype=np.uint8)
    if array.dtype == np.uint16:
        return np.asarray(np.asarray(array, dtype=np.uint16) >> 8, dtype=np.uint8)
    raise ValueError(f"a picture of {array.dtype} cannot be drawn on; give uint8 or uint16")
