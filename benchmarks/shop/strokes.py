"""Drawn lines, straight bands and rods."""

from __future__ import annotations

import numpy as np

from shared.numerics.arrays import F64, U8
from shop.canvas import WINDOW_PX, Canvas, band
from shop.planes import Plane
from shop.scene import Pen, Rgb

KNOT_MM = 45.0
_INK_MM = 11.0


def draw_pen(
    canvas: Canvas, plane: Plane, a: F64, b: F64, pen: Pen, rng: np.random.Generator, mask: U8 | None = None
) -> float:
    """Draw a pen line on a plane from a to b (mm). mask : (h, w) where it may show.

    Returns the angle, degrees, by which the least-squares line of the drawn path is turned from the ideal
    one, counter-clockwise on the plane.
    """
    length = float(np.hypot(*(b - a)))
    knots = np.arange(0, length + 2 * KNOT_MM, KNOT_MM)
    waves = pen.wave_mm * rng.standard_normal(len(knots))
    ink_at = np.arange(0, length + 2 * _INK_MM, _INK_MM)
    ink = rng.standard_normal(len(ink_at))
    skips = [(rng.uniform(0.1, 0.9) * length, rng.uniform(2, 6)) for _ in range(pen.gaps)]
    half = pen.width_mm / 2 + 4 * pen.wave_mm
    for box, s, d, mm in canvas.along(plane, a, b, half + (6 if pen.smudge else 0) + 1):
        off = np.interp(np.nan_to_num(s), knots, waves)
        sigma = WINDOW_PX * mm
        cover = band(d - off, pen.width_mm / 2, sigma) * band(s - length / 2, length / 2, sigma)
        for at, width in skips:
            cover = cover * (np.abs(s - at) > width)
        wet = 1 - 0.6 * pen.uneven + pen.uneven * np.interp(np.nan_to_num(s), ink_at, ink)
        alpha = cover * pen.cover * np.clip(wet, 0.35, 1)
        if pen.smudge:
            smear = np.exp(-0.5 * ((d - 1.5) / 2.0) ** 2) * (s > 0) * (s < length) * (0.5 + 0.5 * np.sin(s / 37.0))
            alpha = np.maximum(alpha, pen.smudge * smear)
        _lay(canvas, box, alpha, pen.rgb, mask)
    fine = np.linspace(0, length, 400)
    return float(np.degrees(np.arctan(np.polyfit(fine, np.interp(fine, knots, waves), 1)[0])))


def draw_band(
    canvas: Canvas,
    plane: Plane,
    a: F64,
    b: F64,
    width_mm: float,
    rgb: Rgb,
    cover: float,
    mask: U8 | None = None,
    soft_mm: float = 0.0,
) -> None:
    """A straight band with two edges on a plane, from a to b (mm); its edges blurred by soft_mm (sigma)."""
    length = float(np.hypot(*(b - a)))
    for box, s, d, mm in canvas.along(plane, a, b, width_mm / 2 + 3 * soft_mm + 2):
        sigma = np.hypot(WINDOW_PX * mm, soft_mm)
        alpha = band(d, width_mm / 2, sigma) * band(s - length / 2, length / 2, sigma)
        _lay(canvas, box, alpha * cover, rgb, mask)


def draw_rod(canvas: Canvas, p: F64, q: F64, radius_mm: float, rgb: Rgb, side: float, cover: float = 1.0) -> None:
    """A round straight thing in space from p to q, one side brighter by `side`."""
    for box, d, scale in canvas.across(p, q, radius_mm, 1):
        half = radius_mm * scale
        alpha = np.nan_to_num(band(d, half, WINDOW_PX)) * cover
        shade = 1 + side * np.clip(np.nan_to_num(d) / np.maximum(half, 0.5), -1, 1)
        canvas.blend(box, alpha, shade[..., None] * np.array(rgb))


def _lay(canvas: Canvas, box: tuple[int, int, int, int], alpha: F64, rgb: Rgb, mask: U8 | None) -> None:
    alpha = np.nan_to_num(alpha)
    if mask is not None:
        alpha = alpha * (mask[box[1] : box[3], box[0] : box[2]] / 255.0)
    canvas.blend(box, alpha, rgb)
