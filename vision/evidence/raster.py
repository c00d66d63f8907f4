"""A rectified part of the photo in which one family of lines runs along the rows.

Level lines (chord line, laser) run along u, upright ones (string, spar line) along v. Rows lie across the line, columns
along it, so that both families are found and cut out by the same code.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np

from shared.numerics.arrays import F32, F64, U8, Bools
from vision.image.rectified import Plane, Reduced, look_up, pixel_map

Family = Literal["level", "upright"]

COLOUR_REDUCTION = 4
"""Factor by which the colour picture is reduced, see `Picture.small_colour`."""
DARK_OFFSET = 10.0
"""Grey levels added before ratios and logarithms: below this there is mostly noise. About the black level and noise of
a phone's JPEG in shade. The networks were trained with it: change it only with them."""


@dataclass(frozen=True)
class Raster:
    """A rectified box of the rib plane, rows across the lines.

    start : (2,) mm of column 0, row 0, in the order (along, across). step : (2,) mm a column, mm a row.
    grey : (h, w) uint8. hue : (h // 2, w // 2, 2) float32, logarithms of red and blue over green. valid : (h, w) bool.
    """

    plane: Plane
    family: Family
    start: tuple[float, float]
    step: tuple[float, float]
    grey: U8
    hue: F32
    valid: Bools

    def uv(self, points: F64) -> F64:
        """Sheet points (n, 2) mm of fractional (column, row)."""
        along_across = points * self.step + self.start
        return along_across if self.family == "level" else along_across[:, ::-1]

    def index(self, uv: F64) -> F64:
        """Fractional (column, row) of sheet points (n, 2) mm.

        uv : mm, of the plane's sheet.
        """
        along_across = uv if self.family == "level" else uv[:, ::-1]
        return np.asarray((along_across - self.start) / self.step, dtype=np.float64)


def lay_raster(
    photo: Reduced,
    small_bgr: U8,
    plane: Plane,
    family: Family,
    box: tuple[float, float, float, float],
    step: tuple[float, float],
    reduced: int = COLOUR_REDUCTION,
) -> Raster:
    """Rectify a box (u0, v0, u1, v1) of sheet mm.

    photo : the grey picture, reduced mostly along the lines. small_bgr : the colour picture, `reduced` times smaller.
    step : mm a column (along the lines), mm a row (across them).

    plane : of the rib. family : "level" or "upright": which sheet axis the raster's columns run along.
    """
    u0, v0, u1, v1 = box
    du, dv = step if family == "level" else step[::-1]
    u = u0 + du * np.arange(max(16, int((u1 - u0) / du) // 2 * 2))
    v = v0 + dv * np.arange(max(16, int((v1 - v0) / dv) // 2 * 2))
    at = pixel_map(plane, u, v, photo.across, photo.down)
    h, w = photo.image.shape
    grey, valid = look_up(photo.image, at), cv2.inRange(at, (0, 0), (w - 1, h - 1)) > 0
    coarse = pixel_map(plane, u[::2] + du / 2, v[::2] + dv / 2, reduced, reduced)
    hue = hue_of(look_up(small_bgr, coarse))
    start = (u0, v0)
    if family == "upright":
        grey, valid, hue, start = grey.T, valid.T, hue.transpose(1, 0, 2), (v0, u0)
    return Raster(
        plane,
        family,
        start,
        step,
        np.ascontiguousarray(grey),
        np.ascontiguousarray(hue),
        np.ascontiguousarray(valid),
    )


def hue_of(bgr: U8) -> F32:
    """(h, w, 2) logarithms of red over green and of blue over green of a picture (h, w, 3), BGR.

    bgr : uint8. A ratio does not change with the brightness of the light; `DARK_OFFSET` keeps it from being noise in
    the dark.
    """
    blue, green, red = (cv2.LUT(bgr[..., k], _LOGS) for k in range(3))
    return np.stack([red - green, blue - green], axis=2)


_LOGS = np.log(np.arange(256, dtype=np.float32) + np.float32(DARK_OFFSET))
