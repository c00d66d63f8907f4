"""Scenes with lines by name, the jobs that name them, and what is true of them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from shared.job.model import Job, Station, Wing
from shared.job.named import NamedLine, Place
from shared.numerics.arrays import F64
from shop.camera import PHONE_12, Camera
from shop.chance import chance_pen, chance_string, good_scene, with_shop_errors
from shop.scene import Board, CardAt, Line, Pen, Scene, String
from shop.sheets import CARDS

Case = Literal[
    "rib, panel", "rib, strip", "web, panel", "web, two panels", "web, strip", "web, two marks",
    "fitting, panel, bolt", "fitting, strip, bolt",
]  # fmt: skip
CASES: tuple[Case, ...] = (
    "rib, panel", "rib, strip", "web, panel", "web, two panels", "web, strip", "web, two marks",
    "fitting, panel, bolt", "fitting, strip, bolt",
)  # fmt: skip
PLACED_MM = 4.0
"""How well the job says where a line is: standard deviation of its ruler, each way."""
U_LEAN = 0.2


@dataclass(frozen=True)
class Named:
    """A scene, its job, and the true `a` (`shared.job.named`) of each named line, degrees."""

    scene: Scene
    job: Job
    truth: dict[str, float]


@dataclass(frozen=True)
class Drawn:
    """A named line as it lies: middle (mm along the face to the arrow's end, mm above its middle line), its length and its
    own turn against the face's middle line, arrow's end up positive, degrees."""

    name: str
    middle: tuple[float, float]
    length_mm: float
    turn_deg: float
    marked: Literal["line", "two marks", "two edges"] = "line"
    width_mm: float | None = None


def named_scene(case: Case, seed: int, camera: Camera = PHONE_12) -> Named:
    """One photo of a case, all by chance from the seed; what the job says is off by draws from what it states."""
    rng = np.random.default_rng([seed, 404])
    if case.startswith("rib"):
        scene = _rib(good_scene(seed, "panel" if "panel" in case else "strip", camera=camera))
        lines = _on_rib(rng, scene)
    elif case.startswith("web"):
        scene = _web(rng, seed, case, camera)
        lines = _on_web(rng, scene, case)
    else:
        scene = _fitting(rng, seed, case, camera)
        lines = _on_fitting(rng, scene)
    pen = scene.chord_pen if scene.plate_mm is None and scene.chord_pen else chance_pen(rng, scene.surface)
    for line in lines:
        scene = with_line(scene, line, pen, rng)
    if scene.plate_mm is not None:
        scene = replace(scene, chord_pen=None)
    told = replace(scene, lean_deg=scene.lean_deg + float(rng.normal(0, U_LEAN)))
    truth = {d.name: true_angle(scene, d) for d in lines}
    return Named(with_shop_errors(scene, rng), _job(told, case, lines, rng), truth)


def true_angle(scene: Scene, d: Drawn) -> float:
    """The line's `a`. In a face that leans about the level, an upright line's angle stays; a level one's inclination shrinks."""
    turned = scene.chord_deg + d.turn_deg
    if abs(d.turn_deg) > 45:
        return turned
    return math.degrees(math.asin(math.sin(math.radians(turned)) * math.cos(math.radians(scene.lean_deg))))


def with_line(scene: Scene, d: Drawn, pen: Pen, rng: np.random.Generator) -> Scene:
    t = math.radians(d.turn_deg)
    half = 0.5 * d.length_mm * np.array([math.cos(t), math.sin(t)])

    def at(p: F64) -> tuple[float, float]:
        return 0.5 - float(p[0]) / scene.chord_mm, float(p[1])

    a, b = at(np.array(d.middle) - half), at(np.array(d.middle) + half)
    if d.marked == "two marks":
        return replace(scene, quarters=(*scene.quarters, a, b))
    if d.width_mm is not None:
        tone = float(rng.choice([0.12, 0.3, 0.55]))
        return replace(scene, boards=(*scene.boards, Board(a, b, d.width_mm, (tone, tone, tone * 1.05))))
    return replace(scene, lines=(*scene.lines, Line(a, b, replace(pen, wave_mm=0.6 * pen.wave_mm))))


def _rib(scene: Scene) -> Scene:
    """A rib deep enough below its chord line, its card clear of the second spar and its strings clear of both."""
    naca = "2415" if scene.naca.startswith("44") else scene.naca
    string = scene.strings[0]
    clear = abs(string.x_mm * scene.forward + 0.165 * scene.chord_mm) > 0.05 * scene.chord_mm
    strings = scene.strings if clear else (replace(string, x_mm=string.x_mm + 0.12 * scene.chord_mm * scene.forward),)
    return replace(scene, naca=naca, cards=(replace(scene.cards[0], at=0.42),), strings=strings)


def _on_rib(rng: np.random.Generator, scene: Scene) -> list[Drawn]:
    """A level line below the chord line and a second upright one, far from card and spar line."""
    c = scene.chord_mm
    level = Drawn("waterline", (float(rng.uniform(-0.02, 0.08)) * c, -0.02 * c), float(rng.uniform(0.3, 0.42)) * c,
                  -scene.chord_deg + float(rng.normal(0, 0.3)))  # fmt: skip
    x = float(rng.uniform(-0.185, -0.145)) * c
    rear = Drawn("rear spar", (x, 0.015 * c), 0.055 * c, 90.0 - scene.chord_deg + float(rng.normal(0, 0.5)))
    return [level, rear]


def _web(rng: np.random.Generator, seed: int, case: Case, camera: Camera) -> Scene:
    length, high = float(rng.uniform(700, 1100)), float(rng.uniform(150, 200))
    number = int(rng.integers(0, 15))
    kind: Literal["panel", "strip"] = "strip" if "strip" in case or "marks" in case else "panel"
    turns = rng.uniform(-3, 3, 2)
    if kind == "panel":
        high = float(rng.uniform(190, 230))
    cards: tuple[CardAt, ...] = (
        CardAt(kind, number, 0.5 + float(rng.choice([-1, 1]) * rng.uniform(0.18, 0.22)), float(turns[0]), 10.0),
    )
    if "two panels" in case:
        cards = (
            CardAt(kind, number, 0.82, float(turns[0]), 10.0),
            CardAt(kind, number + 15, 0.18, float(turns[1]), 10.0),
        )
    return _plate(rng, seed, camera, length, high, cards)


def _plate(
    rng: np.random.Generator, seed: int, camera: Camera, length: float, high: float, cards: tuple[CardAt, ...]
) -> Scene:
    plain = good_scene(seed, camera=camera)
    string = _beside(chance_string(rng, length), rng, cards, length, plain.forward)
    aim = (float(rng.uniform(-0.06, 0.06)) * length, float(rng.uniform(-20, 20)))
    return replace(
        plain, chord_mm=length, plate_mm=high, chord_deg=float(rng.uniform(-2.5, 2.5)), spar_deg=None, marks="none",
        cards=cards, lines=(), holes=False, lean_deg=float(rng.uniform(-1.5, 1.5)),
        surface=("ply", "balsa", "white", "ply")[int(rng.integers(4))],
        strings=(string,), aim=aim,
    )  # fmt: skip


def _beside(string: String, rng: np.random.Generator, cards: tuple[CardAt, ...], length: float, forward: int) -> String:
    """A string near the middle of the picture, clear of the cards."""
    for _ in range(200):
        x = float(rng.normal(0, 0.08)) * length
        clear = [abs(x - (0.5 - c.at) * length) - CARDS[c.kind][0] * CARDS[c.kind][2] / 2 for c in cards]
        if min(clear) > 15 and x < 0.21 * length:
            return replace(string, x_mm=forward * x)
    raise ValueError("the cards leave no room for a string")


def _on_web(rng: np.random.Generator, scene: Scene, case: Case) -> list[Drawn]:
    c, high = scene.chord_mm, scene.plate_mm or 0.0
    z = -0.5 * high + float(rng.uniform(14, 24))
    marked: Literal["line", "two marks"] = "two marks" if "marks" in case else "line"
    long = Drawn("flange", (float(rng.uniform(-0.05, 0.05)) * c, z), float(rng.uniform(0.55, 0.8)) * c,
                 float(rng.normal(0, 0.3)), marked)  # fmt: skip
    side = float(rng.choice([-1, 1])) if "two panels" in case else np.sign(scene.cards[0].at - 0.5)
    x = float(side * (rng.uniform(0.1, 0.14) if "two panels" in case else rng.uniform(0.24, 0.3))) * c
    if marked == "two marks":
        return [long]
    return [long, Drawn("strut", (x, 0.06 * high), 0.6 * high, 90.0 + float(rng.normal(0, 0.8)))]


def _fitting(rng: np.random.Generator, seed: int, case: Case, camera: Camera) -> Scene:
    kind: Literal["panel", "strip"] = "strip" if "strip" in case else "panel"
    length, high = (float(rng.uniform(330, 420)), float(rng.uniform(230, 280)))
    card = CardAt(kind, int(rng.integers(0, 15)), 0.66 if kind == "panel" else 0.7, float(rng.uniform(-4, 4)), 5.0)
    return _plate(rng, seed, camera, length, high, (card,))


def _on_fitting(rng: np.random.Generator, scene: Scene) -> list[Drawn]:
    c, high = scene.chord_mm, scene.plate_mm or 0.0
    bolt = Drawn("bolt", (float(rng.uniform(0.25, 0.32)) * c, 0.0), float(rng.uniform(0.5, 0.7)) * high,
                 90.0 - scene.chord_deg + float(rng.normal(0, 0.8)), "two edges", float(rng.uniform(8, 14)))  # fmt: skip
    ledge = Drawn("ledge", (-0.02 * c, -0.5 * high + 18.0), 0.6 * c, float(rng.normal(0, 0.5)))
    return [bolt, ledge]


def _card_middle(scene: Scene, card: CardAt) -> F64:
    """Middle of its printed board, mm along and above the middle line, arrow's end positive."""
    columns, rows, square, _ = CARDS[card.kind]
    width, height = columns * square + 12.0, rows * square + 20.0
    above = height / 2 + 9 if card.above_mm is None else card.above_mm
    # the board's middle lies 4 mm above the sheet's, which has 6 mm at the top and 14 mm at the foot
    turn = math.radians(card.turn_deg) * scene.forward
    way = 1.0 if scene.forward > 0 else -1.0
    up = 4.0 * way * np.array([-math.sin(turn), math.cos(turn)])
    return np.array([(0.5 - card.at) * scene.chord_mm, above]) + up * (1.0 if width else 0.0)


def _job(told: Scene, case: Case, lines: list[Drawn], rng: np.random.Generator) -> Job:
    side: Literal["left", "right"] = "right" if rng.random() < 0.5 else "left"
    numbers = tuple(c.number for c in told.cards)
    rib = Station("R1", "right" if told.forward > 0 else "left", 1000.0, told.chord_mm, numbers,
                  round(told.chord_deg), 0.25, 90.0, 0.25, told.spar_at, told.lean_deg, U_LEAN)  # fmt: skip
    place: tuple[Place, ...] = ()
    if case.startswith("web"):
        behind = (told.forward > 0) == (side == "right")  # a right wing's outboard is to the right, seen from behind
        place = (
            Place("web", side, 1000.0, numbers, "spar web", "outboard", told.lean_deg * (1 if behind else -1), U_LEAN),
        )
    elif case.startswith("fitting"):
        outboard = (told.forward > 0) == (side == "right")
        place = (
            Place("fitting", side, 4000.0, numbers, "tip fitting", "forward",
                  told.lean_deg * (1 if outboard else -1), U_LEAN),
        )  # fmt: skip
    at = place[0].name if place else "R1"
    if place:
        rib = replace(rib, cards=())
    named = tuple(job_line(at, told, d, rng) for d in lines)
    return Job(Wing("drawn", "R1"), (rib,), places=place, lines=named)


def job_line(at: str, scene: Scene, d: Drawn, rng: np.random.Generator) -> NamedLine:
    card = scene.cards[0]
    off = np.array(d.middle) - _card_middle(scene, card)
    turn = math.radians(card.turn_deg) * scene.forward  # of the card's arrow, its end up, against the middle line
    arrow, up = np.array([math.cos(turn), math.sin(turn)]), np.array([-math.sin(turn), math.cos(turn)])
    from_card = (float(off @ arrow + rng.normal(0, PLACED_MM)), float(off @ up + rng.normal(0, PLACED_MM)))
    upright = abs(d.turn_deg) > 45
    return NamedLine(
        at, d.name, 90.0 if upright else 0.0, 0.2, "level", "top aft" if upright else "nose-up",
        "upright" if upright else "level", d.marked, from_card, 2 * PLACED_MM, d.length_mm * float(rng.uniform(0.95, 1.05))
        if d.marked == "line" else d.length_mm + float(rng.normal(0, 1.0)), d.width_mm,
    )  # fmt: skip
