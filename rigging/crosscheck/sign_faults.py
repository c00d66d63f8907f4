"""Readings whose sign or counting is another than declared: turned, complement, without a sign."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from rigging.crosscheck.layout import Candidate, Layout, scopes
from rigging.crosscheck.priors import PRIOR
from rigging.crosscheck.types import Fault
from shared.numerics.arrays import Bools


def _turned(layout: Layout, mask: Bools, base: Candidate, fault: Fault, prior: float) -> Candidate:
    spar = np.array([line == "spar" for line in layout.lines])
    return replace(
        base,
        fault=fault,
        prior=prior,
        sign=np.where(mask, -1.0, 1.0),
        shift=np.where(mask & spar, 180.0, 0.0),
    )


def signs(layout: Layout, base: Candidate) -> Iterator[Candidate]:
    """The sign turned round: of all, of one line or side, or of one reading."""
    if layout.signless:
        return
    every = scopes(layout)
    for line, side, mask in every:
        if mask.sum() > 1:
            yield _turned(layout, mask, base, Fault("sign", (), line, side), PRIOR["sign"] * 0.75 / len(every))
    n = len(layout.stations)
    for i in range(n):
        fault = Fault("station", (layout.stations[i],), layout.lines[i], variant="sign turned")
        yield _turned(layout, np.arange(n) == i, base, fault, PRIOR["sign"] * 0.25 / n)


def complements(layout: Layout, base: Candidate) -> Iterator[Candidate]:
    """90 minus the angle, or the angle counted from the other axis: of many, or of one reading."""
    n = len(layout.stations)
    whole = [
        (Fault("complement", (), line, side), mask, 0.6 / len(scopes(layout)))
        for line, side, mask in scopes(layout)
        if mask.sum() > 1
    ]
    single = [
        (
            Fault("station", (layout.stations[i],), layout.lines[i], variant="complement"),
            np.arange(n) == i,
            0.4 / n,
        )
        for i in range(n)
    ]
    spar = np.array([line == "spar" for line in layout.lines])
    for fault, mask, share in whole + single:
        minus = replace(
            base,
            fault=replace(fault, variant=fault.variant or "90 minus"),
            prior=PRIOR["complement"] * share * 0.6,
            sign=np.where(mask, -1.0, 1.0),
            shift=np.where(mask, 90.0, 0.0),
        )
        yield minus
        yield replace(
            minus,
            fault=replace(fault, variant=fault.variant or "90 away"),
            prior=PRIOR["complement"] * share * 0.4,
            sign=base.sign,
            shift=np.where(mask, np.where(spar, 90.0, -90.0), 0.0),
        )


def senses(layout: Layout, base: Candidate) -> Iterator[Candidate]:
    """Signed by declaration, but the data look as if the gauge showed no sign."""
    if layout.signless:
        return
    chord = layout.at("chord")
    spar = ~chord
    below = chord & (layout.camera < -2 * layout.u)
    past = spar & (layout.camera > 90 + 2 * layout.u)
    foot = np.where(spar, 90.0, 0.0)
    if below.sum() >= 2 and (layout.gauge[chord] >= 0).all():
        sign = np.where(chord, np.sign(layout.camera) * np.sign(layout.gauge), 1.0)
        yield replace(
            base,
            fault=Fault("sense", line="chord", variant="no sign"),
            prior=PRIOR["sense"] / 2,
            sign=np.where(sign == 0, 1.0, sign),
        )
    if past.sum() >= 2 and (layout.gauge[spar] <= 90).all():
        sign = np.where(past, -1.0, 1.0)
        yield replace(
            base,
            fault=Fault("sense", line="spar", variant="back from 90"),
            prior=PRIOR["sense"] / 2,
            sign=sign,
            shift=np.where(past, 2 * foot, 0.0),
        )
