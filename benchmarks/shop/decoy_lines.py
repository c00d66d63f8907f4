"""Decoys among the drawn lines: what may be taken for the chord line, and lines that are missing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Literal

import numpy as np

from shop.chance import STRINGS
from shop.scene import PENCIL, Bar, Board, Line, Pen, Rgb, Scene, Spot

Rng = np.random.Generator
_WOOD: Rgb = (0.36, 0.24, 0.13)


def _plain(scene: Scene, rng: Rng) -> Scene:
    """A wooden rib, so that pencil and grain show."""
    surface: Literal["ply", "balsa"] = "ply" if rng.random() < 0.5 else "balsa"
    pen = scene.chord_pen or Pen()
    dark = replace(pen, rgb=(0.08, 0.08, 0.12))
    return replace(scene, surface=surface, chord_pen=dark, spar_pen=replace(dark, wave_mm=0.05))


def grain(scene: Scene, rng: Rng) -> Scene:
    """Heavy grain along the chord, with long dark streaks."""
    streaks = []
    for _ in range(12):
        z, turn = rng.uniform(-0.04, 0.08) * scene.chord_mm, rng.uniform(-0.02, 0.02) * scene.chord_mm
        start, length = rng.uniform(0.1, 0.5), rng.uniform(0.2, 0.45)
        pen = Pen(float(rng.uniform(0.3, 0.8)), _WOOD, float(rng.uniform(0.15, 0.4)), 0.6, 4, 0.35)
        streaks.append(Line((start + length, z), (start, z + turn), pen))
    return replace(_plain(scene, rng), grain=3.0, lines=tuple(streaks))


def waterlines(scene: Scene, rng: Rng) -> Scene:
    """Many pencilled waterlines, up to two thirds of the chord long."""
    found = []
    for k in range(5):
        z = (0.018 + 0.012 * k) * scene.chord_mm * (1 if k % 2 else -1) * 0.8
        half = rng.uniform(0.2, 0.33)
        middle = rng.uniform(0.4, 0.5)
        rise = np.tan(np.radians(rng.uniform(-0.6, 0.6))) * half * scene.chord_mm
        found.append(Line((middle + half, z - rise), (middle - half, z + rise), Pen(0.5, PENCIL, 0.5, 0.1, 1)))
    return replace(_plain(scene, rng), lines=tuple(found))


def capstrips(scene: Scene, rng: Rng) -> Scene:
    """Straight strips of other wood near the outline, their edges long and nearly along the chord."""
    c = scene.chord_mm
    strips = (
        Board((0.95, 0.006 * c), (0.45, 0.07 * c + rng.uniform(-4, 4)), 9.0, _WOOD, 0.8),
        Board((0.95, -0.012 * c), (0.2, -0.035 * c + rng.uniform(-2, 2)), 8.0, _WOOD, 0.8),
    )
    return replace(_plain(scene, rng), boards=strips)


def tape(scene: Scene, rng: Rng) -> Scene:
    """Masking tape along the chord line, a little askew, two sharp edges."""
    z, turn = rng.uniform(18, 30) * rng.choice([-1, 1]), rng.uniform(-8, 8)
    strip = Board(
        (float(rng.uniform(0.75, 0.9)), z),
        (float(rng.uniform(0.1, 0.3)), z + turn),
        19.0,
        (0.8, 0.75, 0.55),
        0.9,
    )
    return replace(scene, boards=(strip,))


def beam_shadow(scene: Scene, rng: Rng) -> Scene:
    """The edge of a shadow across the rib, nearly along the chord."""
    z, turn = rng.uniform(15, 35), rng.uniform(-25, 25)
    return replace(scene, boards=(Board((1.1, z + 60), (-0.1, z + 60 + turn), 120.0, (0.0, 0.0, 0.0), 0.4),))


def _second(scene: Scene, rng: Rng) -> Line:
    z, turn = (
        rng.uniform(10, 22) * rng.choice([-1, 1]),
        np.radians(rng.uniform(0.5, 1.6) * rng.choice([-1, 1])),
    )
    rise = float(np.tan(turn) * 0.4 * scene.chord_mm)
    return Line((0.95, z - rise), (0.05, z + rise), scene.chord_pen or Pen())


def second_line(scene: Scene, rng: Rng) -> Scene:
    """Another pen line as long and as dark, no marks."""
    return replace(scene, marks="none", lines=(*scene.lines, _second(scene, rng)))


def second_line_marked(scene: Scene, rng: Rng) -> Scene:
    """Another pen line as long and as dark; quartered marks on the right one."""
    return replace(scene, marks="quartered", lines=(*scene.lines, _second(scene, rng)))


def no_chord_line(scene: Scene, rng: Rng) -> Scene:
    """No chord line; everything else is there."""
    return replace(scene, chord_pen=None, marks="none" if rng.random() < 0.7 else scene.marks)


def no_line_but_pencil(scene: Scene, rng: Rng) -> Scene:
    """No chord line, but waterlines."""
    return replace(waterlines(scene, rng), chord_pen=None, marks="none")


def marks_off(scene: Scene, rng: Rng) -> Scene:
    """One mark 4 to 8 mm off the chord line."""
    off = float(rng.uniform(4, 8) * rng.choice([-1, 1]))
    return replace(scene, marks="quartered", marks_off_mm=(off, 0.0) if rng.random() < 0.5 else (0.0, off))


def clamps(scene: Scene, rng: Rng) -> Scene:
    """Clamps' feet on the chord line."""
    spots = tuple(
        Spot((float(at), float(rng.uniform(-8, 8))), (float(rng.uniform(25, 60)), 40.0))
        for at in rng.uniform(0.12, 0.85, 3)
    )
    return replace(scene, spots=spots)


def straightedge(scene: Scene, rng: Rng) -> Scene:
    """A straightedge lying over the rib near the chord line, out of level; the string is the reference."""
    tilt = scene.chord_deg * scene.forward + rng.uniform(0.5, 3) * rng.choice([-1, 1])
    bar = Bar(float(rng.uniform(-80, 80)), -30.0, 0.8 * scene.chord_mm, 25.0, 2.0, float(tilt))
    return replace(scene, bars=(bar,), strings=(replace(scene.strings[0], rgb=STRINGS[1]),))


def faint(scene: Scene, rng: Rng) -> Scene:
    """A chord line hardly to be seen."""
    pen = replace(scene.chord_pen or Pen(), cover=float(rng.uniform(0.12, 0.3)), width_mm=0.4)
    return replace(scene, chord_pen=pen, marks="none")


LINES: dict[str, tuple[Literal["angle", "refuse"], Callable[[Scene, Rng], Scene]]] = {
    "heavy grain": ("angle", grain),
    "waterlines": ("angle", waterlines),
    "capstrips": ("angle", capstrips),
    "tape": ("angle", tape),
    "edge of a shadow": ("angle", beam_shadow),
    "second equal line": ("refuse", second_line),
    "second equal line, marks on the first": ("angle", second_line_marked),
    "no chord line": ("refuse", no_chord_line),
    "no chord line but waterlines": ("refuse", no_line_but_pencil),
    "mark off the line": ("refuse", marks_off),
    "clamps on the line": ("angle", clamps),
    "straightedge over the rib": ("angle", straightedge),
    "faint chord line": ("angle", faint),
}
"""Kinds of decoy: what is right to say, and the change to a good scene."""
