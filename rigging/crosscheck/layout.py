"""The pairs as arrays, and one elementary fault as arithmetic on them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigging.crosscheck.types import Fault
from shared.gauge.readings import Line
from shared.job.model import Side
from shared.numerics.arrays import F64, I64, Bools


@dataclass(frozen=True)
class Layout:
    """The n pairs as arrays: names, what the camera saw (n,), what the gauge showed nose-up (n,).

    when : place in the order of reading, 0 first to 1 last; by_clock : the same by the readings' times, None
    without them. shown : as on the display. signless : whether the gauge's convention leaves the sign open.
    mirror : (n,) index of the same line on the other wing's rib, -1 without one. resolution : the display's
    step, degrees. u : standard uncertainty of each difference.
    """

    stations: tuple[str, ...]
    sides: tuple[Side, ...]
    lines: tuple[Line, ...]
    camera: F64
    gauge: F64
    shown: F64
    when: F64
    mirror: I64
    u: F64
    resolution: float
    signless: bool
    by_clock: F64 | None = None

    def at(self, line: Line | None = None, side: Side | None = None, station: str | None = None) -> Bools:
        """(n,) which pairs are of this line, side and station (None: any)."""
        return np.array(
            [
                (line is None or a == line) and (side is None or b == side) and (station is None or c == station)
                for a, b, c in zip(self.lines, self.sides, self.stations, strict=True)
            ]
        )


@dataclass(frozen=True)
class Candidate:
    """One elementary fault as arithmetic on n pairs.

    Right reading = sign * reading[order] + shift. pattern : (n,) what a size of one prior spread does to the
    readings; of_gauge : whether that pattern moves with the readings (an offset) or stays with its station.
    widen : (n,) variance added. stretch : factor on all standard uncertainties. bonus : further log-evidence.
    """

    fault: Fault
    prior: float
    order: I64
    sign: F64
    shift: F64
    pattern: F64
    of_gauge: bool = True
    widen: F64 | None = None
    stretch: float = 1.0
    bonus: float = 0.0

    @property
    def noisy(self) -> bool:
        """Whether it changes the noise."""
        return self.widen is not None or self.stretch != 1.0


def scopes(layout: Layout) -> list[tuple[Line | None, Side | None, Bools]]:
    """All pairs, then one line's, one side's, and one line's on one side, each set once."""
    found: list[tuple[Line | None, Side | None, Bools]] = []
    lines: tuple[Line | None, ...] = (None, "chord", "spar")
    sides: tuple[Side | None, ...] = (None, "left", "right")
    for side in sides:
        for line in lines:
            mask = layout.at(line, side)
            if mask.any() and not any(np.array_equal(mask, m) for _, _, m in found):
                found.append((line, side, mask))
    return found
