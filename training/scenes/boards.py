"""Photos of a flat chessboard for calibrating a phone's lens."""

from __future__ import annotations

import cv2
import numpy as np

from shared.numerics.arrays import F32, U8
from training.scenes import finish, tracer
from training.scenes.effects import Choice, Draw
from training.scenes.geometry import Camera, film_size, look, turn
from training.scenes.light import LAMPS
from training.scenes.textures import surface
from training.scenes.world import Lamp, Plate, World, as_image

SQUARE = 25.0


def board_image(scale: int = 10) -> F32:
    """A chessboard of 9 x 6 inner corners with a white border of 20 and 15 mm, one channel."""
    dark = (np.add.outer(np.arange(7), np.arange(10)) % 2) == 0
    cell = np.ones((int(SQUARE) * scale, int(SQUARE) * scale), np.float32)
    board = np.kron(np.where(dark, 0.05, 0.88).astype(np.float32), cell)
    y, x = 15 * scale, 20 * scale
    return np.pad(board, ((y, y), (x, x)), constant_values=0.88).astype(np.float32)


def board_shot(cam: Camera, seed: int, spp: int, scale: float) -> U8:
    """One photo of the board somewhere in the frame, tilted. cam : at the photo's size."""
    rng = np.random.default_rng([seed, 5])
    world, quad = World(), np.array([[0, 1, 2], [0, 2, 3]])
    uv = np.array([[0, 0], [1, 0], [1, 1], [0, 1.0]])
    image = board_image()
    half = np.array([image.shape[1], image.shape[0]]) / 20
    r = turn("z", rng.uniform(-32, 32)) @ turn("x", rng.uniform(-32, 32)) @ turn("y", rng.uniform(-25, 25))
    far = float(rng.uniform(430, 760))
    room = np.array([cam.width, cam.height]) / 2 / cam.f * far - [105, 80]
    mid = rng.uniform(-1, 1, 2) * np.maximum(room, 0)
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half
    points = np.array([mid[0], 0, mid[1]]) + corners[:, :1] * r[:, 0] + corners[:, 1:] * r[:, 2]
    wall = np.array([[-3000.0, 600, -3000], [3000, 600, -3000], [3000, 600, 3000], [-3000, 600, 3000]])
    world.plates += [
        Plate(points, uv, quad, image),
        Plate(wall, uv, quad, surface(rng, 600, 600, "ply", 0.3) * np.float32(0.6)),
    ]
    world.sky, world.sun_light, world.sun = (0.7, 0.7, 0.7), (0.8, 0.8, 0.75), np.array([0.17, 0.85, -0.5])
    world.lamps = [Lamp(np.array([0, 5000.0, -5000]), np.array([0, 6000.0, -5000]), (1, 1), (0, 0, 0))] * LAMPS
    pose = look(0, 0, 0, np.zeros(3), far)
    rays = tracer.trace(tracer.load(world, cam, pose, 0.01, far), spp, seed, film_size(cam))
    rays = as_image(cv2.GaussianBlur(finish.through_lens(rays, cam, (0.0, 0.0)), (0, 0), 0.7 * max(scale, 0.7)))
    return finish.develop(rays, Draw(seed, Choice()), finish.Look(), False)
