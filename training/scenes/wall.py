"""The wall behind, painted: boards, plaster, tiles, bricks or a photograph; posters, a pegboard, a window."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import ArrayLike

from shared.numerics.arrays import F64
from training.scenes.effects import Draw
from training.scenes.geometry import Camera, Pose
from training.scenes.rib_build import WORDS
from training.scenes.textures import noise, surface, text
from training.scenes.world import Image, Line, Plate, Rgb, World

PPM = 0.55
"""Pixels of the wall's picture a millimetre: out of the depth of field, and far away."""


class Wall:
    """A painted wall at y, covering what the camera sees of it. x0, x1, z0, z1 : mm."""

    def __init__(self, y: float, box: tuple[float, float, float, float], image: Image, label: bool) -> None:
        self.y, self.box, self.image, self.label = y, box, image, label
        self.lines: list[Line] = []

    def px(self, x: float, z: float) -> tuple[int, int]:
        """World x and z, mm, to a pixel of the picture."""
        return int((x - self.box[0]) * PPM), int((self.box[3] - z) * PPM)

    def fill(self, x0: float, x1: float, z0: float, z1: float, rgb: ArrayLike, strength: float = 1.0) -> None:
        """Paint a rectangle."""
        (a, d), (c, b) = self.px(x0, z0), self.px(x1, z1)
        part = self.image[max(b, 0) : max(d, 0), max(a, 0) : max(c, 0)]
        part += (np.asarray(rgb, np.float32) - part) * np.float32(strength)

    def cover(self, x0: float, x1: float, z0: float, z1: float) -> None:
        """Hide what was noted before where a rectangle is painted over it."""
        for k, line in enumerate(self.lines):
            a, d = line.points[0, [0, 2]], np.diff(line.points[:, [0, 2]], axis=0)[0]
            with np.errstate(divide="ignore", invalid="ignore"):
                t = (np.array([[x0, z0], [x1, z1]]) - a) / d
            low, high = np.fmax(np.fmin(*t).max(), 0), np.fmin(np.fmax(*t).min(), 1)
            if low < high:
                self.lines[k] = replace(line, hidden=(*line.hidden, (float(low), float(high))))

    def note(self, a: tuple[float, float], b: tuple[float, float], kind: str, what: str) -> None:
        """Note a straight thing from (x, z) a to b."""
        if self.label:
            points = np.array([[a[0], self.y, a[1]], [b[0], self.y, b[1]]])
            self.lines.append(Line(kind, None, points, 2.0, note=what))


def seen(cam: Camera, pose: Pose, y: float) -> tuple[float, float, float, float]:
    """Bounds in x and z of what a camera sees of the plane at y, mm, with some margin."""
    hits = []
    for u in (0, cam.width):
        for v in (0, cam.height):
            ray = pose.R.T @ np.array([(u - cam.cx) / cam.f, (v - cam.cy) / cam.f, 1.0])
            hits.append(pose.eye + ray * (y - pose.eye[1]) / max(ray[1], 0.3))
    p = np.array(hits)
    return (
        float(p[:, 0].min() - 120),
        float(p[:, 0].max() + 120),
        float(p[:, 2].min() - 120),
        float(p[:, 2].max() + 120),
    )


@lru_cache(maxsize=8)
def photograph(path: str) -> Image:
    """A photograph as linear light."""
    shown = cv2.imread(path)
    if shown is None:
        raise FileNotFoundError(path)
    small = cv2.resize(shown, (1600, round(1600 * shown.shape[0] / shown.shape[1])), interpolation=cv2.INTER_AREA)
    return ((small[..., ::-1].astype(np.float32) / 255) ** 2.2).astype(np.float32)


def make_wall(world: World, cam: Camera, pose: Pose, y: float, draw: Draw, photos: tuple[str, ...]) -> Wall:
    """Paint the wall and stand it in the world."""
    kind, rng = draw.option("wall"), draw.rng("wall")
    if kind == "photo" and not photos:
        kind = "plaster"
    box = seen(cam, pose, y)
    h, w = int((box[3] - box[2]) * PPM), int((box[1] - box[0]) * PPM)
    if kind == "photo":
        picture = cv2.resize(photograph(str(rng.choice(photos))), (w, h), interpolation=cv2.INTER_LINEAR)
        wall = Wall(y, box, np.ascontiguousarray(picture), False)
    else:
        wall = Wall(y, box, surface(rng, h, w, "ply" if kind == "boards" else "foam", PPM), True)
        tint = rng.uniform(0.3, 0.85) * rng.uniform(0.85, 1.1, 3)
        wall.image *= (tint / wall.image.mean((0, 1)) * 0.6).astype(np.float32)
        {"boards": boards, "plaster": plaster, "tile": tiles, "brick": bricks}[kind](wall, rng)
    for name, paint in (("pegboard", pegboard), ("window_wall", window), ("posters", posters)):
        if draw.has(name):
            paint(wall, draw.rng(name))
    corners = np.array([[box[0], y, box[2]], [box[1], y, box[2]], [box[1], y, box[3]], [box[0], y, box[3]]])
    uv = np.array([[0, 0], [1, 0], [1, 1], [0, 1.0]])
    world.plates.append(Plate(corners, uv, np.array([[0, 1, 2], [0, 2, 3]]), np.clip(wall.image, 0, 1)))
    world.lines += wall.lines
    return wall


def boards(wall: Wall, rng: np.random.Generator) -> None:
    """Upright or level boards with dark joints."""
    x0, x1, z0, z1 = wall.box
    upright = rng.random() < 0.6
    at, step = (x0 if upright else z0), float(rng.uniform(90, 260))
    while at < (x1 if upright else z1):
        joint, shade = float(rng.uniform(3, 9)), float(rng.uniform(0.75, 1.0))
        if upright:
            wall.fill(at, at + step, z0, z1, (0, 0, 0), 1 - shade)
            wall.fill(at, at + joint, z0, z1, (0.03, 0.02, 0.02), 0.7)
            wall.note((at + joint / 2, z0), (at + joint / 2, z1), "seam", "board")
        else:
            wall.fill(x0, x1, at, at + step, (0, 0, 0), 1 - shade)
            wall.fill(x0, x1, at, at + joint, (0.03, 0.02, 0.02), 0.7)
            wall.note((x0, at + joint / 2), (x1, at + joint / 2), "seam", "board")
        at += step * float(rng.uniform(0.9, 1.1))


def plaster(wall: Wall, rng: np.random.Generator) -> None:
    """Blotches."""
    h, w = wall.image.shape[:2]
    wall.image *= (1 + np.float32(rng.uniform(0.02, 0.12)) * noise(rng, h, w, (30.0, 30.0)))[..., None]


def courses(
    wall: Wall, rng: np.random.Generator, wide: float, high: float, joint: float, shift: float, rgb: Rgb
) -> None:
    """Tiles or bricks in level courses, each `wide` x `high` mm, every other course shifted."""
    x0, x1, z0, z1 = wall.box
    z, k = z0 - float(rng.uniform(0, high)), 0
    while z < z1:
        x = x0 - float(rng.uniform(0, 1) if shift == 0 and k == 0 else 0) - wide * (1 + shift * (k % 2))
        while x < x1:
            shade = float(rng.uniform(0, 0.3))
            wall.fill(x, x + wide, z, z + high, (0.02, 0.01, 0.01), shade * 0.5)
            wall.fill(x + wide, x + wide + joint, z, z + high, rgb, 0.8)
            if shift == 0 and k == 0:
                wall.note((x + wide + joint / 2, z0), (x + wide + joint / 2, z1), "seam", "tile")
            x += wide + joint
        wall.fill(x0, x1, z + high, z + high + joint, rgb, 0.8)
        wall.note((x0, z + high + joint / 2), (x1, z + high + joint / 2), "seam", "course")
        z, k = z + high + joint, k + 1


def tiles(wall: Wall, rng: np.random.Generator) -> None:
    """Square tiles in a grid."""
    size = float(rng.choice([100.0, 150.0, 200.0]))
    courses(
        wall,
        rng,
        size,
        size,
        float(rng.uniform(3, 6)),
        0.0,
        (0.55, 0.54, 0.5) if rng.random() < 0.5 else (0.12, 0.12, 0.12),
    )


def bricks(wall: Wall, rng: np.random.Generator) -> None:
    """A half bond of bricks."""
    wall.image *= np.array([0.9, 0.45, 0.33], np.float32)
    courses(wall, rng, 215.0, 65.0, 10.0, 0.5, (0.5, 0.48, 0.44))


def pegboard(wall: Wall, rng: np.random.Generator) -> None:
    """A board of holes in a grid."""
    x0, z0 = float(rng.uniform(wall.box[0], wall.box[1] - 900)), float(rng.uniform(-300, 200))
    wall.cover(x0, x0 + 900, z0, z0 + 600)
    wall.fill(x0, x0 + 900, z0, z0 + 600, (0.42, 0.27, 0.15))
    for x in np.arange(x0 + 25, x0 + 900, 25.0):
        for z in np.arange(z0 + 25, z0 + 600, 25.0):
            cv2.circle(wall.image, wall.px(float(x), float(z)), 2, (0.04, 0.03, 0.02), -1)
    frame(wall, x0, x0 + 900, z0, z0 + 600, "pegboard")


def frame(wall: Wall, x0: float, x1: float, z0: float, z1: float, what: str) -> None:
    """Note the four edges of a rectangle."""
    for a, b in (((x0, z0), (x1, z0)), ((x0, z1), (x1, z1)), ((x0, z0), (x0, z1)), ((x1, z0), (x1, z1))):
        wall.note(a, b, "edge", what)


def window(wall: Wall, rng: np.random.Generator) -> None:
    """A window with its frame and panes."""
    w, h = float(rng.uniform(700, 1300)), float(rng.uniform(600, 1000))
    x0, z0 = float(rng.uniform(wall.box[0], max(wall.box[1] - w, wall.box[0] + 1))), float(rng.uniform(-200, 400))
    wall.cover(x0, x0 + w, z0, z0 + h)
    wall.fill(x0, x0 + w, z0, z0 + h, np.array([0.85, 0.9, 1.0]) * rng.uniform(0.5, 1.0))
    bar, rgb = float(rng.uniform(30, 60)), [(0.75, 0.75, 0.72), (0.25, 0.16, 0.09)][int(rng.integers(2))]
    n = int(rng.integers(2, 5))
    for k in range(n):
        x = x0 + (w - bar) * k / (n - 1)
        wall.fill(x, x + bar, z0, z0 + h, rgb)
        wall.note((x, z0), (x, z0 + h), "edge", "window")
        wall.note((x + bar, z0), (x + bar, z0 + h), "edge", "window")
    for z in (z0, z0 + h - bar, z0 + h * float(rng.uniform(0.4, 0.6))):
        wall.fill(x0, x0 + w, z, z + bar, rgb)
        wall.note((x0, z), (x0 + w, z), "edge", "window")


def posters(wall: Wall, rng: np.random.Generator) -> None:
    """Sheets with writing and lines, some hung askew by no more than a pixel's worth."""
    for _ in range(int(rng.integers(1, 4))):
        w, h = float(rng.uniform(300, 700)), float(rng.uniform(300, 800))
        x0, z0 = float(rng.uniform(wall.box[0], max(wall.box[1] - w, wall.box[0] + 1))), float(rng.uniform(-200, 500))
        wall.cover(x0, x0 + w, z0, z0 + h)
        wall.fill(x0, x0 + w, z0, z0 + h, rng.uniform(0.4, 0.95) * rng.uniform(0.7, 1.0, 3))
        frame(wall, x0, x0 + w, z0, z0 + h, "poster")
        for k in range(int(rng.integers(3, 10))):
            z, ink = z0 + h - (k + 1) * float(rng.uniform(40, 70)), tuple(float(v) for v in rng.uniform(0.02, 0.4, 3))
            if z < z0 + 20:
                break
            if rng.random() < 0.5:
                words = " ".join(str(v) for v in rng.choice(WORDS, 3))
                at = wall.px(x0 + 20, z)
                text(
                    wall.image,
                    words[: max(3, int(w / 26))],
                    at,
                    float(rng.uniform(18, 34)) * PPM,
                    (ink[0], ink[1], ink[2]),
                )
            else:
                wall.fill(x0 + 20, x0 + w - 20, z, z + float(rng.uniform(2, 8)), ink)
                wall.note((x0 + 20, z), (x0 + w - 20, z), "edge", "print")


def bench_plate(world: World, z: float, draw: Draw) -> None:
    """The bench top the rib stands over, with its seams."""
    rng = draw.rng("bench")
    image = surface(rng, 500, 1200, "ply", 0.25) * np.float32(rng.uniform(0.3, 0.9))
    step = int(rng.integers(40, 160))
    points: F64 = np.array([[-2600.0, -700, z], [2600, -700, z], [2600, 1300, z], [-2600, 1300, z]])
    for row in range(0, 500, step):
        image[row : row + 2] *= 0.4
        y = 1300 - 2000 * (row + 1) / 500
        world.lines.append(Line("seam", None, np.array([[-2600.0, y, z], [2600.0, y, z]]), 2.0, note="bench"))
    world.plates.append(
        Plate(points, np.array([[0, 0], [1, 0], [1, 1], [0, 1.0]]), np.array([[0, 1, 2], [0, 2, 3]]), image)
    )
