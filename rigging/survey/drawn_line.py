"""What a drawn line itself errs by: the same in every photo of it, whoever looks at it and however often.

A reading's "pen waviness" belongs to the line on the rib, not to the photo; taken as each photo's own it
would shrink with repeats, which it does not. The same holds for how well the line was marked by hand.
"""

from __future__ import annotations

import math
from dataclasses import replace

from shared.job.model import Job
from shared.quantity import Component, Quantity
from shared.reading import Angle, Reading

PEN = "pen waviness"
MARKING = {"chord": "marking of the chord line by hand", "spar": "marking of the spar line by hand"}

MARKED = "marking of the line by hand"
"""The same of a line by name."""


def as_drawn(reading: Reading) -> Reading:
    """The reading with its lines' pen waviness shared with every photo of the same line; marking left out."""
    return replace(
        reading,
        chord=_angle(reading.chord, reading.station, "chord"),
        spar=_angle(reading.spar, reading.station, "spar"),
        relative=_angle(Angle(reading.relative), reading.station, "chord").quantity,
        lines=tuple(
            replace(
                line,
                angle=_angle(line.angle, reading.station, line.name),
                relative=_angle(Angle(line.relative), reading.station, line.name).quantity,
            )
            for line in reading.lines
        ),
    )


def _angle(angle: Angle, station: str | None, line: str) -> Angle:
    if angle.quantity is None:
        return angle
    parts = angle.quantity.without(*MARKING.values(), MARKED).components
    waves = [c.u for c in parts if c.name == PEN]
    if waves:
        # one variate, positive loading: wholly shared between photos of this line, the cautious assumption
        pen = Component(PEN, f"pen:{station} {line}", math.sqrt(math.fsum(u * u for u in waves)))
        parts = (*(c for c in parts if c.name != PEN), pen)
    return replace(angle, quantity=Quantity(angle.quantity.value, parts))


def with_marking(quantity: Quantity, job: Job, station: str, line: str) -> Quantity:
    """The angle of the line as it should have been drawn: the job's marking uncertainty added, if stated.

    Its source is the drawn line, so it cancels between surveys of the same line, before and after.
    """
    if not job.marking_u_deg:
        return quantity
    return quantity.plus(Component(MARKING.get(line, MARKED), f"marking:{station} {line}", job.marking_u_deg))
