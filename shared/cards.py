"""The kinds of station card: ChArUco boards of several sizes. A new kind is a member here, and nothing else."""

from __future__ import annotations

from enum import StrEnum


class CardKind(StrEnum):
    """A kind of card, the largest first. columns, rows : squares of its board. square_mm, marker_mm : their sides.

    Card n carries marker ids 32 n, 32 n + 1, ... in board order, whatever its kind: at most 32 markers fit.
    """

    columns: int
    rows: int
    square_mm: float
    marker_mm: float

    def __new__(cls, value: str, columns: int, rows: int, square_mm: float, marker_mm: float) -> CardKind:
        """A member; the arguments are those that the class docstring explains."""
        member = str.__new__(cls, value)
        member._value_ = value
        member.columns, member.rows = columns, rows
        member.square_mm, member.marker_mm = square_mm, marker_mm
        return member

    @classmethod
    def of(cls, value: str) -> CardKind:
        """The member of a value. Raises KeyError."""
        return {kind.value: kind for kind in cls}[value]

    PANEL = "panel", 7, 5, 25.0, 18.0
    STRIP = "strip", 9, 3, 15.0, 11.0


KINDS = tuple(CardKind)
"""All kinds, the largest first."""
NAMES = [kind.value for kind in CardKind]
"""What jobs and commands call them."""
