"""What to turn, which way and by how much; and what that does to the neighbours."""

from __future__ import annotations

from dataclasses import dataclass

from shared.job import Jig
from shared.quantity import Quantity


@dataclass(frozen=True)
class Moved:
    """What a set of corrections does to one station, degrees: its deviation now and afterwards."""

    station: str
    before: Quantity
    after: Quantity
    tolerance_deg: float


@dataclass(frozen=True)
class Correction:
    """One jig's correction.

    change_deg : turn asked of the jig, nose-up positive (before rounding to its smallest step).
    amount : turns of the screw, clockwise positive, or mm of shim or packing, to put in positive.
    rounded : the same in whole smallest steps. u_amount : its standard uncertainty.
    words : the instruction, as a person would do it. needed : False when nothing should be turned.
    """

    jig: Jig
    stations: tuple[str, ...]
    change_deg: Quantity
    amount: float
    rounded: float
    u_amount: float
    needed: bool
    words: str
    moved: tuple[Moved, ...] = ()
