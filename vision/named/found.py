"""A named line as found, or the reason why it was not."""

from __future__ import annotations

from dataclasses import dataclass

from shared.flags import Flag
from shared.lines import Role
from shared.numerics.arrays import F64
from vision.lines.measure import Stroke
from vision.solution.scene import LineSeen


@dataclass(frozen=True)
class FoundLine:
    """lines : its observations. chance : probability that it is the line. rival : what it may be instead, as the witness
    calls it. paths : (n, 2) sheet mm of each, for the picture. strokes : where it was measured as strokes. drawn : with a pen.
    """

    name: str
    lines: tuple[LineSeen, ...] = ()
    reason: str | None = None
    chance: float = 0.0
    rival: str = ""
    paths: tuple[F64, ...] = ()
    strokes: tuple[Stroke, ...] = ()
    flags: tuple[Flag, ...] = ()
    drawn: bool = False

    @property
    def role(self) -> Role:
        """What it is to the reading."""
        return Role.NAMED
