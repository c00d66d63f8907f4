"""Lines by name and places that are no rib: what a job says of them, and how their angles are counted.

Every line has one angle to gravity, counted alike everywhere: `a`, from the level of its face up to the line, positive
with the arrow's end up (nose-up on a rib); an upright line has 90 + lean. What the job asks for is counted from that:

    v = sign (a - r)   up to half turns,   r = 0 to level, 90 to plumb, the other line's own a to a line

with the sign that the job's words give ("top forward" counts a lean the other way), and the half turn that comes nearest
to the design: a line has no head and no tail.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from shared.cards import CardKind
from shared.turns import wrap_half_turn

Arrow = Literal["forward", "outboard"]
Kind = Literal["spar web", "tip fitting", "centre section", "leading edge", "other"]
Runs = Literal["level", "upright"]
Marked = Literal["line", "two marks", "two edges"]
Positive = Literal[
    "nose-up", "nose-down", "top aft", "top forward",
    "outboard end up", "outboard end down", "top inboard", "top outboard",
]  # fmt: skip

SENSES: dict[str, tuple[Arrow, int]] = {
    "nose-up": ("forward", 1),
    "top aft": ("forward", 1),
    "nose-down": ("forward", -1),
    "top forward": ("forward", -1),
    "outboard end up": ("outboard", 1),
    "top inboard": ("outboard", 1),
    "outboard end down": ("outboard", -1),
    "top outboard": ("outboard", -1),
}
"""What a positive deviation means -> which way the arrow of a face it may stand at points, and its sign against `a`."""
OPPOSITE = {
    "nose-up": "nose-down", "nose-down": "nose-up", "top aft": "top forward", "top forward": "top aft",
    "outboard end up": "outboard end down", "outboard end down": "outboard end up",
    "top inboard": "top outboard", "top outboard": "top inboard",
}  # fmt: skip
ARROWS: dict[str, Arrow] = {
    "spar web": "outboard",
    "centre section": "outboard",
    "leading edge": "outboard",
    "tip fitting": "forward",
    "other": "forward",
}
"""Which way the cards' arrows point on a place of each kind where the job does not say."""
OF_A_RIB = ("chord", "spar")
"""The two lines that every rib has."""
STEEPEST_DEG = 12.0
"""How far from level or upright, in its face, a named line may be designed: what the search covers with room for the
camera's roll."""


@dataclass(frozen=True)
class Place:
    """A place that is no rib: a flat face with cards of its own.

    arrow : where its cards' arrows point, "forward" (towards the leading edge) or "outboard" (on a centre place: towards the
    right wing). lean_deg : lean of the face from plumb, top outboard positive where the arrows point forward, top aft
    positive where they point outboard; None: not stated. card : kind to print for it.
    """

    name: str
    side: Literal["left", "right", "centre"]
    span_mm: float
    cards: tuple[int, ...]
    kind: Kind = "other"
    arrow: Arrow = "forward"
    lean_deg: float | None = None
    u_lean_deg: float | None = None
    card: CardKind = CardKind.STRIP


@dataclass(frozen=True)
class NamedLine:
    """A line of a station or place, beside a rib's chord and spar line.

    at : name of the station or place. to : "level", "plumb", or the name of another line there. deg : design angle as the
    module says. positive : the sign in words. runs : which way about it runs in the photo. from_card_mm : middle of the line
    from the middle of the first card, mm towards its arrow and up; None: not stated. within_mm : how well that is known.
    length_mm : its length (of two marks: between them). width_mm : between two edges.
    """

    at: str
    name: str
    deg: float
    tolerance_deg: float
    to: str = "level"
    positive: Positive = "nose-up"
    runs: Runs = "level"
    marked: Marked = "line"
    from_card_mm: tuple[float, float] | None = None
    within_mm: float = 15.0
    length_mm: float | None = None
    width_mm: float | None = None

    @property
    def sign(self) -> int:
        """Of the job's counting against `a`."""
        return SENSES[self.positive][1]

    @property
    def key(self) -> tuple[str, str]:
        """Where it is, and its name."""
        return self.at, self.name

    def counted(self, a: float, reference: float) -> float:
        """The angle as the job counts it, degrees, from the line's `a` and the reference's."""
        return self.deg + wrap_half_turn(self.sign * (a - reference) - self.deg)

    def senses(self, deviation: float) -> str:
        """A deviation's sense in words."""
        return self.positive if deviation >= 0 else OPPOSITE[self.positive]


@dataclass(frozen=True)
class LinePair:
    """Two lines of one part, `line` set against `base`: what is built in between them counts by itself. tolerance_deg : of
    the angle between them, about what the lines' own designs make it."""

    at: str
    line: str
    base: str
    tolerance_deg: float


def design_direction(line: NamedLine, lines: Sequence[NamedLine], chord_deg: float, spar_deg: float) -> float:
    """Design `a` of a line, degrees, in [-90, 90). lines : all of its station or place, without circles. chord_deg, spar_deg :
    the rib's own designs."""
    if line.to in ("level", "plumb"):
        base = 0.0 if line.to == "level" else 90.0
    elif line.to in OF_A_RIB:
        base = chord_deg if line.to == "chord" else spar_deg
    else:
        other = next(o for o in lines if o.name == line.to)
        base = design_direction(other, lines, chord_deg, spar_deg)
    return wrap_half_turn(base + line.sign * line.deg)


def runs_of(direction_deg: float) -> Runs:
    """Which way a line of this `a` runs."""
    return "level" if abs(direction_deg) < 45.0 else "upright"
