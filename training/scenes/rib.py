"""One rib: its face drawn as a builder draws it, and where every drawn line lies, in chord coordinates."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from shared.numerics.arrays import F64
from training.scenes import outline as shape
from training.scenes.effects import Draw
from training.scenes.geometry import turn
from training.scenes.sheet import Sheet
from training.scenes.textures import surface
from training.scenes.world import Line, Rgb

CARDS = {"panel": (7, 5, 25.0, 18.0), "strip": (9, 3, 15.0, 11.0)}
"""Squares across and down, square and marker in mm."""
PENS: dict[str, tuple[tuple[float, float], tuple[float, float], Rgb]] = {
    "pen": ((0.5, 1.1), (0.65, 0.95), (0.08, 0.08, 0.12)),
    "pencil": ((0.35, 0.6), (0.5, 0.8), (0.22, 0.21, 0.21)),
    "ballpoint": ((0.35, 0.6), (0.7, 0.95), (0.06, 0.08, 0.28)),
    "marker": ((1.2, 1.7), (0.75, 0.97), (0.05, 0.05, 0.06)),
    "red": ((0.5, 1.3), (0.65, 0.95), (0.45, 0.05, 0.05)),
    "blue": ((0.5, 1.3), (0.65, 0.95), (0.06, 0.10, 0.38)),
}
"""Width in mm, darkness, colour."""
SPAR_AT = 0.30


@dataclass(frozen=True)
class Card:
    """A station card on a rib. frac : its middle, part of the chord from the leading edge. turn : degrees."""

    kind: str
    number: int
    frac: float
    turn: float

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of the sheet, mm."""
        c, r, sq, _ = CARDS[self.kind]
        return c * sq + 12, r * sq + 20


@dataclass(frozen=True)
class Spec:
    """What a rib is. index : 0 the one photographed, 1.. others. at : where mid chord stands, mm."""

    index: int
    station: str
    chord: float
    incidence: float
    spar: float
    forward: int
    naca: str
    lean: float = 0.0
    at: tuple[float, float, float] = (0.0, 0.0, 0.0)
    cards: tuple[Card, ...] = ()
    surface: str = "ply"
    pen: str = "pen"


@dataclass(frozen=True)
class Stroke:
    """A straight thing on the rib face: kind and points (m, 2), with the spans that something painted hides."""

    kind: str
    points: F64
    hidden: tuple[tuple[float, float], ...] = ()
    note: str = ""


@dataclass
class Rib:
    """A rib face under the pen."""

    spec: Spec
    draw: Draw
    outline: shape.Outline
    sheet: Sheet
    holes: list[F64] = field(default_factory=list)
    strokes: list[Stroke] = field(default_factory=list)
    capped: bool = False

    @property
    def axes(self) -> F64:
        """Rows: x along the chord to the right of the photo, z up the rib, and the normal towards the camera."""
        a = np.radians(self.spec.incidence * self.spec.forward)
        lean = turn("x", self.spec.lean)
        ex, ez = lean @ [np.cos(a), 0, np.sin(a)], lean @ [-np.sin(a), 0, np.cos(a)]
        return np.stack([ex, ez, np.cross(ex, ez)])

    def place(self, points: ArrayLike, lift: float = 0.0) -> F64:
        """Sheet points (n, 2) into the world, `lift` mm before the face."""
        p, axes = np.asarray(points, float), self.axes
        return np.asarray(p[:, :1] * axes[0] + p[:, 1:2] * axes[1] + np.asarray(self.spec.at) + lift * axes[2])

    def rng(self, name: str) -> np.random.Generator:
        """This rib's own random stream of a name."""
        return self.draw.rng(name, self.spec.index)

    def has(self, name: str) -> bool:
        """Whether an effect is on for this rib."""
        return self.draw.has(name, self.spec.index)

    def mark(
        self, kind: str, a: ArrayLike, b: ArrayLike, hidden: tuple[tuple[float, float], ...] = (), note: str = ""
    ) -> None:
        """Note a straight thing from a to b."""
        self.strokes.append(Stroke(kind, np.array([a, b], float), hidden, note))

    def lines(self) -> list[Line]:
        """What is drawn, as lines in space."""
        return [Line(s.kind, self.spec.index, self.place(s.points), 0.6, s.hidden, note=s.note) for s in self.strokes]

    @property
    def chord_deg(self) -> float:
        """True chord angle, nose-up positive: the drawn line's inclination to the horizontal."""
        return float(np.degrees(np.arcsin(self.axes[0][2] * self.spec.forward)))


def blank(spec: Spec, draw: Draw, ppm: float) -> Rib:
    """A rib cut out, nothing drawn on it yet. ppm : pixels of its picture a millimetre."""
    o = shape.naca4(spec.naca, spec.chord, spec.forward)
    margin = 3.0
    half_w, lo, hi = (
        spec.chord / 2 + margin,
        float(o.lower[:, 1].min()) * spec.chord - margin,
        float(o.upper[:, 1].max()) * spec.chord + margin,
    )
    h, w = int((hi - lo) * ppm), int(2 * half_w * ppm)
    image = surface(draw.rng("rib surface", spec.index), h, w, spec.surface, ppm)
    return Rib(spec, draw, o, Sheet(half_w, lo, hi, ppm, image))


def pen_of(rib: Rib) -> tuple[float, float, Rgb]:
    """Width, darkness and colour of the pen this rib is drawn with; white on dark surfaces."""
    rng = rib.rng("pen")
    width, dark, rgb = PENS[rib.spec.pen]
    if rib.spec.surface == "carbon":
        rgb = (0.85, 0.85, 0.82) if rng.random() < 0.8 else (0.75, 0.7, 0.2)
    w, d = float(rng.uniform(*width)), float(rng.uniform(*dark))
    if rib.has("faint_line"):
        w, d = 0.3, d * 0.45
    return w, d, rgb
