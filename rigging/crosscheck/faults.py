"""The catalogue of what can be wrong with a set of inclinometer readings, each as plain arithmetic.

A candidate turns the readings back into what they should have been (a re-ordering, a sign and a shift a
pair), adds a pattern of unknown size (offset, drift, one station), or adds variance (rounding, sticking,
scatter). Its prior probability is a judgement of this project (common practice, no source); it matters only
where the data hardly speak.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rigging.crosscheck.types import Fault
from shared.gauge.readings import Line
from shared.job.model import Side

F64 = NDArray[np.float64]
I64 = NDArray[np.int64]

PRIOR_NONE = 0.6
PRIOR = {
    "offset": 0.10,
    "opposed": 0.02,
    "station": 0.14,
    "swap": 0.05,
    "sign": 0.04,
    "complement": 0.03,
    "sense": 0.02,
    "sides": 0.02,
    "drift": 0.03,
    "sticking": 0.02,
    "rounding": 0.02,
    "scatter": 0.03,
}
SIZES = ((0.6, 0.85), (15.0, 0.15))
"""Prior spread of an unknown size in degrees, and its share: slips of a degree, and rarely wild ones."""
STEPS = (0.25, 0.5, 1.0, 2.0, 5.0)
STUCK = ((0.6, 0.7), (3.0, 0.3))
"""How far off a stuck display is, standard deviation in degrees, and its share."""
STRETCH = (1.5, 2.0, 3.0, 5.0)


@dataclass(frozen=True)
class Layout:
    """The n pairs as arrays: names, what the camera saw (n,), what the gauge showed nose-up (n,).

    when : place in time, 0 first to 1 last. shown : as on the display. signless : whether the gauge's
    convention leaves the sign open. mirror : (n,) index of the same line on the other wing's rib, -1
    without one. resolution : the display's step, degrees. u : standard uncertainty of each difference.
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

    def at(self, line: Line | None = None, side: Side | None = None, station: str | None = None) -> NDArray[np.bool_]:
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


def candidates(layout: Layout) -> list[Candidate]:
    """Every elementary fault worth weighing for these pairs; the first one is no fault at all."""
    n = len(layout.stations)
    plain = Candidate(Fault("none"), PRIOR_NONE, np.arange(n), np.ones(n), np.zeros(n), np.zeros(n))
    found = [plain]
    for part in (
        _offsets,
        _drift,
        _single,
        _signs,
        _complements,
        _senses,
        _swaps,
        _sides,
        _sticking,
        _rounding,
        _scatter,
    ):
        found.extend(part(layout, plain))
    return found


def _sized(base: Candidate, fault: Fault, prior: float, pattern: F64, of_gauge: bool) -> Iterator[Candidate]:
    for size, share in SIZES:
        yield replace(base, fault=fault, prior=prior * share, pattern=pattern * size, of_gauge=of_gauge)


def _offsets(layout: Layout, base: Candidate) -> Iterator[Candidate]:
    yield from _sized(base, Fault("offset"), PRIOR["offset"], np.ones(len(layout.stations)), True)
    turned = np.where(layout.at(side="left"), -1.0, 1.0)
    if abs(turned.sum()) < len(turned) and layout.at(side="left").any():
        yield from _sized(base, Fault("offset", variant="opposed"), PRIOR["opposed"], turned, True)


def _drift(layout: Layout, base: Candidate) -> Iterator[Candidate]:
    if len(layout.stations) >= 4:
        yield from _sized(base, Fault("drift"), PRIOR["drift"], layout.when, True)


def _single(layout: Layout, base: Candidate) -> Iterator[Candidate]:
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


def _scopes(layout: Layout) -> list[tuple[Line | None, Side | None, NDArray[np.bool_]]]:
    """All pairs, then one line's, one side's, and one line's on one side, each set once."""
    found: list[tuple[Line | None, Side | None, NDArray[np.bool_]]] = []
    lines: tuple[Line | None, ...] = (None, "chord", "spar")
    sides: tuple[Side | None, ...] = (None, "left", "right")
    for side in sides:
        for line in lines:
            mask = layout.at(line, side)
            if mask.any() and not any(np.array_equal(mask, m) for _, _, m in found):
                found.append((line, side, mask))
    return found


def _turned(layout: Layout, mask: NDArray[np.bool_], base: Candidate, fault: Fault, prior: float) -> Candidate:
    spar = np.array([line == "spar" for line in layout.lines])
    return replace(
        base,
        fault=fault,
        prior=prior,
        sign=np.where(mask, -1.0, 1.0),
        shift=np.where(mask & spar, 180.0, 0.0),
    )


def _signs(layout: Layout, base: Candidate) -> Iterator[Candidate]:
    if layout.signless:
        return
    scopes = _scopes(layout)
    for line, side, mask in scopes:
        if mask.sum() > 1:
            yield _turned(layout, mask, base, Fault("sign", (), line, side), PRIOR["sign"] * 0.75 / len(scopes))
    n = len(layout.stations)
    for i in range(n):
        fault = Fault("station", (layout.stations[i],), layout.lines[i], variant="sign turned")
        yield _turned(layout, np.arange(n) == i, base, fault, PRIOR["sign"] * 0.25 / n)


def _complements(layout: Layout, base: Candidate) -> Iterator[Candidate]:
    n = len(layout.stations)
    whole = [
        (Fault("complement", (), line, side), mask, 0.6 / len(_scopes(layout)))
        for line, side, mask in _scopes(layout)
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


def _senses(layout: Layout, base: Candidate) -> Iterator[Candidate]:
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


def _swaps(layout: Layout, base: Candidate) -> Iterator[Candidate]:
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


def _sides(layout: Layout, base: Candidate) -> Iterator[Candidate]:
    """Left and right mixed up: each reading belongs to the same rib of the other wing."""
    both = layout.mirror >= 0
    if both.sum() < 4:
        return
    order = np.where(both, layout.mirror, base.order)
    yield replace(base, fault=Fault("sides"), order=order, prior=PRIOR["sides"])


def _sticking(layout: Layout, base: Candidate) -> Iterator[Candidate]:
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


def _rounding(layout: Layout, base: Candidate) -> Iterator[Candidate]:
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


def _scatter(_: Layout, base: Candidate) -> Iterator[Candidate]:
    for k in STRETCH:
        yield replace(base, fault=Fault("scatter"), prior=PRIOR["scatter"] / len(STRETCH), stretch=k)
