"""Good photos by chance: scenes any careful builder might photograph."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np

from shop.camera import PHONE, Camera
from shop.scene import CHALK, INK, PENCIL, CardAt, Cord, Laser, Line, Pen, Rgb, Scene, String

STRINGS: tuple[Rgb, ...] = (
    (0.85, 0.83, 0.78), (0.9, 0.35, 0.05), (0.06, 0.06, 0.07), (0.1, 0.55, 0.2), (0.75, 0.05, 0.25),
    (0.9, 0.85, 0.1), (0.35, 0.3, 0.25), (0.1, 0.2, 0.7),
)  # fmt: skip
Surface = Literal["ply", "balsa", "foam", "carbon", "white"]
SURFACES: tuple[Surface, ...] = ("ply", "balsa", "foam", "ply", "balsa", "carbon", "white")
CARDS_APART = 15
"""A station's second card carries the first one's number plus this."""
Cards = Literal["panel", "strip", "panels", "strips"]


def good_scene(
    seed: int,
    cards: Cards = "panel",
    level: Literal["plumb", "laser"] = "plumb",
    camera: Camera = PHONE,
    lean: bool = False,
) -> Scene:
    """One photo that should be measured: chord line, spar line, card or two cards, one level reference.

    Everything else is drawn by chance from the seed. lean : the rib plane leans by up to 4 degrees.
    """
    rng = np.random.default_rng([seed, 77])
    u = rng.uniform
    surface = SURFACES[int(rng.integers(len(SURFACES)))]
    chord = float(u(650, 1500) if cards.startswith("panel") else u(600, 1000))  # strips are for small ribs
    turn = float(u(-3.5, 3.5))
    pen = chance_pen(rng, surface)
    naca = ("2412", "4412", "2415", "0012", "4415")[int(rng.integers(5))]
    marks: tuple[Literal["quartered", "cross", "none"], ...] = ("quartered", "cross", "none")
    return Scene(
        seed=seed, camera=camera, chord_mm=chord, chord_deg=turn, spar_deg=float(90 + u(-1.5, 1.5)),
        forward=1 if rng.random() < 0.5 else -1, naca=naca, lean_deg=float(u(-4, 4)) if lean else 0.0,
        cards=chance_cards(rng, cards),
        marks="quartered" if surface == "carbon" else marks[int(rng.integers(3))],
        chord_pen=pen, spar_pen=replace(pen, wave_mm=pen.wave_mm / 2),
        lines=chance_lines(rng, chord, surface),
        strings=(chance_string(rng, chord),) if level == "plumb" else (),
        laser=chance_laser(rng) if level == "laser" else None, cords=chance_cords(rng), surface=surface,
        grain=float(u(0.5, 1.5)), wall_mm=float(u(600, 1500)), yaw_deg=float(u(-12, 12)),
        pitch_deg=float(u(-8, 8)), roll_deg=float(u(-5, 5)),
        aim=(float(u(-0.07, 0.07) * chord), float(u(-0.05, 0.09) * chord)), fill=float(u(0.55, 0.76)),
        gradient=float(u(0, 0.4)), exposure=float(u(0.6, 0.95)) * (0.8 if level == "laser" else 1.0),
        blur_px=float(u(0.6, 1.1)), noise=float(u(0.5, 1.8)), sharpen=float(u(0, 0.7)),
    )  # fmt: skip


def with_shop_errors(scene: Scene, rng: np.random.Generator) -> Scene:
    """The scene with what no shop is free of: string and laser off by 0.02 degrees, cards off the rib by 0.1.

    Standard deviations, as a job's defaults state them; the truth stays gravity's and the line's.
    """
    return replace(
        scene,
        strings=tuple(replace(s, sway_deg=s.sway_deg + float(rng.normal(0, 0.02))) for s in scene.strings),
        laser=scene.laser and replace(scene.laser, tilt_deg=scene.laser.tilt_deg + float(rng.normal(0, 0.02))),
        cards=tuple(replace(c, tilt_deg=c.tilt_deg + float(rng.normal(0, 0.1))) for c in scene.cards),
    )


def chance_pen(rng: np.random.Generator, surface: Surface) -> Pen:
    """A pen that shows on this surface."""
    rgb = CHALK if surface == "carbon" else (INK, PENCIL, (0.05, 0.07, 0.3))[int(rng.integers(3))]
    return Pen(
        float(rng.uniform(0.5, 1.1)), rgb, float(rng.uniform(0.65, 0.95)), float(rng.uniform(0.03, 0.16)),
        int(rng.integers(0, 4)), float(rng.uniform(0.1, 0.35)),
    )  # fmt: skip


def chance_cards(rng: np.random.Generator, cards: Cards) -> tuple[CardAt, ...]:
    """One card near the middle, or two far apart."""
    kind: Literal["panel", "strip"] = "panel" if cards.startswith("panel") else "strip"
    number = int(rng.integers(0, 15))
    turns = rng.uniform(-6, 6, 2)
    if cards in ("panel", "strip"):
        return (CardAt(kind, number, float(rng.uniform(0.40, 0.54)), float(turns[0])),)
    return (
        CardAt(kind, number, 0.68, float(turns[0])),
        CardAt(kind, number + CARDS_APART, 0.15, float(turns[1])),
    )


def chance_lines(rng: np.random.Generator, chord: float, surface: Surface) -> tuple[Line, ...]:
    """Pencilled waterlines: fainter and shorter than any chord line."""
    found = []
    for _ in range(int(rng.integers(0, 3))):
        z, tilt = rng.uniform(0.02, 0.05) * chord * rng.choice([-1, 1]), np.radians(rng.uniform(-1.5, 1.5))
        half, middle = rng.uniform(0.10, 0.20), rng.uniform(0.32, 0.6)
        rise = float(np.tan(tilt) * half * chord)
        rgb = CHALK if surface == "carbon" else PENCIL
        found.append(Line((middle + half, z - rise), (middle - half, z + rise), Pen(0.5, rgb, 0.45, 0.15)))
    return tuple(found)


def chance_string(rng: np.random.Generator, chord: float) -> String:
    """A plumb line before the rib, somewhere along it."""
    return String(
        float(rng.uniform(-0.3, 0.3) * chord), float(rng.uniform(4, 60)), float(rng.uniform(0.3, 1.0)),
        STRINGS[int(rng.integers(len(STRINGS)))], float(rng.uniform(-0.3, 0.3)), float(rng.uniform(0, 0.65)),
        float(rng.uniform(0.1, 1.5)),
    )  # fmt: skip


def chance_laser(rng: np.random.Generator) -> Laser:
    """A red or green line, a little above or below the chord line."""
    rgb = (2.6, 0.16, 0.10) if rng.random() < 0.5 else (0.2, 2.2, 0.3)
    return Laser(float(rng.choice([-1, 1]) * rng.uniform(12, 24)), rgb, float(rng.uniform(0.4, 0.9)))


def chance_cords(rng: np.random.Generator) -> tuple[Cord, ...]:
    """Cables, pipes and poles on the wall behind, nearly upright."""
    found = []
    for _ in range(int(rng.integers(0, 4))):
        x, y = float(rng.uniform(-900, 900)), float(rng.uniform(400, 580))
        tone = rng.uniform(0.05, 0.7, 3)
        top = (x + float(rng.uniform(-60, 60)), y, 1800.0)
        rgb = (float(tone[0]), float(tone[1]), float(tone[2]))
        found.append(Cord((x, y, -150.0), top, float(rng.uniform(2, 14)), rgb))
    return tuple(found)
