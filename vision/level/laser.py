"""The line a levelling laser throws on the rib: a thin stripe redder (or greener) than both of its sides."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.image.rectified import Sheet, look_up, pixel_map
from vision.image.ridges import level_ridges
from vision.lines.candidates import Stripe, find_stripes

F32 = NDArray[np.float32]
U8 = NDArray[np.uint8]

FULL_COLOUR = 0.10
"""Relative step of the red-to-green ratio (or its inverse) that counts in full as a laser's colour."""
LASER_TILT = 0.2
"""Largest |slope| of a level line in the sheet (camera roll included)."""


def laser_map(small_bgr: U8, sheet: Sheet) -> F32:
    """(h, w) of the sheet, 0 to 1: how much a thin level stripe here has a laser's colour.

    small_bgr : the photo at a quarter of its size. sheet : its columns may be wider than its rows are high.
    """
    h, w = sheet.image.shape
    at = pixel_map(sheet.plane, sheet.u0 + sheet.mm_u * np.arange(w), sheet.v0 + sheet.mm_v * np.arange(h), 4, 4)
    bgr = look_up(small_bgr, at).astype(np.float32) + 8.0
    best = np.zeros((h, w), dtype=np.float32)
    sides = (max(2, round(2.5 / sheet.mm_v)), max(3, round(4.5 / sheet.mm_v)))
    for ratio in (bgr[..., 2] / bgr[..., 1], bgr[..., 1] / bgr[..., 2]):
        best = np.maximum(best, level_ridges(ratio * 100, sides, max(1, round(6 / sheet.mm_u)))[1])
    return np.asarray(np.clip(best / FULL_COLOUR, 0, 1), dtype=np.float32)


def find_level_stripes(sheet: Sheet, laser: F32, chord_mm: float) -> list[Stripe]:
    """Level stripes of a laser's colour over at least a quarter of the chord, longest first."""
    per = sheet.mm_u / sheet.mm_v
    stripes = find_stripes(
        (laser - 0.3) * 0.1,
        sheet.valid,
        LASER_TILT * per,
        apart=max(3.0, 5 / sheet.mm_v),
        bridge=0.15 * chord_mm / sheet.mm_u,
        shortest=0.25 * chord_mm / sheet.mm_u,
        window=max(2, round(8 / sheet.mm_u)),
        most=4,
    )
    return [s for s in stripes if s.cover > 0.6]
