"""What a person points at when the tool cannot find it: approximate end points of a line, in pixels."""

from __future__ import annotations

from dataclasses import dataclass

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
