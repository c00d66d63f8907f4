"""What shows gravity in a photo: hanging strings, and the line a level laser throws on the rib.

A string passes in front of the rib and goes on beyond it. The string's shadow and the spar line end at
the rib's outline; cables, poles and door frames behind the rib end there too, from the other side.
Seen on the rib *and* beyond it, straight through: that is a string.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.image.rectified import Sheet, look_up, pixel_map
from vision.image.ridges import level_ridges
from vision.lines.candidates import Stripe, find_stripes, profile_along

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
U8 = NDArray[np.uint8]

STRING_TILT = 0.12
"""Largest |slope| against the expected vertical when gravity is roughly known."""


@dataclass(frozen=True)
class UprightLine:
    """An upright stripe and where it is seen. ends : (2, 2) sheet mm, top first. on_rib, above, below : share
    of the rib's inside (the lesser of both sides of the chord line), of what lies above and below the rib,
    where it shows more than chance would; depth : relative."""

    ends: F64
    on_rib: float
    above: float
    below: float
    depth: float
    at_chord: F64

    @property
    def is_string(self) -> bool:
        """In front of the rib and beyond it."""
        return self.on_rib > 0.55 and max(self.above, self.below) > 0.4

    @property
    def on_rib_only(self) -> bool:
        """A drawn line or a shadow on the rib."""
        return self.on_rib > 0.55 and self.above < 0.3 and self.below < 0.3


def upright_depth(sheet: Sheet) -> F32:
    """(w, h) relative depth of upright stripes of either sign in a sheet, transposed: rows are u, columns v."""
    image = np.ascontiguousarray(sheet.image.T)
    sides = tuple(sorted({max(2, round(1.6 / sheet.mm_u)), max(2, round(3.0 / sheet.mm_u))}))
    dark, light = level_ridges(image, sides, max(1, round(8 / sheet.mm_v)))
    depth = np.maximum(dark, light)
    depth[~sheet.valid.T] = 0.0
    return np.asarray(depth, dtype=np.float32)


def with_colour(depth: F32, small_bgr: U8, sheet: Sheet) -> F32:
    """The depth map joined with upright stripes that differ from both sides in colour, not in brightness.

    small_bgr : the photo at a quarter of its size. Colour counts as much as its own noise, measured on the
    map, is as small as the grey's: a string of the wall's brightness but another hue comes out.
    """
    h, w = sheet.image.shape
    at = pixel_map(
        sheet.plane, sheet.u0 + sheet.mm_u * (0.5 + np.arange(0, w - 1, 2)), sheet.v0 + sheet.mm_v * np.arange(h), 4, 4
    )
    bgr = look_up(small_bgr, at).astype(np.float32) + 10.0
    bgr = np.ascontiguousarray(bgr.transpose(1, 0, 2))
    mm = 2 * sheet.mm_u
    sides = tuple(sorted({max(2, round(2.4 / mm)), max(2, round(4.0 / mm))}))
    out = depth
    for ratio in (bgr[..., 1] / bgr[..., 2], bgr[..., 0] / bgr[..., 2]):
        dark, light = level_ridges(ratio * 100, sides, max(1, round(10 / sheet.mm_v)))
        seen = np.maximum(dark, light)
        even = _noise(depth) / max(_noise(seen), 1e-4)
        full = cv2.resize(seen * min(1.0, even), (depth.shape[1], depth.shape[0]), interpolation=cv2.INTER_LINEAR)
        out = np.maximum(out, full)
    return np.asarray(out, dtype=np.float32)


def _noise(depth: F32) -> float:
    part = depth[::7, ::7]
    return float(np.median(np.abs(part - np.median(part)))) + 1e-5


def find_uprights(
    sheet: Sheet, depth: F32, chord: F64, chord_mm: float, tilt: float = STRING_TILT, most: int = 16
) -> list[UprightLine]:
    """Upright stripes that cross the chord line (2, 2) sheet mm, with where each is seen."""
    stripes = find_stripes(
        depth,
        sheet.valid.T,
        tilt * sheet.mm_v / sheet.mm_u,
        apart=max(2.0, 6.0 / sheet.mm_u),
        bridge=0.25 * chord_mm / sheet.mm_v,
        shortest=max(40.0, 0.05 * chord_mm) / sheet.mm_v,
        window=max(2, round(8 / sheet.mm_v)),
        most=most,
    )
    lines = (judge_upright(sheet, depth, s, chord, chord_mm) for s in stripes)
    return [line for line in lines if line is not None]


def upright_ends(sheet: Sheet, s: Stripe) -> F64:
    """(2, 2) sheet mm of an upright stripe's ends, top first."""
    return np.array([[s.at(c) * sheet.mm_u + sheet.u0, c * sheet.mm_v + sheet.v0] for c in (s.first, s.last)])


def judge_upright(sheet: Sheet, depth: F32, s: Stripe, chord: F64, chord_mm: float) -> UprightLine | None:
    """Where a stripe is seen, relative to the rib; None if it does not cross the chord line."""
    own = np.nan_to_num(profile_along(depth, s.row, s.slope), nan=-1.0)
    cols = np.arange(len(own), dtype=np.float64)
    u = (s.row + s.slope * cols) * sheet.mm_u + sheet.u0
    v = cols * sheet.mm_v + sheet.v0
    slope = (chord[1, 1] - chord[0, 1]) / (chord[1, 0] - chord[0, 0])
    height = (chord[0, 1] + slope * (u - chord[0, 0])) - v  # above the chord line, mm
    k = int(np.argmin(np.abs(height)))
    left, right = min(chord[:, 0]), max(chord[:, 0])
    if abs(height[k]) > 2 * sheet.mm_v or not left + 2 < u[k] < right - 2:
        return None
    # how deep the rib is here: a thin rib near the trailing edge, 12 % of the chord at its thickest
    inside = 0.018 * chord_mm
    rib = (np.abs(height) < inside) & (np.abs(height) > 2.0)
    above = (height > 0.13 * chord_mm) & (height < 0.30 * chord_mm)
    below = (height < -0.075 * chord_mm) & (height > -0.16 * chord_mm)
    level = max(0.008, 0.3 * s.depth)
    beside = [np.nan_to_num(profile_along(depth, s.row + off, s.slope), nan=-1.0) > level for off in (-15, -9, 9, 15)]
    chance = np.mean(beside, axis=0)

    def share(part: NDArray[np.bool_]) -> float:
        """How much more of a part shows the stripe than chance (the lines beside it) would."""
        return max(0.0, float((own[part] > level).mean() - chance[part].mean())) if part.sum() > 1 else 0.0

    on_rib = min(share(rib & (height > 0)), share(rib & (height < 0)))
    return UprightLine(upright_ends(sheet, s), on_rib, share(above), share(below), s.depth, np.array([u[k], v[k]]))
