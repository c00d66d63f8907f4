"""Readings that stand beside another line than the one they were read from."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from rigging.crosscheck.layout import Candidate, Layout
from rigging.crosscheck.priors import PRIOR
from rigging.crosscheck.types import Fault
from shared.gauge.readings import Line

FEWEST_SLIPPED = 4
"""Rows that slipped together, at least: two of them are a swap, three of one slip and a misread one look alike."""


def swaps(layout: Layout, base: Candidate) -> Iterator[Candidate]:
    """Two stations written beside each other, on one line or both."""
    names = list(dict.fromkeys(layout.stations))
    place = {(s, line): i for i, (s, line) in enumerate(zip(layout.stations, layout.lines, strict=True))}
    lines: tuple[Line, ...] = ("chord", "spar")
    count = len(names) * (len(names) - 1) / 2
    for a, first in enumerate(names):
        for second in names[a + 1 :]:
            both = [line for line in lines if (first, line) in place and (second, line) in place]
            choices: list[tuple[Line | None, list[Line], float]] = [(b, [b], 0.25) for b in both]
            if len(both) == 2:
                choices.append((None, both, 0.5))
            elif len(both) == 1:
                choices = [(both[0], both, 1.0)]
            for line, moved, share in choices:
                order = base.order.copy()
                for m in moved:
                    i, j = place[first, m], place[second, m]
                    order[i], order[j] = j, i
                yield replace(
                    base,
                    fault=Fault("swap", (first, second), line),
                    order=order,
                    prior=PRIOR["swap"] * share / count,
                )


def sides(layout: Layout, base: Candidate) -> Iterator[Candidate]:
    """Left and right mixed up: each reading belongs to the same rib of the other wing."""
    both = layout.mirror >= 0
    if both.sum() < 4:
        return
    order = np.where(both, layout.mirror, base.order)
    yield replace(base, fault=Fault("sides"), order=order, prior=PRIOR["sides"])


def lines(layout: Layout, base: Candidate) -> Iterator[Candidate]:
    """Chord and spar reading of one station, or of all stations, each in the other's place."""
    place = {at: i for i, at in enumerate(zip(layout.stations, layout.lines, strict=True))}
    both = [s for s in dict.fromkeys(layout.stations) if (s, "chord") in place and (s, "spar") in place]
    whole = base.order.copy()
    for s in both:
        i, j = place[s, "chord"], place[s, "spar"]
        order = base.order.copy()
        order[[i, j]] = j, i
        whole[[i, j]] = j, i
        yield replace(base, fault=Fault("lines", (s,)), order=order, prior=PRIOR["lines"] * 0.5 / len(both))
    if len(both) > 1:
        yield replace(base, fault=Fault("lines"), order=whole, prior=PRIOR["lines"] * 0.5)


def slips(layout: Layout, base: Candidate) -> Iterator[Candidate]:
    """Rows of one line that slipped by one, in the order of reading, up to its end or from its beginning."""
    found = []
    for line in ("chord", "spar"):
        index = np.flatnonzero(layout.at(line))
        index = index[np.argsort(layout.when[index], kind="stable")]
        n = len(index)
        runs = {(k, n) for k in range(n - FEWEST_SLIPPED + 1)} | {(0, k) for k in range(FEWEST_SLIPPED, n + 1)}
        for first, last in sorted(runs):
            for step in (1, -1):
                order = base.order.copy()
                order[index[first:last]] = np.roll(index[first:last], step)
                names = tuple(layout.stations[i] for i in index[first:last])
                found.append((Fault("slip", names, line, variant="up" if step > 0 else "down"), order))
    for fault, order in found:
        yield replace(base, fault=fault, order=order, prior=PRIOR["slip"] / len(found))
