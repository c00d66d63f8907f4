"""Ridges, not edges: how much darker (or lighter) a thin stripe is than *both* of its sides.

The lesser of the two sides counts, so the edge of a board, a tape or a straightedge gives nothing,
however strong; a pen line gives its whole depth. (The second derivative of Steger 1998 responds to
both, which is why it is not used for finding here.)
"""

from __future__ import annotations

import cv2
import numpy as np

from shared.numerics.arrays import F32, U8

_BLOCK = 64
"""Rows that are worked on at a time. Speed only."""


def level_ridges(image: U8 | F32, reach_px: tuple[int, ...], along_px: int) -> tuple[F32, F32]:
    """Nearly horizontal stripes in a picture.

    Parameters
    ----------
    image : (h, w) grey. reach_px : distances at which the sides are looked at, rows; a stripe up to about
    1.5 times a reach wide is seen. along_px : length of the running mean along the stripe.

    Returns
    -------
    dark, light : (h, w) relative depth of stripes darker and lighter than both sides; negative where none.
    """
    smooth = cv2.blur(image, (along_px, 1)).astype(np.float32) if along_px > 1 else image.astype(np.float32)
    most = max(reach_px)
    rows = cv2.copyMakeBorder(smooth, most, most, 0, 0, cv2.BORDER_REPLICATE)
    dark, light = np.full_like(smooth, -np.inf), np.full_like(smooth, -np.inf)
    for start in range(0, len(smooth), _BLOCK):  # a few rows at a time stay in the processor's own memory
        part = slice(start, start + _BLOCK)
        middle = smooth[part]
        for reach in reach_px:
            above, below = (rows[start + most + off : start + most + off + len(middle)] for off in (-reach, reach))
            lower, upper = np.minimum(above, below), np.maximum(above, below)
            per = 1.0 / (upper + np.float32(12.0))
            lower -= middle
            lower *= per
            np.subtract(middle, upper, out=upper)
            upper *= per
            np.maximum(dark[part], lower, out=dark[part])
            np.maximum(light[part], upper, out=light[part])
    return dark, light
