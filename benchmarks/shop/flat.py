"""A flat place in the shop that is no rib: a panel with a card, marks, lines and the joint of two skins, and what is true of it.

Everything may lie a little before or behind the card's plane; it is painted where the camera then sees it, and the truth is
where it lies.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
from scipy.special import ndtr

from shared.numerics.arrays import F64, U8
from shop.camera import Pose
from shop.canvas import WINDOW_PX, Canvas
from shop.develop import develop
from shop.draw import _light
from shop.face import Face, draw_surface
from shop.planes import Plane, rib_plane
from shop.scene import Pen, Rgb, Scene
from shop.sheets import MARK_MM, card_sheet, lay_sheet, mark_sheet
from shop.strokes import KNOT_MM, draw_pen


@dataclass(frozen=True)
class Skin:
    """A part with straight sides, (4, 2) mm in order, as it lies. wave_mm : standard deviation of its sides' waviness."""

    ring: F64
    rgb: Rgb
    wave_mm: float = 0.0


@dataclass(frozen=True)
class FlatScene:
    """The place. Plane mm: x right, z up, the origin in the middle. look : pixels, light and noise, as a rib's scene has them;
    its chord_mm is the panel's width, chord_deg its turn. u_depth_mm : standard deviation of how far off the plane each thing
    lies.

    tone : what the camera adds to sRGB's curve, 1 for a whole smooth step (half as much contrast again in the midtones).
    card_mm : how far the card's print stands before all else. marks, crosses : name -> place. lines : name -> both ends,
    first end first. skins : parts of the joint.
    """

    look: Scene
    height_mm: float
    marks: dict[str, F64] = field(default_factory=dict)
    crosses: dict[str, F64] = field(default_factory=dict)
    lines: dict[str, tuple[F64, F64]] = field(default_factory=dict)
    skins: tuple[Skin, ...] = ()
    pen: Pen = field(default_factory=Pen)
    u_depth_mm: float = 0.3
    card_mm: float = 0.2
    tone: float = 0.0


@dataclass(frozen=True)
class Flat:
    """A photo of it. bgr : (h, w, 3). seen : name -> pixels (n, 2) of each mark, cross or line's ends."""

    bgr: U8
    seen: dict[str, F64]
    pose: Pose
    plane: Plane

    def pixels(self, points: F64, look: Scene) -> F64:
        """(n, 2) pixels of plane points (n, 2)."""
        return self.plane.pixels(self.pose, look.camera, points)


class _Panel(Face):
    """A rectangular face instead of a rib's."""

    def __init__(self, canvas: Canvas, scene: Scene, plane: Plane, half: F64) -> None:
        self.canvas, self.scene, self.plane = canvas, scene, plane
        ring = half * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
        pixels = plane.pixels(canvas.pose, canvas.camera, ring)
        self.mask: U8 = canvas.fill(pixels)
        self.box = canvas.box(pixels, 2)


def draw_flat(scene: FlatScene) -> Flat:
    """The photo and where everything is seen. The same scene gives the same bytes."""
    look = scene.look
    rng = np.random.default_rng([look.seed, 77])
    distance = look.camera.focal * look.chord_mm / (look.fill * look.camera.width)
    pose = Pose.aimed(np.array([look.aim[0], 0.0, look.aim[1]]), distance, look.yaw_deg, look.pitch_deg, look.roll_deg)
    canvas = Canvas(look.camera, pose)
    canvas.light[:] = np.array([0.32, 0.33, 0.35], np.float32)
    plane = rib_plane(look.chord_deg, 1, look.lean_deg)
    face = _Panel(canvas, look, plane, np.array([look.chord_mm, scene.height_mm]) / 2)
    draw_surface(face, rng)

    def lifted(points: F64) -> F64:
        """Where on the plane the camera sees points (n, 2) that lie a little off it."""
        lift = scene.card_mm + scene.u_depth_mm * rng.standard_normal(len(points))
        world = plane.world(points) - lift[:, None] * plane.normal
        ray = world - pose.eye
        k = -((pose.eye - plane.origin) @ plane.normal) / (ray @ plane.normal)
        hit = pose.eye + k[:, None] * ray - plane.origin
        return np.stack([hit @ plane.ex, hit @ plane.ez], axis=1)

    seen: dict[str, F64] = {}
    for skin in scene.skins:
        _paint(canvas, plane, replace(skin, ring=lifted(skin.ring)), rng)
    for name, (a, b) in scene.lines.items():
        ends = lifted(np.stack([a, b]))
        draw_pen(canvas, plane, ends[0], ends[1], scene.pen, rng)
        seen[name] = plane.pixels(pose, look.camera, ends)
    for name, at in scene.marks.items():
        (place,) = lifted(at[None])
        sheet = plane.turned((place[0], place[1]), float(rng.uniform(-40, 40)))
        lay_sheet(canvas, sheet, mark_sheet(), MARK_MM, MARK_MM)
        seen[name] = plane.pixels(pose, look.camera, place[None])
    for name, at in scene.crosses.items():
        (place,) = lifted(at[None])
        turn = math.radians(float(rng.uniform(-40, 40)))
        for k in (0, 1):
            way = 9.0 * np.array([math.cos(turn + k * math.pi / 2), math.sin(turn + k * math.pi / 2)])
            draw_pen(canvas, plane, place - way, place + way, replace(scene.pen, wave_mm=0.02, gaps=0), rng)
        seen[name] = plane.pixels(pose, look.camera, place[None])
    for card in look.cards:
        image, width, height = card_sheet(card.kind, card.number)
        x, z = (card.at - 0.5) * look.chord_mm, card.above_mm or 0.0
        sheet = plane.turned((x, z), card.turn_deg, card.tilt_deg).printed(card.scale, card.stretch, card.skew_deg)
        lay_sheet(canvas, sheet, image, width, height)
    _light(canvas, look, rng)
    grey = np.arange(256) / 255
    curve = grey + scene.tone * (grey * grey * (3 - 2 * grey) - grey)
    bgr = np.rint(255 * np.clip(curve, 0, 1)).astype(np.uint8)[develop(canvas.light, look, rng)]
    return Flat(bgr, seen, pose, plane)


def _paint(canvas: Canvas, plane: Plane, skin: Skin, rng: np.random.Generator) -> None:
    """Lay a part, its sides sampled as pen lines are."""
    ring = skin.ring
    box = canvas.box(plane.pixels(canvas.pose, canvas.camera, ring), 4)
    if box is None:
        return
    x, z = plane.from_rays(canvas.pose, canvas.rays.grid(box))
    alpha = np.ones_like(x)
    for a, b in zip(ring, np.roll(ring, -1, axis=0), strict=True):
        length = float(np.hypot(*(b - a)))
        t = (b - a) / length
        knots = np.arange(0, length + 2 * KNOT_MM, KNOT_MM)
        waves = skin.wave_mm * rng.standard_normal(len(knots))
        s = (x - a[0]) * t[0] + (z - a[1]) * t[1]
        d = -(x - a[0]) * t[1] + (z - a[1]) * t[0]  # inside is to the left of the way round
        ends = plane.pixels(canvas.pose, canvas.camera, np.stack([(a + b) / 2, (a + b) / 2 + np.array([-t[1], t[0]])]))
        mm = 1 / float(np.hypot(*(ends[1] - ends[0])))
        alpha *= ndtr((d - np.interp(np.nan_to_num(s), knots, waves)) / (WINDOW_PX * mm))
    canvas.blend(box, np.nan_to_num(alpha), skin.rgb)
