"""A wing drawn at random: its phone, its stations with their true and design angles, and its photos to take."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from training.scenes.effects import Choice, Draw
from training.scenes.finish import Look, draw_look
from training.scenes.geometry import Camera
from training.scenes.rib import Card, Spec

U_LEAN, U_STRING = 0.3, 0.02
"""Standard deviations, degrees, of the ribs' lean from plumb and of a string's own error, as the job states them."""
PER_SIDE = 7
SECTIONS = ("2412", "4412", "4415", "0015", "2415", "2312")


@dataclass(frozen=True)
class Phone:
    """A camera and what its photos say of it. cam : at full size; scale : of the photos made with it."""

    cam: Camera
    make: str
    model: str
    focal_mm: float
    focal35: int
    scale: float

    @property
    def ident(self) -> str:
        """A short name."""
        return f"{self.make}-{self.model}".lower()


@dataclass(frozen=True)
class Station:
    """One rib of the wing. design : chord and spar angles as drawn, degrees."""

    name: str
    side: str
    span: float
    chord: float
    incidence: float
    spar: float
    number: int
    design: tuple[float, float]


@dataclass(frozen=True)
class Wing:
    """A wing, its phone and its photos."""

    ident: str
    seed: int
    phone: Phone
    stations: tuple[Station, ...]
    surface: str
    section: str
    pen: str
    bar_mm: float


@dataclass(frozen=True)
class Shot:
    """One photo to take. ribs : the main one first. cam : at full size; scale : of the photo to be made.

    string_tilt : the string's own error, degrees nose-up. bar_mm : width of the levelled straightedge.
    """

    name: str
    station: str
    ribs: tuple[Spec, ...]
    cam: Camera
    look: Look
    string_tilt: float
    scale: float = 1.0
    walls: tuple[str, ...] = ()
    bar_mm: float = 40.0


def draw_phone(seed: int, scales: tuple[float, float], choice: Choice) -> Phone:
    """The phone of three wings."""
    rng = np.random.default_rng([seed, 7])
    w, h = [(4000, 3000), (4032, 3024), (4080, 3060)][int(rng.integers(3))]
    f, k1 = w * float(rng.uniform(0.72, 0.80)), float(rng.uniform(-0.05, 0.13))
    dist = (
        k1,
        -2.2 * k1 + float(rng.normal(0, 0.02)),
        float(rng.normal(0, 5e-4)),
        float(rng.normal(0, 5e-4)),
        1.5 * k1 + float(rng.normal(0, 0.03)),
    )
    if not choice.allows("distortion"):
        dist = (0.0, 0.0, 0.0, 0.0, 0.0)
    cam = Camera(w, h, f, w / 2 + float(rng.uniform(-25, 25)), h / 2 + float(rng.uniform(-20, 20)), dist)
    scale = round(float(rng.uniform(*scales)), 3)
    return Phone(cam, "Workshop", f"P{seed % 10000}", round(4 + f % 1.5, 2), round(36 * f / w), scale)


def draw_wing(seed: int, phone: Phone, ident: str, choice: Choice) -> Wing:
    """A wing's stations; the design angles differ from the true ones by up to 0.3 degrees and are round."""
    rng, draw = np.random.default_rng([seed, 11]), Draw(seed, choice)
    root, tip = float(rng.uniform(900, 1500)), float(rng.uniform(550, 850))
    wash, top, stations = float(rng.uniform(1, 4)), float(rng.uniform(0, 4)), []
    for i in range(2 * PER_SIDE):
        t = (i % PER_SIDE) / (PER_SIDE - 1)
        incidence = top - wash * t + float(rng.normal(0, 0.25))
        spar = 90 + float(rng.normal(0, 0.3))
        design = (round(incidence + float(rng.uniform(-0.3, 0.3)), 1), round(spar + float(rng.uniform(-0.3, 0.3)), 1))
        side = "right" if i < PER_SIDE else "left"
        stations.append(
            Station(
                f"{side[0].upper()}{i % PER_SIDE + 1}",
                side,
                400.0 + 620.0 * (i % PER_SIDE),
                round(root + (tip - root) * t, 1),
                incidence,
                spar,
                i,
                design,
            )
        )
    return Wing(
        ident,
        seed,
        phone,
        tuple(stations),
        draw.option("surface"),
        str(rng.choice(SECTIONS)),
        draw.option("pen"),
        round(float(rng.uniform(20, 60)), 1),
    )


def cards_for(station: Station, draw: Draw, salt: int, allow_two: bool) -> tuple[Card, ...]:
    """The station's card, or a front and a rear one."""
    rng = draw.rng("cards", salt)
    kind = "panel" if station.chord * 0.12 > 95 and rng.random() < 0.8 else "strip"
    turn = [float(v) for v in rng.uniform(-7, 7, 2)]
    if allow_two and draw.has("two_cards", salt):
        return Card(kind, station.number + 14, 0.16, turn[0]), Card(kind, station.number, 0.67, turn[1])
    return (Card(kind, station.number, 0.48 if kind == "panel" else 0.45, turn[0]),)


def rib_of(
    wing: Wing,
    station: Station,
    index: int,
    draw: Draw,
    at: tuple[float, float, float],
    lean: float,
    cards: tuple[Card, ...],
) -> Spec:
    """A station's rib in one photo."""
    forward = 1 if station.side == "right" else -1  # seen from outboard
    return Spec(
        index,
        station.name,
        station.chord,
        station.incidence,
        station.spar,
        forward,
        wing.section,
        lean,
        at,
        cards,
        wing.surface,
        wing.pen if draw.rng("same pen", index).random() < 0.8 else draw.option("pen", index),
    )


def draw_shot(wing: Wing, k: int, choice: Choice, walls: tuple[str, ...]) -> tuple[Shot, Draw]:
    """Photo k of a wing: station k, with other stations' ribs behind it in some."""
    draw, station = Draw(wing.seed * 100 + k, choice), wing.stations[k % len(wing.stations)]
    rng = draw.rng("ribs")
    ribs = [
        rib_of(wing, station, 0, draw, (0.0, 0.0, 0.0), float(rng.normal(0, U_LEAN)), cards_for(station, draw, 0, True))
    ]
    if draw.has("neighbours"):
        first = station.number - station.number % PER_SIDE
        for j in range(int(rng.integers(1, 4))):
            other = wing.stations[first + (station.number + j + 1) % PER_SIDE]
            at = (
                float(rng.uniform(-220, 220)),
                330.0 * (j + 1) * float(rng.uniform(0.6, 1.1)),
                float(rng.uniform(-120, 160)),
            )
            cards = cards_for(other, draw, j + 1, True) if rng.random() < 0.8 else ()
            ribs.append(rib_of(wing, other, j + 1, draw, at, float(rng.normal(0, U_LEAN)), cards))
    if draw.has("front_rib"):
        angles = station.incidence + float(rng.normal(0, 1)), 90 + float(rng.normal(0, 1))
        own = Station("X9", station.side, 0, station.chord * 0.9, *angles, 30, (0, 0))
        at = (float(rng.uniform(-300, 300)), -float(rng.uniform(120, 200)), -0.19 * station.chord)
        ribs.append(rib_of(wing, own, len(ribs), draw, at, float(rng.normal(0, 1)), ()))
    look = draw_look(Draw(wing.seed, choice))
    name = station.name if k < len(wing.stations) else f"{station.name}-{k // len(wing.stations) + 1}"
    tilt = float(rng.normal(0, U_STRING))
    return Shot(name, station.name, tuple(ribs), wing.phone.cam, look, tilt, wing.phone.scale, walls, wing.bar_mm), draw
