"""Light: daylight through the shop, lamps, hard sun, sun through a window frame; and the shadows that sun throws."""

from __future__ import annotations

import numpy as np

from shared.numerics.arrays import F64
from training.scenes.effects import Draw
from training.scenes.geometry import Pose
from training.scenes.rib import Rib
from training.scenes.world import Lamp, Line, World

LAMPS = 4
"""Number of lamps in every scene, dark ones included: the ray tracer's program stays the same."""
DARK = (0.0, 0.0, 0.0)


def light(world: World, rib: Rib, pose: Pose, wall_y: float, draw: Draw) -> None:
    """Light the world."""
    kind, rng = draw.option("light"), draw.rng("light")
    origin = np.zeros(3)
    if kind == "shop":
        for x in (-700.0, 700.0):
            world.lamps.append(Lamp(np.array([x, -900, 1500]), origin, (600, 60), (9, 8.8, 8.2)))
    elif kind == "lamps":
        world.sky = (0.12, 0.12, 0.13)
        for _ in range(int(rng.integers(1, 4))):
            at = np.array([rng.uniform(-1500, 1500), rng.uniform(-2200, -300), rng.uniform(700, 1900)])
            w, h = float(rng.uniform(60, 500)), float(rng.uniform(40, 160))
            power = float(rng.uniform(0.5, 1.4)) * 6.5e5 / (4 * w * h) * (float(np.linalg.norm(at)) / 1900) ** 2 * 2
            tint = np.array([1, rng.uniform(0.75, 1), rng.uniform(0.5, 1.0)])
            world.lamps.append(Lamp(at, origin, (w, h), tuple(power * tint)))
    else:
        d = np.array([rng.uniform(-0.5, 0.5), 1.0, -rng.uniform(0.35, 1.1)])
        world.sun, world.sun_light, world.sky = d / np.linalg.norm(d), (2.2, 2.1, 1.9), (0.30, 0.33, 0.38)
        if kind == "window":
            frame_shadow(world, rib, pose, rng)
    extra(world, pose, wall_y, draw)
    while len(world.lamps) < LAMPS:
        world.lamps.append(Lamp(np.array([0, 5000.0, -5000.0]), np.array([0, 6000.0, -5000.0]), (1, 1), DARK))
    world.lamps = world.lamps[-LAMPS:]


def extra(world: World, pose: Pose, wall_y: float, draw: Draw) -> None:
    """Tubes in view, light from behind, a desk lamp close by."""
    if draw.has("tubes"):
        rng = draw.rng("tubes")
        z, x = float(rng.uniform(600, 1000)), float(rng.uniform(-500, 500))
        world.lamps.append(Lamp(np.array([x, wall_y - 300, z]), np.array([x, -1000.0, z - 200]), (600, 14), (6, 6, 6)))
    if draw.has("backlight"):
        rng = draw.rng("backlight")
        at = np.array([rng.uniform(-700, 700), wall_y - 8, rng.uniform(150, 600)])
        half = float(rng.uniform(200, 450)), float(rng.uniform(200, 400))
        world.lamps.append(Lamp(at, at - [0, 1000.0, 0], half, (2.2, 2.4, 2.6)))
    if draw.has("gooseneck"):
        rng = draw.rng("gooseneck")
        at = np.array([rng.uniform(-500, 500), -rng.uniform(250, 500), rng.uniform(250, 500)])
        at[1] = max(at[1], pose.eye[1] + 150)
        world.lamps.append(Lamp(at, np.array([at[0] * 0.4, 0, 0]), (16, 16), (160, 145, 110)))


def frame_shadow(world: World, rib: Rib, pose: Pose, rng: np.random.Generator) -> None:
    """A window frame behind the camera, in the sun's way; the edges of its shadow on the rib."""
    assert world.sun is not None
    back = (pose.eye[1] - 350.0) / world.sun[1]  # along the sun's way to the frame's plane, negative
    n, turned = int(rng.integers(2, 5)), np.radians(rng.normal(0, 4))
    step, half = float(rng.uniform(250, 500)), float(rng.uniform(12, 30))
    mid = back * world.sun + [rng.uniform(-150, 150), 0, rng.uniform(-100, 100)]
    across = np.array([np.cos(turned), 0, np.sin(turned)])
    up = np.array([-across[2], 0, across[0]])
    bars = [(mid + across * step * (k - (n - 1) / 2), up) for k in range(n)]
    bars.append((mid + up * float(rng.uniform(-120, 120)), across))
    for at, way in bars:
        side = np.cross(way, [0, 1.0, 0])
        world.matt.box(at, (half, 6, 1500), (0.4, 0.3, 0.2), np.stack([side, [0, 1.0, 0], way]))
        for s in (-1, 1):
            edge = np.array([at + s * half * side - 1500 * way, at + s * half * side + 1500 * way])
            shadow = shadow_on(rib, edge, world.sun)
            world.lines.append(Line("edge", rib.spec.index, shadow, 0.6, shadow_of=edge, note="frame shadow"))


def shadow_on(rib: Rib, points: F64, sun: F64) -> F64:
    """Where the shadow of points (n, 3) falls on the rib's plane."""
    normal = rib.axes[2]
    t = (np.asarray(rib.spec.at) - points) @ normal / float(sun @ normal)
    return np.asarray(points + t[:, None] * sun)


def string_shadows(world: World, ribs: list[Rib]) -> None:
    """The shadow of every string on every rib behind it, where the sun shines."""
    if world.sun is None:
        return
    for line in [a for a in world.lines if a.kind == "string"]:
        for rib in ribs:
            fine = line.points[0] + np.linspace(0, 1, 200)[:, None] * (line.points[1] - line.points[0])
            if fine[:, 1].max() < rib.spec.at[1] + 40:
                shadow = shadow_on(rib, fine, world.sun)
                world.lines.append(Line("string_shadow", rib.spec.index, shadow, 0.6, shadow_of=fine))
