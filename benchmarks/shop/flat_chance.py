"""Flat places drawn by chance, with their true dimensions, and what a person would point at in the photo."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from shared.numerics.arrays import F64
from shop.camera import PHONE_12
from shop.flat import FlatScene, Skin
from shop.scene import CardAt, Pen, Rgb, Scene

SKINS: tuple[Rgb, ...] = ((0.82, 0.74, 0.58), (0.70, 0.72, 0.74), (0.88, 0.86, 0.80), (0.55, 0.42, 0.28))


@dataclass(frozen=True)
class PrintError:
    """What a card's print is off by: its mean scale beyond 1, its stretch down against across, its corners in degrees."""

    scale: float = 0.0
    stretch: float = 0.0
    skew_deg: float = 0.0


@dataclass(frozen=True)
class Place:
    """A place by chance. truth : dimension -> value, mm or degrees. pointed : feature -> where it lies, plane mm (1 or 2 points).
    arrow_up : whether the card's arrow points up the photo, as in a view from above."""

    scene: FlatScene
    truth: dict[str, float]
    pointed: dict[str, F64]
    arrow_up: bool


def place_of(seed: int, printed: PrintError, seat_deg: float, strip: bool) -> Place:
    """One place. The card is laid with its print's errors and off the plane by seat_deg."""
    rng = np.random.default_rng([seed, 78])
    width = float(rng.uniform(520, 1100))
    arrow_up = bool(seed % 2)
    look = _look(seed, width, _card(rng, width, printed, seat_deg, strip, arrow_up), rng)
    half = 0.42 * width
    a, b = (np.array([x * half, -float(rng.uniform(0.1, 0.16)) * width]) for x in (-1, 1))
    turn, swept = float(rng.uniform(-6, 6)), float(rng.uniform(-6, 6))
    datum = _line(np.array([float(rng.normal(0, 5)), float(rng.uniform(0.16, 0.18) * width)]), turn, width)
    other = _line(np.array([float(rng.normal(0, 5)), -0.19 * width]), turn + swept, width)
    c = np.array([float(rng.uniform(-0.3, 0.3)) * width, float(rng.uniform(0.24, 0.27)) * width])
    crosses = {"d": np.array([-half, 0.1 * width]), "e": np.array([half, float(rng.uniform(0.05, 0.1)) * width])}
    step, gap = float(rng.uniform(-3, 3)), float(rng.uniform(1.5, 8))
    ground, skins, edges = _joint(rng, width, step, gap)
    pen = Pen(float(rng.uniform(0.4, 0.9)), cover=float(rng.uniform(0.65, 0.95)), wave_mm=float(rng.uniform(0.03, 0.1)))
    marks = {"a": a, "b": b, "c": c}
    scene = FlatScene(
        look,
        0.66 * width,
        marks,
        crosses,
        {"datum": datum, "other": other},
        (ground, *skins),
        pen,
        tone=float(rng.uniform(-0.3, 1.0)),
        card_mm=float(rng.normal(0.2, 0.2)),
    )
    across = math.degrees(math.atan2(*(b - a)[::-1]))
    truth = {
        "distance, printed marks": float(np.linalg.norm(b - a)),
        "distance, pen crosses": float(np.linalg.norm(crosses["e"] - crosses["d"])),
        "offset": float((c - datum[0]) @ _left(turn)),
        "step": step,
        "gap": gap,
        "angle": -swept if arrow_up else swept,
    }
    if arrow_up:
        truth["sweep"] = across - turn
    pointed = {f"mark {n}": p[None] for n, p in (marks | crosses).items()}
    pointed |= {f"line {n}": np.stack(ends) for n, ends in scene.lines.items()}
    pointed |= {f"edge {n}": ends for n, ends in edges.items()}
    return Place(scene, truth, pointed, arrow_up)


def _card(
    rng: np.random.Generator, width: float, printed: PrintError, seat_deg: float, strip: bool, arrow_up: bool
) -> CardAt:
    return CardAt(
        "strip" if strip else "panel",
        int(rng.integers(0, 31)),
        float(rng.uniform(0.35, 0.65)),
        float(rng.uniform(-4, 4)) + (90.0 if arrow_up else 0.0),
        float(rng.uniform(-0.03, 0.06)) * width,
        seat_deg,
        (1 + printed.scale) / (1 + printed.stretch / 2),
        printed.stretch,
        printed.skew_deg,
    )


def _look(seed: int, width: float, card: CardAt, rng: np.random.Generator) -> Scene:
    return Scene(
        seed=seed,
        camera=PHONE_12,
        chord_mm=width,
        chord_deg=float(rng.normal(0, 1.5)),
        cards=(card,),
        surface=str(rng.choice(["ply", "balsa", "white", "foam"])),  # type: ignore[arg-type]
        yaw_deg=float(rng.uniform(-14, 14)),
        pitch_deg=float(rng.uniform(-14, 14)),
        roll_deg=float(rng.normal(0, 1.5)),
        aim=(float(rng.normal(0, 0.02 * width)), float(rng.normal(0, 0.02 * width))),
        fill=float(rng.uniform(0.72, 0.9)),
        exposure=float(rng.uniform(0.7, 0.9)),
        blur_px=float(rng.uniform(0.6, 1.0)),
        noise=float(rng.uniform(0.6, 1.4)),
        gradient=float(rng.uniform(0.1, 0.3)),
    )


def _left(turn_deg: float) -> F64:
    t = math.radians(turn_deg)
    return np.array([-math.sin(t), math.cos(t)])


def _line(middle: F64, turn_deg: float, width: float) -> tuple[F64, F64]:
    t = math.radians(turn_deg)
    half = 0.36 * width * np.array([math.cos(t), math.sin(t)])
    return middle - half, middle + half


def _joint(
    rng: np.random.Generator, width: float, step: float, gap: float
) -> tuple[Skin, tuple[Skin, ...], dict[str, F64]]:
    """The ground behind a joint, its two skins, the second one's upper edge higher by a step, and the edges' ends."""
    top, deep, long = -0.24 * width, 0.05 * width, 0.16 * width
    first, second = (SKINS[int(k)] for k in rng.integers(0, len(SKINS), 2))
    wave = float(rng.uniform(0.03, 0.07))

    def box(x0: float, x1: float, z0: float, z1: float) -> F64:
        return np.array([[x0, z0], [x1, z0], [x1, z1], [x0, z1]])

    ground = Skin(box(-1.15 * long, 1.15 * long, top - 1.3 * deep, top + 0.3 * deep), (0.14, 0.11, 0.08))
    a, b = box(-long, -gap / 2, top - deep, top), box(gap / 2, long, top - deep, top + step)
    inset = np.array([4.0, 0.0])
    edges = {
        "fixed": np.stack([a[3] + inset, a[2] - inset]),
        "free": np.stack([b[3] + inset, b[2] - inset]),
        "fixed side": np.stack([a[2] - inset[::-1], a[1] + inset[::-1]]),
        "free side": np.stack([b[3] - inset[::-1] - [0, max(step, 0.0)], b[0] + inset[::-1]]),
    }
    return ground, (Skin(a, first, wave), Skin(b, second, wave)), edges
