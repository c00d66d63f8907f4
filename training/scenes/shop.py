"""What stands about behind the rib: boxes, shelves, rods, cables, a door frame, strings that are no reference."""

from __future__ import annotations

import numpy as np

from shared.numerics.arrays import F64
from training.scenes.effects import Draw
from training.scenes.geometry import resample, turn
from training.scenes.level import STRINGS, bob
from training.scenes.world import Line, Rgb, Soup, World

WOOD: Rgb = (0.55, 0.40, 0.24)


def upright_box(world: World, centre: F64, half: tuple[float, float, float], rgb: Rgb, lean: float, what: str) -> None:
    """An upright board or post, leaning sideways by degrees, its front edges noted."""
    axes = turn("y", lean).T
    world.matt.box(centre, half, rgb, axes)
    for s in (-1, 1):
        ends = np.array([centre + s * half[0] * axes[0] - half[1] * axes[1] + t * half[2] * axes[2] for t in (-1, 1)])
        world.lines.append(Line("edge", None, ends, 1.5, note=what, solid=False))


def wire(soup: Soup, a: F64, b: F64, sag: float, radius: float, rgb: Rgb) -> F64:
    """A cable from a to b that hangs down by `sag`; its path."""
    t = np.linspace(0, 1, 40)[:, None]
    path: F64 = a + t * (b - a) + np.array([0, 0, -4.0]) * sag * t * (1 - t)
    soup.tube(path, radius, rgb)
    return path


def furnish(world: World, draw: Draw, bench_z: float, wall_y: float, chord: float) -> None:
    """All that is behind."""
    if draw.has("boxes"):
        rng = draw.rng("boxes")
        for _ in range(7):
            s = rng.uniform(30, 120, 3)
            at = np.array([rng.uniform(-900, 900), rng.uniform(230, min(560, wall_y - 60)), bench_z + s[2]])
            rgb = rng.uniform(0.1, 0.7) * rng.uniform(0.75, 1.0, 3)
            world.matt.box(at, tuple(s), tuple(rgb), turn("z", float(rng.uniform(0, 90))))
    if draw.has("rods"):
        rods(world, draw.rng("rods"), wall_y)
    if draw.has("door_frame"):
        rng = draw.rng("door")
        x, w = float(rng.uniform(-1200, 600)), float(rng.uniform(600, 900))
        paint = tuple(rng.uniform(0.2, 0.8) * np.array([1.0, 0.92, 0.8]))
        for left in (x, x + w):
            half = float(rng.uniform(25, 50)), 20.0, 1400.0
            upright_box(world, np.array([left, wall_y - 25, 300.0]), half, paint, float(rng.normal(0, 0.2)), "door")
    if draw.has("cable_behind"):
        rng = draw.rng("cable")
        for _ in range(int(rng.integers(1, 4))):
            a = np.array([rng.uniform(-1300, 1300), wall_y - 15, rng.uniform(200, 1200)])
            b = np.array([rng.uniform(-1300, 1300), wall_y - 15, rng.uniform(-200, 1200)])
            path = wire(world.matt, a, b, float(rng.uniform(0, 250)), float(rng.uniform(2, 6)), (0.05, 0.05, 0.05))
            world.lines.append(Line("rod", None, path, 7.0, note="cable"))
    if draw.has("shelves"):
        shelves(world, draw.rng("shelves"), wall_y)
    strings(world, draw, wall_y, chord)


def rods(world: World, rng: np.random.Generator, wall_y: float) -> None:
    """Pipes and rods, some upright, some aslant, some level."""
    for _ in range(int(rng.integers(1, 5))):
        y, x, r = wall_y - float(rng.uniform(20, 250)), float(rng.uniform(-900, 900)), float(rng.uniform(2, 16))
        way = rng.random()
        dx = 0.0 if way < 0.3 else float(rng.uniform(-80, 80))
        ends = np.array([[x, y, -400.0], [x + dx, y, 1500.0]])
        if way > 0.85:
            z = float(rng.uniform(-100, 500))
            ends = np.array([[-2000.0, y, z], [2000.0, y, z + float(rng.normal(0, 20))]])
        (world.shiny if rng.random() < 0.3 else world.matt).tube(
            ends, r, tuple(rng.uniform(0.05, 0.75) * rng.uniform(0.7, 1, 3))
        )
        world.lines.append(Line("rod", None, ends, r + 0.8, note="rod"))


def shelves(world: World, rng: np.random.Generator, wall_y: float) -> None:
    """Shelves on uprights, with boxes on them."""
    x0, w, deep = float(rng.uniform(-1300, 300)), float(rng.uniform(700, 1100)), 140.0
    y = wall_y - deep
    rgb = tuple(np.array(WOOD) * rng.uniform(0.5, 1.2))
    for x in (x0, x0 + w):
        upright_box(world, np.array([x, y, 300.0]), (12, deep, 900), rgb, float(rng.normal(0, 0.15)), "shelf upright")
    for z in np.arange(-300, 1100, float(rng.uniform(260, 380))):
        world.matt.box(np.array([x0 + w / 2, y, z]), (w / 2, deep, 9), rgb)
        for dz in (-9, 9):
            ends = np.array([[x0, y - deep, z + dz], [x0 + w, y - deep, z + dz]])
            world.lines.append(Line("edge", None, ends, 1.5, note="shelf", solid=False))
        x = x0 + 60
        while x < x0 + w - 80:
            s = rng.uniform(25, 70, 3)
            world.matt.box(np.array([x + s[0], y - 20, z + 9 + s[2]]), tuple(s), tuple(rng.uniform(0.05, 0.8, 3)))
            x += 2 * s[0] + float(rng.uniform(10, 90))


def strings(world: World, draw: Draw, wall_y: float, chord: float) -> None:
    """Strings that are no level reference: one that hangs behind the rib, one stretched aslant before it."""
    if draw.has("string_behind"):
        rng = draw.rng("string behind")
        (r, _), rgb = STRINGS[str(rng.choice(["cotton", "orange", "black", "white"]))]
        x, y = float(rng.uniform(-0.5, 0.5)) * chord, float(rng.uniform(20, min(250, wall_y - 50)))
        ends = np.array([[x, y, -0.12 * chord - 40], [x, y, 1400.0]])
        world.matt.tube(resample(ends, 40), r + 0.1, rgb)
        bob(world, "sphere", ends[0], rng)
        world.lines.append(Line("rod", None, ends, r + 0.8, note="string behind"))
    if draw.has("slanted_string"):
        rng = draw.rng("slanted")
        (r, _), rgb = STRINGS[str(rng.choice(["cotton", "orange", "black", "white", "cord"]))]
        x, lean = float(rng.uniform(-0.4, 0.4)) * chord, float(rng.choice([-1, 1])) * float(rng.uniform(1.0, 9.0))
        t, y = np.tan(np.radians(lean)), float(rng.choice([-1, 1])) * float(rng.uniform(5, 60))
        ends = np.array([[x - t * 700, y, -700.0], [x + t * 900, y, 900.0]])
        world.matt.tube(resample(ends, 40), r + 0.1, rgb)
        world.lines.append(Line("rod", None, ends, r + 0.8, note="slanted string"))
