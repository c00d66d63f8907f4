"""Inclinometer readings as people write them down, and the oddities met while reading them.

A reading is kept as the gauge showed it; what its convention makes of it is `calibration.gauge.sense`'s
affair. Degrees.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Line = Literal["chord", "spar"]
NamedLines = Mapping[tuple[str, str], Line]
"""(station or place, name of a line there) -> as which of a rib's two lines the gauge counts on it."""


@dataclass(frozen=True)
class GaugeReading:
    """One number read from the inclinometer at one line of one station.

    shown_deg : as shown, degrees, in the gauge's own counting. said : "nose-up" or "nose-down" where the
        writer added the word, which then outranks the gauge's sense; None otherwise.
    name : of a line that the job names; `line` then says how the gauge counts there: as on a level line, or on an upright one.
    taken : ISO 8601 local time, or None. row : 1-based line in the file (0: not from a file).
    """

    station: str
    line: Line
    shown_deg: float
    said: Literal["nose-up", "nose-down"] | None = None
    taken: str | None = None
    row: int = 0
    note: str = ""
    name: str = ""


@dataclass(frozen=True)
class Oddity:
    """Something in the readings file that was not plain: the row, what stands there, what was made of it.

    used : whether a reading came of it all the same.
    """

    row: int
    text: str
    used: bool

    def __str__(self) -> str:
        """The row and what of it, for a screen."""
        return f"row {self.row}: {self.text}"


@dataclass(frozen=True)
class GaugeReadings:
    """All readings of one file, in the file's order, and everything odd in it. named : those of lines that the job names."""

    readings: tuple[GaugeReading, ...]
    oddities: tuple[Oddity, ...] = ()
    source: str = ""
    named: tuple[GaugeReading, ...] = ()

    @property
    def unused(self) -> tuple[Oddity, ...]:
        """What of the file was not used, with the reasons: to be reported wherever the file is used."""
        return tuple(o for o in self.oddities if not o.used)
