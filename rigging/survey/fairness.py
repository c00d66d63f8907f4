"""Fairness along the span: which station, or which step, breaks the run of the deviations."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from rigging.survey.least_squares import covariance_matrix, fit
from shared.job.model import Station
from shared.numerics.arrays import F64
from shared.quantity import Quantity, combine
from shared.rounding import degrees

LEAST_RUN_MM = 1.0
"""Stations nearer together along the span stand at one place: no slope over the span can be told from them."""

SIGNIFICANT = 3.0
"""A break in the run of deviations is named when it exceeds so many of its standard deviations,
which hold the measurement's u and the scatter that fair work within tolerance may have."""


@dataclass(frozen=True)
class Fairness:
    """How far a station's deviation from design lies off the straight line through its two neighbours.

    off : degrees, nose-up positive. neighbours : the two stations (beyond an end: the nearest two,
    and the line is extended; `extended` says so).
    """

    station: str
    neighbours: tuple[str, str]
    off: Quantity
    extended: bool


@dataclass(frozen=True)
class Unfair:
    """A break in the run of the deviations along one wing, too large for fair work.

    kind : "station" (one station stands off alone) or "step" (all stations outboard of `inboard`
    are turned against the rest). stations : those that stand off. size : degrees, nose-up positive.
    """

    side: str
    kind: Literal["station", "step"]
    stations: tuple[str, ...]
    inboard: str | None
    size: Quantity
    words: str


def fairness(stations: Sequence[Station], deviations: Mapping[str, Quantity]) -> dict[str, Fairness]:
    """Each station's deviation off the straight line through its neighbours' (three stations at least)."""
    known = [s for s in stations if s.name in deviations]
    out = {}
    for i, s in enumerate(known):
        if len(known) < 3:
            break
        a, b = _neighbours(known, i)
        if abs(b.span_mm - a.span_mm) < LEAST_RUN_MM:
            continue  # no line goes through two places that are one
        t = (s.span_mm - a.span_mm) / (b.span_mm - a.span_mm)
        off = combine((1.0, t - 1.0, -t), (deviations[s.name], deviations[a.name], deviations[b.name]))
        out[s.name] = Fairness(s.name, (a.name, b.name), off, i in (0, len(known) - 1))
    return out


def _neighbours(known: Sequence[Station], i: int) -> tuple[Station, Station]:
    if i == 0:
        return known[1], known[2]
    if i == len(known) - 1:
        return known[-3], known[-2]
    return known[i - 1], known[i + 1]


def unfair(side: str, stations: Sequence[Station], deviations: Mapping[str, Quantity]) -> tuple[Unfair, ...]:
    """Breaks in the run of the deviations along one side: stations off alone, steps between neighbours.

    Model: deviation = constant + slope x span + breaks + scatter. The scatter is what fair work may
    have (standard deviation half the chord tolerance) beside the measurement's covariance. The break
    that lowers chi-square most is added while it is significant (forward selection, at most a third
    of the stations). Of an end station and a step just inboard of it, which look alike, the station is
    named. Needs four stations.
    """
    known = [s for s in stations if s.name in deviations]
    n = len(known)
    if n < 4 or known[-1].span_mm - known[0].span_mm < LEAST_RUN_MM:
        return ()
    span = np.array([s.span_mm for s in known])
    base = np.column_stack([np.ones(n), (span - span.mean()) / 1000.0])
    extra = np.diag([(s.chord_tolerance_deg / 2.0) ** 2 for s in known])
    values = [deviations[s.name] for s in known]
    shapes = _shapes(n)
    chosen: list[tuple[str, int]] = []
    cov = covariance_matrix(values) + extra
    y = np.array([v.value for v in values])
    while len(chosen) < max(1, n // 3) and base.shape[1] + len(chosen) + 1 < n:
        worth = _significance(_with(base, chosen), _with(base[:, :0], shapes), y, cov)
        best = int(np.argmax(worth))
        if worth[best] < SIGNIFICANT:
            break
        chosen.append(shapes[best])
    if not chosen:
        return ()
    sizes = fit(_with(base, chosen), values, extra)[2:]
    return tuple(_named(side, known, kind, i, size) for (kind, i), size in zip(chosen, sizes, strict=True))


def _shapes(n: int) -> list[tuple[str, int]]:
    """Breaks that n stations can show: each station alone; steps with two or more stations on either side."""
    return [("station", i) for i in range(n)] + [("step", i) for i in range(2, n - 1)]


def _with(base: F64, breaks: Sequence[tuple[str, int]]) -> F64:
    n = len(base)
    rows = np.arange(n)
    columns = [(rows == i) if kind == "station" else (rows >= i) for kind, i in breaks]
    return np.column_stack([base, *[c.astype(np.float64) for c in columns]])


def _significance(design: F64, columns: F64, y: F64, cov: F64) -> F64:
    """(m,) size of each further column over its standard deviation when it joins the design.

    0 where it says nothing the design does not say.
    Frisch-Waugh: regress on what of the whitened column stands square to the whitened design.
    """
    white = np.linalg.solve(np.linalg.cholesky(cov), np.column_stack([design, columns, y]))
    k = design.shape[1]
    q, _ = np.linalg.qr(white[:, :k])
    own = white[:, k:-1] - q @ (q.T @ white[:, k:-1])
    size, whole = np.linalg.norm(own, axis=0), np.linalg.norm(white[:, k:-1], axis=0)
    free = size > 1e-6 * whole
    return np.asarray(np.where(free, np.abs(own.T @ white[:, -1]) / np.where(free, size, 1.0), 0.0))


def _named(side: str, known: Sequence[Station], kind: str, i: int, size: Quantity) -> Unfair:
    sense = "nose-up" if size.value > 0 else "nose-down"
    if kind == "station":
        name = known[i].name
        return Unfair(
            side,
            "station",
            (name,),
            None,
            size,
            f"{name} stands off the fair line of the {side} wing by {degrees(size, sign=True)} ({sense})",
        )
    names = tuple(s.name for s in known[i:])
    inboard = known[i - 1].name
    return Unfair(
        side,
        "step",
        names,
        inboard,
        size,
        f"from {names[0]} outboard the {side} wing is turned against the rest, after {inboard}, by "
        f"{degrees(size, sign=True)} ({sense})",
    )
