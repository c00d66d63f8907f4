"""Dimensions that a job asks for: lengths and angles between marks, lines and edges in one plane.

A dimension stands between two features. A feature is a point or a line, written in words: "nose", "mark hinge",
"edge upper skin", "mark a to mark b" (the line through two points), "chord x spar" (where two lines cross). Which photo
shows it and where is never taken from the design value.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum, StrEnum
from functools import cache
from typing import Literal


class Shape(Enum):
    """What a feature is."""

    POINT = "a point"
    LINE = "a line"


class Kind(StrEnum):
    """What is measured between two features.

    shapes : what the two must be. label : in a sentence. unit : "mm" or "deg". default : the features where the job names
    none. sign : what a positive value means; "" where the value has no sign.
    """

    shapes: tuple[Shape, Shape]
    label: str
    unit: Literal["mm", "deg"]
    default: tuple[str, str] | None
    sign: str

    def __new__(
        cls,
        value: str,
        shapes: tuple[Shape, Shape],
        label: str,
        unit: Literal["mm", "deg"] = "mm",
        default: tuple[str, str] | None = None,
        sign: str = "",
    ) -> Kind:
        """A member; the arguments are those that the class docstring explains."""
        member = str.__new__(cls, value)
        member._value_ = value
        member.shapes, member.label, member.unit, member.default, member.sign = shapes, label, unit, default, sign
        return member

    DISTANCE = "distance", (Shape.POINT, Shape.POINT), "distance between two points"
    OFFSET = (
        "offset", (Shape.LINE, Shape.POINT), "offset of a point from a line", "mm", None,
        "the point lies above the line, or before it where the line runs upright",
    )  # fmt: skip
    STEP = (
        "step", (Shape.LINE, Shape.LINE), "step between two lines or edges where they meet", "mm", None,
        "the second stands above the first, or before it where they run upright",
    )  # fmt: skip
    GAP = "gap", (Shape.LINE, Shape.LINE), "gap between two edges that face each other, halfway along"
    CHORD = "chord length", (Shape.POINT, Shape.POINT), "length of the chord", "mm", ("nose", "tail")
    PLACE = (
        "place on chord", (Shape.POINT, Shape.LINE), "where a line crosses the chord line, from the nose", "mm",
        ("nose", "spar"),
        "aft of the nose",
    )  # fmt: skip
    ANGLE = (
        "angle", (Shape.LINE, Shape.LINE), "angle from one line to another", "deg", None,
        "the second is turned nose-up against the first",
    )  # fmt: skip
    SWEEP = (
        "sweep", (Shape.LINE, Shape.LINE), "angle of a line against one that runs square to the root", "deg", None,
        "the second runs aft of the first towards its far end",
    )  # fmt: skip

    @property
    def on_chord(self) -> bool:
        """Whether it is counted along the chord line."""
        return self is Kind.PLACE

    @property
    def signed(self) -> bool:
        """Whether its value has a sign."""
        return bool(self.sign)


@dataclass(frozen=True)
class Feature:
    """A point or a line that a dimension stands on.

    what : "nose", "tail" (printed reference marks on the chord line, foremost and aftmost), "card" (middle of a station card's
    board), "mark" (a mark that a person points at), "chord", "spar", "line" (a drawn line pointed at), "edge" (a straight edge
    pointed at), "through" (the line through two points) or "crossing" (of two lines). name : of a card, mark, line or edge.
    parts : of "through" and "crossing".
    """

    what: str
    name: str = ""
    parts: tuple[Feature, ...] = ()

    @property
    def shape(self) -> Shape:
        """What it is."""
        return Shape.LINE if self.what in ("chord", "spar", "line", "edge", "through") else Shape.POINT

    @property
    def text(self) -> str:
        """As a job writes it."""
        if self.parts:
            return (" to " if self.what == "through" else " x ").join(p.text for p in self.parts)
        return f"{self.what} {self.name}".strip()

    def __iter__(self) -> Iterator[Feature]:
        """Its parts, or itself where it has none."""
        return iter(self.parts or (self,))


FIXED = ("nose", "tail", "chord", "spar")
POINTED = ("mark", "line", "edge")
"""Features that a person points at, by a name of their own."""
FORMS = (
    '"nose", "tail", "card N", "mark NAME", "chord", "spar", "line NAME", "edge NAME", '
    '"POINT to POINT" or "LINE x LINE"'
)
"""How a feature is written."""


@cache
def parse_feature(text: str) -> Feature:
    """The feature that a job writes. text : as `FORMS` says. Raises ValueError, with the rule, for any other text."""
    words = " ".join(text.split())
    for sign, what, shape in ((" to ", "through", Shape.POINT), (" x ", "crossing", Shape.LINE)):
        if sign in words:
            parts = tuple(parse_feature(p) for p in words.split(sign))
            if len(parts) != 2 or any(p.shape is not shape or p.parts for p in parts) or parts[0] == parts[1]:
                raise ValueError(f"needs two different {'points' if shape is Shape.POINT else 'lines'} beside{sign}")
            return Feature(what, "", parts)
    if words in FIXED:
        return Feature(words)
    what, _, name = words.partition(" ")
    if what == "card" and name.isdecimal() and int(name) <= 30:
        return Feature(what, str(int(name)))
    if what in POINTED and name:
        return Feature(what, name)
    raise ValueError(f"is not one of {FORMS}")


@dataclass(frozen=True)
class Dimension:
    """A named length or angle.

    name : unique at its place. place : name of the station, or of the place that is no rib. cards : that lie in its plane.
    side : of the wing, for comparing left with right. between : the two features, the datum first. design, tolerance : in
    `kind.unit`; None: it is measured and not judged. u_depth_mm : standard uncertainty of how far off the cards' plane each
    mark or end of a line lies.
    """

    name: str
    kind: Kind
    place: str
    cards: tuple[int, ...]
    side: Literal["left", "right", "centre"]
    between: tuple[Feature, Feature]
    design: float | None = None
    tolerance: float | None = None
    u_depth_mm: float = 0.3

    @property
    def key(self) -> str:
        """What names it in a batch."""
        return f"{self.place}: {self.name}"

    @property
    def features(self) -> tuple[Feature, ...]:
        """The simple features that it stands on, each once."""
        return tuple(dict.fromkeys(part for f in self.between for part in f))
