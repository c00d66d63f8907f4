"""What stands behind the rib: wall, bench, boxes, poles."""

from __future__ import annotations

import cv2
import numpy as np

from shop.canvas import Canvas
from shop.planes import level_plane, upright_plane
from shop.scene import Scene
from shop.strokes import draw_band, draw_rod


def draw_backdrop(canvas: Canvas, scene: Scene, rng: np.random.Generator) -> float:
    """Paint wall, bench and clutter. Returns the bench's height, mm."""
    _wall(canvas, scene, rng)
    bench = -0.12 * scene.chord_mm - float(rng.uniform(90, 160))
    _bench(canvas, scene, bench, rng)
    for _ in range(scene.clutter):
        _box(canvas, bench, rng)
    for cord in scene.cords:
        if cord.behind:
            draw_rod(canvas, np.array(cord.a), np.array(cord.b), cord.radius_mm, cord.rgb, cord.side)
    return bench


def _wall(canvas: Canvas, scene: Scene, rng: np.random.Generator) -> None:
    h, w = canvas.light.shape[:2]
    rows, columns = max(2, h // 24), max(2, w // 24)
    cloud = cv2.resize(rng.standard_normal((9, 12)).astype(np.float32), (columns, rows), interpolation=cv2.INTER_CUBIC)
    fine = rng.standard_normal((rows, columns)).astype(np.float32)
    tone = np.array([0.5, 0.46, 0.40]) * rng.uniform(0.5, 1.3) * rng.uniform(0.85, 1.1, 3)
    small = np.clip(1 + 0.08 * cloud + 0.02 * fine, 0.3, 1.7)[..., None] * tone.astype(np.float32)
    cv2.resize(small.astype(np.float32), (w, h), dst=canvas.light, interpolation=cv2.INTER_LINEAR)
    plane = upright_plane(scene.wall_mm)
    for _ in range(scene.clutter):
        x = rng.uniform(-1600, 1600)
        draw_band(
            canvas,
            plane,
            np.array([x, -900.0]),
            np.array([x + rng.uniform(-8, 8), 1500.0]),
            float(rng.uniform(6, 40)),
            (0.12, 0.1, 0.09),
            float(rng.uniform(0.2, 0.6)),
        )
    for _ in range(scene.clutter // 2):
        z = rng.uniform(-600, 1200)
        draw_band(
            canvas,
            plane,
            np.array([-1900.0, z]),
            np.array([1900.0, z + rng.uniform(-15, 15)]),
            float(rng.uniform(6, 30)),
            (0.12, 0.1, 0.09),
            float(rng.uniform(0.2, 0.6)),
        )


def _bench(canvas: Canvas, scene: Scene, height: float, rng: np.random.Generator) -> None:
    plane = level_plane(height)
    near, far = -280.0, min(scene.wall_mm, 900.0)
    edge = np.stack(
        [
            np.concatenate([np.linspace(-2500, 2500, 30), np.linspace(2500, -2500, 30)]),
            np.repeat([near, far], 30),
        ],
        axis=1,
    )
    outline = plane.pixels(canvas.pose, canvas.camera, edge)
    box = canvas.box(outline, 2)
    if box is None:
        return
    mask = canvas.fill(outline)[box[1] : box[3], box[0] : box[2]] / np.float32(255)
    tone = np.array([0.42, 0.33, 0.22]) * rng.uniform(0.6, 1.1)
    canvas.blend(box, mask, tone)
    for y in np.arange(near + 40, far, 130.0):
        draw_band(canvas, plane, np.array([-1500.0, y]), np.array([1500.0, y]), 4.0, (0.07, 0.06, 0.05), 0.6)


def _box(canvas: Canvas, bench: float, rng: np.random.Generator) -> None:
    wide, deep, high = rng.uniform(50, 220, 3)
    x, y = rng.uniform(-800, 800), rng.uniform(180, 560)
    tone = rng.uniform(0.08, 0.6) * rng.uniform(0.7, 1.0, 3)
    faces: list[tuple[list[tuple[float, float, float]], float]] = [
        ([(x, y, bench), (x + wide, y, bench), (x + wide, y, bench + high), (x, y, bench + high)], 0.8),
        (
            [
                (x, y, bench + high),
                (x + wide, y, bench + high),
                (x + wide, y + deep, bench + high),
                (x, y + deep, bench + high),
            ],
            1.15,
        ),
    ]
    for corners, shade in faces:
        outline = canvas.pose.project(np.array(corners), canvas.camera)
        box = canvas.box(outline, 2)
        if box is not None:
            canvas.blend(box, canvas.fill(outline)[box[1] : box[3], box[0] : box[2]] / np.float32(255), tone * shade)
