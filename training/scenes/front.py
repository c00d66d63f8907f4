"""What stands at the rib or before it: clamps, hands, tools, posts, the spar's stub, cables."""

from __future__ import annotations

import numpy as np

from shared.numerics.arrays import F64
from training.scenes.effects import Draw
from training.scenes.geometry import turn
from training.scenes.rib import SPAR_AT, Rib
from training.scenes.shop import WOOD, upright_box, wire
from training.scenes.textures import text
from training.scenes.world import Image, Line, Plate, Rgb, World


def furnish_front(world: World, rib: Rib, draw: Draw, bench_z: float) -> None:
    """All that is at the rib or before it."""
    for name, add in (
        ("clamps", clamps),
        ("hand", hand),
        ("tools", tools),
        ("ruler_on_rib", ruler),
        ("jig_posts", posts),
        ("spar_stub", stub),
        ("cable_front", cable),
        ("curly_cable", curly),
    ):
        if draw.has(name):
            add(world, rib, draw.rng(name), bench_z)


def clamps(world: World, rib: Rib, rng: np.random.Generator, _: float) -> None:
    """Clamps over the lower edge that reach across the chord line."""
    axes = rib.axes
    for frac in rng.choice([0.08, 0.36, 0.78, 0.93], int(rng.integers(1, 3)), replace=False):
        reach = float(rng.uniform(10, 46))
        at = rib.place([[float(rib.outline.x(frac)), -46.0 + reach * 0.6]], 12.0)[0]
        m = np.stack([axes[0], axes[2], axes[1]]) @ turn("y", float(rng.uniform(-9, 9))).T
        world.matt.box(at, (float(rng.uniform(9, 16)), 9, 46), tuple(rng.uniform(0.05, 0.6, 3)), m)
        knob = at - 46 * m[2] + np.array([0, -14.0, 0])
        world.shiny.tube(np.array([knob, knob - [0, 0, 60.0]]), 5.0, (0.4, 0.4, 0.42))


def hand(world: World, rib: Rib, rng: np.random.Generator, _: float) -> None:
    """A hand that holds the rib by an edge, and its forearm."""
    skin = tuple(np.array([0.62, 0.38, 0.27]) * rng.uniform(0.3, 1.1))
    frac, upper = float(rng.choice([rng.uniform(0.02, 0.15), rng.uniform(0.72, 0.97)])), rng.random() < 0.4
    z = float(rib.outline.up(frac)) if upper else float(rib.outline.low(frac))
    way = -1.0 if upper else 1.0  # fingers point into the rib
    at = rib.place([[float(rib.outline.x(frac)), z - way * 28]], 26.0)[0]
    side = float(rng.uniform(-0.5, 0.5))
    palm = np.array([side, 0, way]) / np.hypot(side, 1)
    across = np.array([palm[2], 0, -palm[0]])
    world.matt.ball(at, (40, 16, 44), skin)
    for k in range(4):
        root = at + across * (k - 1.5) * 19 + palm * 34
        mid = root + palm * float(rng.uniform(18, 30)) + [0, -4.0, 0]
        tip = mid + palm * float(rng.uniform(12, 24)) + [0, 14.0, 0]
        world.matt.tube(np.array([root, mid, tip]), np.array([10.0, 9.0, 7.5]), skin)
        world.matt.ball(tip, 7.5, skin)
    elbow = at - palm * 420 + [float(rng.uniform(-120, 120)), -140.0, 0]
    sleeve = tuple(rng.uniform(0.03, 0.6, 3))
    world.matt.tube(np.array([at - palm * 20, at * 0.7 + elbow * 0.3]), np.array([26.0, 32.0]), skin, 20)
    world.matt.tube(np.array([at * 0.7 + elbow * 0.3, elbow]), np.array([38.0, 48.0]), sleeve, 20)


def tools(world: World, rib: Rib, rng: np.random.Generator, bench_z: float) -> None:
    """Pliers, a roll of tape and a knife on the bench before the rib."""
    for _ in range(int(rng.integers(1, 4))):
        at = np.array([rng.uniform(-0.5, 0.5) * rib.spec.chord, rng.uniform(-220, -40), bench_z + 8])
        kind = int(rng.integers(3))
        way = turn("z", float(rng.uniform(0, 180)))[:, 0] * 90
        if kind == 0:
            for s in (-1, 1):
                bend = np.array([-way[1], way[0], 0]) * 0.2 * s
                world.matt.tube(
                    np.array([at - way + bend, at - way * 0.3 + bend, at, at + way * 0.5 - bend * 0.4]),
                    np.array([7.0, 7.0, 6.0, 3.0]),
                    (0.6, 0.05, 0.04),
                )
        elif kind == 1:
            rgb = (0.7, 0.6, 0.36) if rng.random() < 0.5 else (0.1, 0.2, 0.5)
            roll = at + np.outer([0, 1, 24, 25], [0, 0, 1.0])
            world.matt.tube(roll, np.array([25.0, 48.0, 48.0, 25.0]), rgb, 32)
        else:
            world.matt.box(
                at, (80, 12, 6), (0.75, 0.6, 0.05), np.stack([way / 90, np.cross([0, 0, 1.0], way / 90), [0, 0, 1.0]])
            )


def ruler_image(n: int) -> Image:
    """A ruler's face: n centimetres with ticks and figures, (128, 40 n, 3)."""
    image = np.full((128, 40 * n, 3), 0.75, np.float32)
    for k in range(10 * n):
        image[: 56 if k % 10 == 0 else 40 if k % 5 == 0 else 26, 4 * k : 4 * k + 1] = 0.05
    for k in range(1, n):
        text(image, str(k), (40 * k - 12, 84), 26, (0.05, 0.05, 0.05))
    return image


def ruler(world: World, rib: Rib, rng: np.random.Generator, _: float) -> None:
    """A ruler held or laid against the rib, at any angle but seldom level."""
    n = int(rng.integers(15, 50))
    w, h, t = n * 10.0, 30.0, np.radians(rng.normal(0, 5) if rng.random() < 0.6 else rng.normal(90, 12))
    ex, ez, nn = rib.axes
    cx, cz = np.cos(t) * ex + np.sin(t) * ez, -np.sin(t) * ex + np.cos(t) * ez
    x, z = float(rng.uniform(-0.4, 0.4)) * rib.spec.chord, float(rng.choice([-1, 1])) * float(rng.uniform(30, 75))
    at = rib.place([[x, z]], 3.0)[0]
    uv = np.array([[0, 0], [1, 0], [1, 1], [0, 1.0]])
    corners = at + (uv[:, :1] - 0.5) * w * cx + (uv[:, 1:] - 0.5) * h * cz
    world.plates.append(Plate(corners, uv, np.array([[0, 1, 2], [0, 2, 3]]), ruler_image(n)))
    world.matt.box(at - nn * 1.2, (w / 2, 1.0, h / 2), (0.5, 0.5, 0.5), np.stack([cx, nn, cz]))
    for a, b in ((0, 1), (3, 2)):
        world.lines.append(Line("edge", None, corners[[a, b]], 1.0, note="ruler", solid=False))


def posts(world: World, rib: Rib, rng: np.random.Generator, bench_z: float) -> None:
    """Upright posts of the jig that touch the rib, before or behind it, never quite plumb."""
    for frac in rng.choice([0.04, 0.2, 0.55, 0.86, 0.97], int(rng.integers(1, 4)), replace=False):
        half, deep = float(rng.uniform(8, 22)), float(rng.uniform(10, 20))
        front = rng.random() < 0.3 and (frac < 0.1 or frac > 0.8)
        x, top = float(rib.outline.x(frac)), float(rib.outline.up(frac)) + float(rng.uniform(-30, 120))
        y = -deep - 6 if front else deep + 6
        rgb: Rgb = tuple(np.array(WOOD) * rng.uniform(0.5, 1.4))
        z = (bench_z + top) / 2
        upright_box(
            world, np.array([x, y, z]), (half, deep, (top - bench_z) / 2), rgb, float(rng.normal(0, 0.8)), "post"
        )


def stub(world: World, rib: Rib, rng: np.random.Generator, _: float) -> None:
    """The spar's stub, standing out of the rib's face."""
    frac, wide = SPAR_AT + float(rng.uniform(0.03, 0.08)) * float(rng.choice([-1, 1])), float(rng.uniform(6, 14))
    up, low = float(rib.outline.up(frac)), float(rib.outline.low(frac))
    out = float(rng.uniform(10, 60))
    ex, ez, nn = rib.axes
    at = rib.place([[float(rib.outline.x(frac)), (up * 0.8 + low * 0.9) / 2 + 6]], out / 2)[0]
    high = max(10.0, (up * 0.7 - 12) / 2)
    at = at + ez * (high + 14 - ((up * 0.8 + low * 0.9) / 2 + 6))  # clear of the chord line
    world.matt.box(at, (wide, out / 2, high), tuple(np.array(WOOD) * rng.uniform(0.7, 1.4)), np.stack([ex, nn, ez]))
    for s in (-1, 1):
        ends = np.array([at + s * wide * ex + nn * out / 2 + t * high * ez for t in (-1, 1)])
        world.lines.append(Line("edge", None, ends, 1.5, note="spar stub", solid=False))


def cable(world: World, rib: Rib, rng: np.random.Generator, bench_z: float) -> None:
    """A cable that hangs before the rib, from a thin wire to a power lead, slack or pulled straight."""
    c = rib.spec.chord
    x = float(rng.uniform(-0.45, 0.45)) * c
    a = np.array([x, -float(rng.uniform(40, 150)), 800.0])
    b = np.array([x + float(rng.uniform(-0.25, 0.25)) * c, -float(rng.uniform(40, 150)), bench_z])
    rgb = [(0.04, 0.04, 0.04), (0.8, 0.25, 0.03)][int(rng.integers(2))]
    sag, radius = float(rng.uniform(0, 60)), float(rng.uniform(0.6, 4.5))
    path = wire(world.matt, a, b, sag * (rng.random() < 0.6), radius, rgb)
    world.lines.append(Line("rod", None, path, radius + 1.0, note="cable in front"))


def curly(world: World, rib: Rib, rng: np.random.Generator, bench_z: float) -> None:
    """A coiled cable that hangs before the rib."""
    c, t = rib.spec.chord, np.linspace(0, 1, 900)
    x, y = float(rng.uniform(-0.5, 0.5)) * c, -float(rng.uniform(50, 120))
    turns, r = 2 * np.pi * 55 * t, float(rng.uniform(5, 9))
    path: F64 = np.c_[x + 30 * np.sin(3 * t) + r * np.cos(turns), y + r * np.sin(turns), 500 + (bench_z - 500) * t]
    world.matt.tube(path, 2.0, (0.04, 0.04, 0.05), 8)
