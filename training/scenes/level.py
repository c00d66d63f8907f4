"""Level references: plumb strings with their bobs, the laser's line, a levelled straightedge."""

from __future__ import annotations

import numpy as np

from shared.numerics.arrays import F64
from training.scenes.effects import Draw
from training.scenes.geometry import resample
from training.scenes.rib import Rib
from training.scenes.world import Line, Rgb, Soup, World

STRINGS: dict[str, tuple[tuple[float, float], Rgb]] = {
    "cotton": ((0.4, 0.8), (0.85, 0.83, 0.78)),
    "cord": ((1.0, 1.5), (0.80, 0.76, 0.66)),
    "fishing": ((0.11, 0.16), (0.55, 0.58, 0.60)),
    "orange": ((0.4, 1.1), (0.90, 0.35, 0.05)),
    "pink": ((0.4, 1.1), (0.85, 0.10, 0.40)),
    "black": ((0.3, 1.0), (0.05, 0.05, 0.06)),
    "white": ((0.3, 1.0), (0.92, 0.92, 0.90)),
    "wood": ((0.4, 0.9), (0.62, 0.47, 0.30)),
    "green": ((0.4, 1.0), (0.20, 0.60, 0.20)),
    "braided": ((0.8, 1.4), (0.85, 0.83, 0.78)),
}
"""Radius in mm and colour."""
BOBS: dict[str, tuple[list[float], list[float], int]] = {
    "cone": ([0, 6, 18, 52], [3, 9, 9, 0.5], 20),
    "cylinder": ([0, 0.5, 44, 44.5], [0.5, 9, 9, 0.5], 20),
    "nut": ([0, 0.3, 10, 10.3], [0.5, 11, 11, 0.5], 6),
}
"""Depths below the string's end and radii there, mm; sides."""


def thread(soup: Soup, path: F64, radius: float, rgb: Rgb, braided: bool) -> None:
    """A string along a path; a braided one is two-coloured every few millimetres."""
    if not braided:
        soup.tube(resample(path, 40), radius, rgb)  # short pieces: slivers a metre long trace badly
        return
    length = float(np.linalg.norm(path[-1] - path[0]))
    n = int(length / 2.2)
    fine = path[0] + np.linspace(0, 1, n)[:, None] * (path[-1] - path[0])
    colours = np.where((np.arange(n) // 2 % 2 == 0)[:, None], np.asarray(rgb), np.array([0.55, 0.06, 0.06]))
    soup.tube(fine, radius, colours, 8)


def bob(world: World, kind: str, at: F64, rng: np.random.Generator) -> None:
    """What pulls a string straight, hanging below `at`."""
    rgb = [(0.55, 0.42, 0.15), (0.5, 0.5, 0.52), (0.12, 0.12, 0.13), (0.5, 0.1, 0.08)][int(rng.integers(4))]
    s = float(rng.uniform(0.8, 1.4))
    if kind == "sphere":
        world.shiny.ball(at - [0, 0, 11 * s], 12 * s, rgb)
    elif kind in BOBS:
        depth, radii, sides = BOBS[kind]
        world.shiny.tube(at - s * np.outer(depth, [0, 0, 1.0]), np.array(radii) * s, rgb, sides)


def string_place(rib: Rib, draw: Draw) -> float:
    """Where a careful person hangs the string: before the rib, clear of cards and spar line; x in mm."""
    rng, c, fw = draw.rng("string place"), rib.spec.chord, rib.spec.forward
    near = draw.has("string_near_card")
    x = 0.0
    for _ in range(400):
        x = float(rng.uniform(-0.34, 0.34)) * c
        gaps = [abs(x - fw * (c / 2 - card.frac * c)) - card.size[0] / 2 for card in rib.spec.cards]
        close = min(gaps, default=99.0)
        if abs(x - fw * (c / 2 - 0.30 * c)) > 25 and (-60 < close < 8 if near else close > 25):
            break
    return x


def plumb(world: World, rib: Rib, draw: Draw, tilt_deg: float) -> None:
    """The main string, perhaps a second one. tilt_deg : the string's own error, nose-up positive."""
    rng, style = draw.rng("string"), draw.option("string")
    (r0, r1), rgb = STRINGS[style]
    radius, gap = float(rng.uniform(r0, r1)), float(rng.uniform(4, 60))
    tan, chord = np.tan(np.radians(tilt_deg)) * rib.spec.forward, rib.spec.chord
    xs = [string_place(rib, draw)]
    if draw.has("second_string"):
        xs.append(xs[0] + float(rng.choice([-1, 1])) * float(rng.uniform(0.15, 0.5)) * chord)
    bob_kind, nail = draw.option("bob"), draw.has("string_nail")
    z0 = -0.12 * chord - (60.0 if bob_kind != "none" else 700.0)
    for k, x in enumerate(xs):
        top = float(rng.uniform(0.24, 0.33)) * chord if nail else 900.0
        ends = np.array([[x + tan * z, -gap - 8.0 * k, z] for z in (z0, top)])
        thread(world.matt, ends, radius, rgb, style == "braided")
        bob(world, bob_kind, ends[0], draw.rng("bob", k))
        world.lines.append(Line("string", None, ends, radius + 0.5))
        if nail:
            world.shiny.tube(np.array([ends[1] + [0, -6.0, 0], ends[1] + [0, 500.0, 0]]), 2.2, (0.45, 0.45, 0.47))
            if rng.random() < 0.5:
                world.matt.box(ends[1] + [0, 45.0, 22.0], (16, 40, 22), (0.35, 0.25, 0.15))


def neighbour_strings(world: World, ribs: list[Rib], draw: Draw) -> None:
    """Strings hung before the ribs behind, plumb like the main one."""
    for rib in ribs:
        if rib.spec.at[1] < 100 or not draw.has("neighbour_string", rib.spec.index):
            continue
        rng = draw.rng("neighbour string", rib.spec.index)
        (r, _), rgb = STRINGS[str(rng.choice(["cotton", "orange", "black", "white"]))]
        x, y = (
            float(rng.uniform(-0.4, 0.4)) * rib.spec.chord + rib.spec.at[0],
            rib.spec.at[1] - float(rng.uniform(5, 40)),
        )
        ends = np.array([[x, y, -0.1 * rib.spec.chord], [x, y, 1100.0]])
        world.matt.tube(resample(ends, 40), r, rgb)
        world.lines.append(Line("string", None, ends, r + 0.5, note="before a rib behind"))


def straightedge(world: World, rib: Rib, draw: Draw, wide: float) -> None:
    """A levelled bar `wide` mm between its edges, across the rib's lower part; one end stands out past it."""
    rng, c = draw.rng("straightedge"), rib.spec.chord
    z = -float(rng.uniform(0.012, 0.045)) * c - wide / 2
    half = float(rng.uniform(0.3, 0.7)) * c
    mid = float(rng.choice([-1, 1])) * max(0.0, (0.56 + float(rng.uniform(0, 0.1))) * c - half)
    y = -float(rng.uniform(3, 14))
    rgb = [(0.62, 0.63, 0.65), (0.75, 0.62, 0.08), (0.55, 0.36, 0.18), (0.55, 0.06, 0.05)][int(rng.integers(4))]
    world.matt.box(np.array([mid, y, z]), (half, 2.5, wide / 2), rgb)
    for s in (-1, 1):
        ends = np.array([[mid - half, y - 2.5, z + s * wide / 2], [mid + half, y - 2.5, z + s * wide / 2]])
        world.lines.append(Line("straightedge", None, ends, 0.8, solid=False))


def laser(world: World, ribs: list[Rib], wall_y: float, draw: Draw) -> None:
    """A level laser's light, and its line on every rib and on the wall."""
    rng = draw.rng("laser")
    far = float(rng.uniform(-0.05, 0.07)) * ribs[0].spec.chord
    world.laser_z = float(rng.uniform(-20, 22)) + (far if rng.random() < 1 / 3 else 0.0)
    dim = float(rng.choice([0.25, 0.6, 1.0]))
    rgb = (2.6, 0.16, 0.1) if rng.random() < 0.5 else (0.12, 2.6, 0.2)
    world.laser_rgb, world.laser_mm = tuple(dim * v for v in rgb), float(rng.uniform(0.4, 1.1))
    for rib in ribs:
        ex, ez, _ = rib.axes
        at = np.asarray(rib.spec.at)
        xs = np.array([-0.5, 0.5]) * rib.spec.chord
        points = np.array([at + x * ex + (world.laser_z - at[2] - x * ex[2]) / ez[2] * ez for x in xs])
        world.lines.append(Line("laser", rib.spec.index, points, 0.6, note="rib"))
    ends = np.array([[x, wall_y, world.laser_z] for x in (-3000.0, 3000.0)])
    world.lines.append(Line("laser", None, ends, 2.0, note="wall"))
