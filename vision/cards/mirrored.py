"""A mirrored photo: the station card's markers are there, but turned inside out.

A front camera, or a program, may save what a mirror would show. Nose-up is nose-up in a mirror too, but left
and right of the wing, the arrow and the numbers are not what they seem, and the lens profile does not belong
to such pixels. So it is not measured, but named.
"""

from __future__ import annotations

import cv2
import numpy as np

from shared.numerics.arrays import U8
from vision.cards.detect import find_cards

REASON = (
    "the photo is mirrored (a front camera's, or flipped afterwards): take it with the rear camera, or flip it back "
    "before measuring"
)


def is_mirrored(gray: U8) -> bool:
    """Whether a station card shows in the mirror image of a picture (h, w). Worth asking where none was found.

    gray : upright, 8 bits.
    """
    return bool(find_cards(np.ascontiguousarray(cv2.flip(gray, 1), dtype=np.uint8)))
