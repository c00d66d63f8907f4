"""What a person points at when the tool cannot find it: a line by two points, a named mark, line or edge."""

from __future__ import annotations

import math
from dataclasses import dataclass

from shared.dimensions import POINTED as FEATURES
from shared.errors import UserError
from shared.lines import POINTED, Role, listed


@dataclass(frozen=True)
class Hint:
    """A line from a to b, (x, y) pixels of the upright photo, good to about 5 px at 12 megapixels; the
    reader refines it and records that a person helped."""

    role: Role
    a: tuple[float, float]
    b: tuple[float, float]

    def __post_init__(self) -> None:
        """Raises UserError for what nobody can point at."""
        if self.role not in POINTED:
            raise UserError(f"hint {self.role}", "is no line to point at", f"point at one of {listed()}")

    @property
    def key(self) -> str:
        """What it points at: a photo has one hint of each."""
        return self.role.value

    @property
    def text(self) -> str:
        """As a hints file holds it."""
        return f"{self.role} {_xy(self.a)} {_xy(self.b)}"

    @classmethod
    def from_text(cls, text: str) -> Hint:
        """From "chord 512,1680 3320,1644". Raises UserError.

        text : a role and two pixels (x, y) of the upright photo, from one end of the line to the other.

        >>> hint = Hint.from_text("chord 512,1680 3320,1644")
        >>> hint.a, hint.b
        ((512.0, 1680.0), (3320.0, 1644.0))
        """
        words = text.replace("=", " ").replace(";", " ").split()
        try:
            role = Role.of(words[0])
            if role not in POINTED or len(words) != 3:
                raise ValueError
            (ax, ay), (bx, by) = (tuple(float(v) for v in w.split(",")) for w in words[1:])
        except (ValueError, IndexError):
            raise UserError(
                f"hint {text!r}",
                "is not a line and two points",
                f"write ROLE X,Y X,Y with ROLE {listed()}",
            ) from None
        if abs(ax - bx) + abs(ay - by) < 20:
            raise UserError(f"hint {text!r}", "has its two points within 20 pixels", "point at both ends") from None
        return cls(role, (ax, ay), (bx, by))


@dataclass(frozen=True)
class Pointed:
    """A named mark, line or edge that dimensions stand on. what : one of `shared.dimensions.POINTED`. points : (x, y)
    pixels of the upright photo, good to about 5 px at 12 megapixels: one of a mark, both ends of a line or edge."""

    what: str
    name: str
    points: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        """Raises UserError for what nobody can point at."""
        thing = f"hint {self.what} {self.name}"
        if self.what not in FEATURES or not self.name:
            raise UserError(thing, "is no feature to point at", f"point at a named {', '.join(FEATURES)}")
        if len(self.points) != (1 if self.what == "mark" else 2):
            raise UserError(thing, "needs one point of a mark, two of a line or edge", "point at it again")
        if len(self.points) == 2 and math.dist(*self.points) < 20:
            raise UserError(thing, "has its two points within 20 pixels", "point at both ends")

    @property
    def key(self) -> str:
        """What it points at: a photo has one of each."""
        return f"{self.what} {self.name}"

    @property
    def text(self) -> str:
        """As a hints file holds it."""
        return " ".join((self.what, self.name, *map(_xy, self.points)))

    @classmethod
    def from_text(cls, text: str) -> Pointed:
        """From "mark hinge 512,1680" or "edge upper skin 300,900 800,910". Raises UserError.

        text : kind and name of the feature, then one or two pixels (x, y) of the upright photo.
        """
        what, *words = text.split()
        count = 1 if what == "mark" else 2
        try:
            points = tuple((float(x), float(y)) for x, y in (w.split(",") for w in words[-count:]))
            if not all(math.isfinite(v) for p in points for v in p):
                raise ValueError
        except ValueError:
            raise UserError(
                f"hint {text!r}",
                "is not a name and its points",
                "write mark NAME X,Y, line NAME X,Y X,Y or edge NAME X,Y X,Y",
            ) from None
        return cls(what, " ".join(words[:-count]), points)


def hint_from_text(text: str) -> Hint | Pointed:
    """A hint of either sort. Raises UserError.

    text : as for `Hint.from_text` or `Pointed.from_text`.
    """
    return Pointed.from_text(text) if text.split(" ", 1)[0] in FEATURES else Hint.from_text(text)


def _xy(point: tuple[float, float]) -> str:
    return f"{point[0]:.1f},{point[1]:.1f}"
