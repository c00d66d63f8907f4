"""Faults that add variance: a display that sticks, coarse rounding, scatter."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from rigging.crosscheck.layout import Candidate, Layout
from rigging.crosscheck.priors import PRIOR
from rigging.crosscheck.types import Fault
from shared.gauge.readings import Line
from shared.numerics.arrays import I64

STEPS = (0.25, 0.5, 1.0, 2.0, 5.0)
STUCK = ((0.6, 0.7), (3.0, 0.3))
"""How far off a stuck display is, standard deviation in degrees, and its share."""
STRETCH = (1.5, 2.0, 3.0, 5.0)


def sticking(layout: Layout, base: Candidate) -> Iterator[Candidate]:
    """Runs of equal readings of one line in the order of reading: all after the first may be stuck.

    That a stuck display repeats to the last digit speaks for it only where the camera saw the angle change.
    A run of two is one station alone that repeats the reading before it.
    """
    runs: list[I64] = []
    lines: tuple[Line, ...] = ("chord", "spar")
    for line in lines:
        index = np.flatnonzero(layout.at(line))
        index = index[np.argsort(layout.when[index], kind="stable")]
        cuts = np.flatnonzero(np.abs(np.diff(layout.shown[index])) > 1e-9) + 1
        runs += [run for run in np.split(index, cuts) if len(run) >= 2]
    for run in runs:
        widen = np.zeros(len(layout.stations))
        widen[run[1:]] = 1.0
        moved = np.abs(layout.camera[run[1:]] - layout.camera[run[0]]) > 2.5 * layout.u[run[1:]]
        names = tuple(layout.stations[i] for i in run)
        fault = Fault("sticking", names, layout.lines[run[0]])
        if len(run) == 2:
            fault = Fault("station", names[1:], layout.lines[run[0]], variant="repeats the one before")
        for size, share in STUCK:
            yield replace(
                base,
                fault=fault,
                prior=PRIOR["sticking"] * share / len(runs),
                widen=widen * size**2,
                bonus=2.0 * float(moved.sum()),
            )


def rounding(layout: Layout, base: Candidate) -> Iterator[Candidate]:
    """All readings whole multiples of a step much coarser than the display's.

    A wing set by this very gauge also reads in round numbers, so the roundness counts for no more than e^4;
    the rest must come from the differences. A finer step would not leave all readings on a coarser one.
    """
    n = len(layout.stations)
    steps = [
        q
        for q in STEPS
        if q > 2 * layout.resolution and np.abs(layout.shown / q - np.round(layout.shown / q)).max() < 1e-6
    ]
    for q in steps:
        yield replace(
            base,
            fault=Fault("rounding", variant=f"{q:g}"),
            prior=PRIOR["rounding"] / len(steps),
            widen=np.full(n, q * q / 12),
            bonus=min(4.0, n * math.log(q / layout.resolution)) - n * math.log(steps[-1] / q),
        )


def scatter(_: Layout, base: Candidate) -> Iterator[Candidate]:
    """All readings scatter more than stated, in no pattern."""
    for k in STRETCH:
        yield replace(base, fault=Fault("scatter"), prior=PRIOR["scatter"] / len(STRETCH), stretch=k)
