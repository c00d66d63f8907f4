"""Level references: strings with shadow and bob, laser lines, straightedges."""

from __future__ import annotations

import numpy as np

from shared.numerics.arrays import F64, U8
from shop.canvas import WINDOW_PX, Canvas
from shop.planes import Plane, upright_plane
from shop.scene import Bar, Laser, Scene, String
from shop.strokes import draw_band, draw_rod


def string_ends(string: String, scene: Scene) -> tuple[F64, F64]:
    """World points (3,) of a string's lower and upper end."""
    low = -0.12 * scene.chord_mm - 60
    lean = np.tan(np.radians(string.sway_deg))
    foot = np.array([string.x_mm, -string.gap_mm, low])
    return foot, foot + (string.top_mm - low) * np.array([lean, 0, 1.0])


def draw_string(canvas: Canvas, scene: Scene, string: String) -> None:
    """The string and its bob."""
    low, top = string_ends(string, scene)
    draw_rod(canvas, low, top, string.radius_mm, string.rgb, string.side)
    if not string.bob:
        return
    centre = low - np.array([0, 0, 11.0])
    a = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    for radius, shift, tone in ((12.0, 0.0, 0.35), (6.0, 3.0, 0.7), (2.5, 4.0, 1.1)):
        ring = centre + np.stack([radius * np.cos(a) - shift, 0 * a, radius * np.sin(a) + shift], 1)
        outline = canvas.pose.project(ring, canvas.camera)
        box = canvas.box(outline, 2)
        if box is not None:
            canvas.blend(box, canvas.fill(outline)[box[1] : box[3], box[0] : box[2]] / np.float32(255), (tone,) * 3)


def draw_string_shadow(
    canvas: Canvas,
    scene: Scene,
    string: String,
    sun: F64,
    plane: Plane,
    soft_mm: float,
    strength: float,
    mask: U8 | None,
) -> None:
    """The string's shadow on a plane, thrown along `sun` (3,), the way the light goes."""
    if strength <= 0:
        return
    ends = []
    for point in string_ends(string, scene):
        gap = float((plane.origin - point) @ plane.normal) / float(sun @ plane.normal)
        landed = point + gap * sun - plane.origin
        ends.append(np.array([landed @ plane.ex, landed @ plane.ez]))
    draw_band(canvas, plane, ends[0], ends[1], 2 * string.radius_mm, (0.0, 0.0, 0.0), strength, mask, soft_mm)


def draw_bar(canvas: Canvas, bar: Bar) -> None:
    """A straightedge before the rib: a level band with a bright upper and a dark lower lip."""
    plane = upright_plane(-bar.gap_mm).turned((bar.x_mm, bar.z_mm), bar.tilt_deg)
    half, lip = bar.length_mm / 2, 0.12 * bar.width_mm
    tone = np.array(bar.rgb)
    for z, width, shade in (
        (0.0, bar.width_mm, 1.0),
        ((bar.width_mm - lip) / 2, lip, 1.25),
        ((lip - bar.width_mm) / 2, lip, 0.6),
    ):
        r, g, b = (float(v) for v in np.clip(tone * shade, 0, 1))
        draw_band(canvas, plane, np.array([-half, z]), np.array([half, z]), width, (r, g, b), 1.0)


def laser_line(laser: Laser, plane: Plane, half_mm: float) -> tuple[F64, F64]:
    """Where a laser's plane meets a plane: two points (2,), plane mm, at x = -half_mm and +half_mm.

    The laser's plane: Z = z_mm + X tan(tilt), world.
    """
    slope = np.tan(np.radians(laser.tilt_deg))

    def over(p: F64) -> float:
        return float(p[2] - slope * p[0])

    ends = []
    for x in (-half_mm, half_mm):
        rise = laser.z_mm - over(plane.origin) - x * over(plane.ex)
        ends.append(np.array([x, rise / over(plane.ez)]))
    return ends[0], ends[1]


def draw_laser(
    canvas: Canvas,
    laser: Laser,
    plane: Plane,
    half_mm: float,
    bright: float,
    rng: np.random.Generator,
    mask: U8 | None,
) -> None:
    """Add the laser's light on a plane; Gaussian across, speckled along."""
    a, b = laser_line(laser, plane, half_mm)
    for box, s, d, mm in canvas.along(plane, a, b, 5 * laser.sigma_mm + 1):
        sigma = np.hypot(laser.sigma_mm, WINDOW_PX * mm)
        glow = np.exp(-0.5 * (d / sigma) ** 2) * (laser.sigma_mm / sigma) * (1 + 0.25 * rng.standard_normal(s.shape))
        glow = np.nan_to_num(np.where(np.isfinite(s), glow, 0.0)) * bright
        x0, y0, x1, y1 = box
        if mask is not None:
            glow = glow * (mask[y0:y1, x0:x1] / 255.0)
        canvas.light[y0:y1, x0:x1] += (np.maximum(glow, 0)[..., None] * np.array(laser.rgb)).astype(np.float32)


def draw_levels(
    canvas: Canvas, scene: Scene, plane: Plane, mask: U8 | None, sun: F64, rng: np.random.Generator
) -> None:
    """Shadows on the rib, laser, bars, and the strings before the rib."""
    bright = float(np.percentile(canvas.light[::8, ::8], 97))
    for string in scene.strings:
        if mask is not None and string.gap_mm > 0:
            draw_string_shadow(canvas, scene, string, sun, plane, string.shadow_soft_mm, string.shadow, mask)
    if scene.laser is not None and mask is not None:
        draw_laser(canvas, scene.laser, plane, 0.7 * scene.chord_mm, bright, rng, mask)
    for bar in scene.bars:
        draw_bar(canvas, bar)
    for cord in scene.cords:
        if not cord.behind:
            draw_rod(canvas, np.array(cord.a), np.array(cord.b), cord.radius_mm, cord.rgb, cord.side)
    for string in scene.strings:
        if string.gap_mm > 0:
            draw_string(canvas, scene, string)
