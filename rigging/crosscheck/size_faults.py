"""Faults of unknown size: zero error, one line or side off, scale, drift, a step, one station, digits mistaken."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from rigging.crosscheck.layout import Candidate, Layout, scopes
from rigging.crosscheck.priors import PRIOR, SIZES
from rigging.crosscheck.types import Fault
from shared.numerics.arrays import F64

SCALE_FROM_DEG = 10.0
"""Readings that stay below it show no scale error: 2 % of it is 0.2 deg."""
LONGEST_RUN = 5
"""Readings that a chip under the gauge takes along before it falls out again, at most."""


def _sized(base: Candidate, fault: Fault, prior: float, pattern: F64, of_gauge: bool) -> Iterator[Candidate]:
    for size, share in SIZES:
        yield replace(base, fault=fault, prior=prior * share, pattern=pattern * size, of_gauge=of_gauge)


def offsets(layout: Layout, base: Candidate) -> Iterator[Candidate]:
    """One amount on all readings, in the gauge's sense or (written nose-up) in the line's; on one line or side."""
    one = np.ones(len(layout.stations))
    for of_gauge in (True, False):
        yield from _sized(base, Fault("offset"), PRIOR["offset"] / 2, one, of_gauge)
    left = layout.at(side="left")
    turned = np.where(left, -1.0, 1.0)
    if abs(turned.sum()) < len(turned) and left.any():
        yield from _sized(base, Fault("offset", variant="opposed"), PRIOR["opposed"], turned, True)
    for line, side, mask in scopes(layout):
        if 1 < mask.sum() < len(mask) - 1:
            share = PRIOR["line offset"] if side is None else PRIOR["side offset"] * (0.5 if line is None else 0.25)
            yield from _sized(base, Fault("offset", (), line, side), share / 2, mask.astype(float), False)


def scale(layout: Layout, base: Candidate) -> Iterator[Candidate]:
    """Every reading too big by the same part of itself; the size is what that makes at 90 deg."""
    if np.abs(layout.gauge).max() >= SCALE_FROM_DEG:
        yield from _sized(base, Fault("scale"), PRIOR["scale"], layout.gauge / 90.0, True)


def drift(layout: Layout, base: Candidate) -> Iterator[Candidate]:
    """An offset that grows from the first reading to the last: with each reading, or with the clock."""
    if len(layout.stations) >= 4:
        ways = [layout.when] if layout.by_clock is None else [layout.when, layout.by_clock]
        for way in ways:
            yield from _sized(base, Fault("drift"), PRIOR["drift"] / len(ways), way, True)


def steps(layout: Layout, base: Candidate) -> Iterator[Candidate]:
    """An offset from one reading on, or of a few in a row: a chip under the gauge, a zero that was moved.

    A step where the lines or the sides change is that line's or side's own offset.
    """
    n = len(layout.stations)
    rank = np.argsort(np.argsort(layout.when, kind="stable"), kind="stable")
    known = {m.tobytes() for _, _, mask in scopes(layout) for m in (mask, ~mask)}
    runs = [(k, n) for k in range(2, n - 1)]
    runs += [(k, k + m) for m in range(2, LONGEST_RUN + 1) for k in range(1, n - m)]
    masks = [(k, m, (rank >= k) & (rank < m)) for k, m in runs]
    kept = [c for c in masks if c[2].tobytes() not in known]
    order = np.argsort(rank)
    to_end = max(sum(m == n for _, m, _ in kept), 1)
    for k, m, mask in kept:
        first, last = order[k], order[min(m, n) - 1]
        where = f"{layout.stations[first]} {layout.lines[first]}"
        if m < n:
            where += f" to {layout.stations[last]} {layout.lines[last]}"
        share = PRIOR["step"] * (0.6 / to_end if m == n else 0.4 / max(len(kept) - to_end, 1))
        yield from _sized(base, Fault("step", variant=where), share, mask.astype(float), True)


def single(layout: Layout, base: Candidate) -> Iterator[Candidate]:
    """One reading off, or both of one station."""
    n = len(layout.stations)
    both = [s for s in dict.fromkeys(layout.stations) if layout.at(station=s).sum() == 2]
    for i in range(n):
        yield from _sized(
            base,
            Fault("station", (layout.stations[i],), layout.lines[i]),
            PRIOR["station"] * 0.8 / n,
            np.eye(n)[i],
            False,
        )
    for s in both:
        yield from _sized(
            base,
            Fault("station", (s,)),
            PRIOR["station"] * 0.2 / len(both),
            layout.at(station=s).astype(float),
            False,
        )


def digits(layout: Layout, base: Candidate) -> Iterator[Candidate]:
    """One reading whose figures were exchanged (1.2 for 2.1) or whose point was shifted (15 for 1.5)."""
    found = []
    for i, shown in enumerate(layout.shown.tolist()):
        for variant, right in mistaken(shown, layout.resolution):
            found.append((i, variant, right - shown))
    for i, variant, change in found:
        # a gauge that counts the other way round moves the other way round
        same, other = layout.gauge[i] - layout.shown[i], layout.gauge[i] + layout.shown[i]
        turn = 1.0 if abs(same) <= min(abs(other), abs(other - 180.0)) else -1.0
        yield replace(
            base,
            fault=Fault("station", (layout.stations[i],), layout.lines[i], variant=variant),
            prior=PRIOR["digits"] / len(found),
            shift=np.eye(len(layout.stations))[i] * change * turn,
        )


def mistaken(shown: float, resolution: float) -> Iterator[tuple[str, float]]:
    """What may have been meant where a number was written down wrong, with how: degrees as on the display."""
    places = max(0, round(-np.log10(max(resolution, 1e-6)))) if resolution < 1 else 0
    text = f"{abs(shown):.{max(places, 1)}f}"
    sign = -1.0 if shown < 0 else 1.0
    figures = [k for k, c in enumerate(text) if c != "."]
    said = {round(shown, 6)}
    for a, b in itertools.pairwise(figures):
        swapped = list(text)
        swapped[a], swapped[b] = swapped[b], swapped[a]
        yield from _new("digits", sign * float("".join(swapped)), said)
    for factor in (10.0, 0.1):
        if shown and abs(shown * factor) <= 180.0:
            yield from _new("point", shown * factor, said)


def _new(how: str, value: float, said: set[float]) -> Iterator[tuple[str, float]]:
    if round(value, 6) not in said:
        said.add(round(value, 6))
        yield how, value
