"""A scene to a photo with its truth."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np

from shared.numerics.arrays import F64, U8
from shop.backdrop import draw_backdrop
from shop.camera import Pose
from shop.canvas import Canvas
from shop.develop import decode, develop
from shop.face import Face
from shop.levels import draw_laser, draw_levels, draw_string, draw_string_shadow, string_ends
from shop.planes import Plane, rib_plane, upright_plane
from shop.rib import draw_rib
from shop.scene import RibBehind, Scene
from shop.sheets import lay_sheet


@dataclass(frozen=True)
class Truth:
    """What is true of a drawn photo.

    chord_deg : inclination of the chord line, nose-up positive. drawn_turn_deg : nose-up turn of the wavy
    line as drawn (least squares) against the ideal one. spar_deg : 90 + lean, or None. lean_deg : of the
    rib plane, positive outboard. forward : where the leading edge points in the photo.
    chord_px : (2, 2) trailing and leading end; marks_px : (n, 2); cards_px : inner corners by card number;
    strings_px : for each string, points (n, 2) along its axis within the picture. mm_per_px : at mid chord.
    """

    chord_deg: float
    drawn_turn_deg: float
    spar_deg: float | None
    lean_deg: float
    forward: str
    chord_px: F64
    marks_px: F64
    cards_px: dict[int, F64]
    strings_px: tuple[F64, ...]
    mm_per_px: float


def pose_of(scene: Scene) -> Pose:
    """Where the scene's camera stands."""
    distance = scene.camera.focal * scene.chord_mm / (scene.fill * scene.camera.width)
    return Pose.aimed(
        np.array([scene.aim[0], 0.0, scene.aim[1]]), distance, scene.yaw_deg, scene.pitch_deg, scene.roll_deg
    )


def draw(scene: Scene, again: int = 0, swing_deg: float = 0.0) -> tuple[U8, Truth]:
    """The photo (h, w, 3) uint8 BGR, upright, and its truth. The same scene gives the same bytes.

    again : another photo of the same things: all as before but for the pixels' noise. swing_deg : turn of the rib's
    plane about its own upright axis.
    """
    rngs = [np.random.default_rng([scene.seed, k]) for k in range(5)]
    canvas = Canvas(scene.camera, pose_of(scene))
    sun = np.array([rngs[0].uniform(-0.6, 0.6), 1.0, -rngs[0].uniform(0.4, 1.1)])
    plane = rib_plane(scene.chord_deg, scene.forward, scene.lean_deg)
    if swing_deg:
        plane = plane.turned((0.0, 0.0), 0.0, swing_deg)
    draw_backdrop(canvas, scene, rngs[1])
    for k, other in enumerate(sorted(scene.behind, key=lambda b: -b.at[1])):
        draw_rib(Face(canvas, other.scene, plane_behind(other)), np.random.default_rng([scene.seed, 5, k]))
    _behind(canvas, scene, sun, rngs[4])
    drawn, mask = None, None
    if scene.rib:
        face = Face(canvas, scene, plane)
        drawn, mask = draw_rib(face, rngs[2]), face.mask
    draw_levels(canvas, scene, plane, mask, sun, rngs[4])
    _light(canvas, scene, rngs[3])
    bgr = develop(canvas.light, scene, np.random.default_rng([scene.seed, 3, again]) if again else rngs[3])

    def pixels(points: F64) -> F64:
        return plane.pixels(canvas.pose, canvas.camera, points) if len(points) else np.empty((0, 2))

    middle = pixels(np.array([[-0.5, 0.0], [0.5, 0.0]]))
    return bgr, Truth(
        chord_deg=math.degrees(math.asin(float(plane.ex[2]) * scene.forward)),
        drawn_turn_deg=drawn.drawn_turn_deg if drawn else 0.0,
        spar_deg=scene.spar_deg,
        lean_deg=scene.lean_deg,
        forward="right" if scene.forward > 0 else "left",
        chord_px=pixels(drawn.chord if drawn else np.empty((0, 2))),
        marks_px=pixels(drawn.marks if drawn else np.empty((0, 2))),
        cards_px={n: canvas.pose.project(c, canvas.camera) for n, c in drawn.cards.items()} if drawn else {},
        strings_px=tuple(_seen(canvas, *string_ends(s, scene)) for s in scene.strings),
        mm_per_px=1.0 / float(np.hypot(*(middle[1] - middle[0]))),
    )


def plane_behind(rib: RibBehind) -> Plane:
    """The plane of a rib behind, where it stands."""
    s = rib.scene
    return replace(rib_plane(s.chord_deg, s.forward, s.lean_deg), origin=np.array(rib.at))


def chord_behind(rib: RibBehind) -> float:
    """True chord angle of a rib behind, degrees nose-up."""
    return math.degrees(math.asin(float(plane_behind(rib).ex[2]) * rib.scene.forward))


def _seen(canvas: Canvas, low: F64, top: F64) -> F64:
    points = low + (top - low) * np.linspace(0, 1, 400)[:, None]
    p = canvas.pose.to_camera(points)
    wide = np.array([canvas.camera.width, canvas.camera.height]) / canvas.camera.focal / 2 + 0.1
    points = points[(p[:, 2] > 20) & np.all(np.abs(p[:, :2]) < wide * np.abs(p[:, 2:]), axis=1)]
    pixels = canvas.pose.project(points, canvas.camera) if len(points) else np.empty((0, 2))
    size = np.array([canvas.camera.width - 1, canvas.camera.height - 1])
    return pixels[np.all((pixels >= 0) & (pixels <= size), axis=1)]


def _behind(canvas: Canvas, scene: Scene, sun: F64, rng: np.random.Generator) -> None:
    """What hangs between wall and rib: poster, shadows and laser on the wall, strings behind the rib."""
    wall = upright_plane(scene.wall_mm)
    if scene.poster is not None:
        p = scene.poster
        image = decode(draw(p.scene)[0])
        sheet = upright_plane(p.y_mm).turned((p.x_mm, p.z_mm), p.turn_deg)
        lay_sheet(canvas, sheet, 0.85 * image, p.width_mm, p.width_mm * image.shape[0] / image.shape[1])
    for string in scene.strings:
        draw_string_shadow(canvas, scene, string, sun, wall, 25.0, 0.5 * string.shadow, None)
    if scene.laser is not None:
        draw_laser(
            canvas,
            scene.laser,
            wall,
            1500.0,
            0.5 * float(np.percentile(canvas.light[::8, ::8], 97)),
            rng,
            None,
        )
    for string in scene.strings:
        if string.gap_mm <= 0:
            draw_string(canvas, scene, string)


def _light(canvas: Canvas, scene: Scene, rng: np.random.Generator) -> None:
    """Uneven light: a slow slope over the picture."""
    if scene.gradient <= 0:
        return
    h, w = canvas.light.shape[:2]
    small = 1 + scene.gradient * (rng.uniform(0, 1, (3, 4)).astype(np.float32) - 0.5) * 2
    field = cv2.resize(small.astype(np.float32), (w, h), interpolation=cv2.INTER_CUBIC)
    canvas.light *= field[..., None]
