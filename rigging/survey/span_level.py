"""Spanwise level: the spar's rise outboard from heights at stations, from a level laid on it, or from photos of its web."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rigging.survey.consistency import SIGNIFICANCE, consistency
from rigging.survey.fairness import LEAST_RUN_MM
from rigging.survey.least_squares import covariance_matrix, fit, mean_weights
from rigging.survey.named_lines import NamedResult, design_a
from rigging.survey.wing import run_of
from shared.job.model import Job
from shared.job.named import Place
from shared.quantity import Component, Quantity, combine
from shared.rounding import degrees, number
from shared.turns import wrap_half_turn


@dataclass(frozen=True)
class SpanLevel:
    """Rise outboard of one side's spar, degrees, positive as dihedral; design from the job's dihedral. side "centre": the
    roll, right wing tip up, as a level centre section shows it."""

    side: str
    how: str
    rise: Quantity
    design_deg: float | None
    words: str


JOINED = "all together"
"""How a side's rise was found that several witnesses make together."""


def span_levels(job: Job, named: Sequence[NamedResult] = ()) -> tuple[SpanLevel, ...]:
    """Each side's rise from its heights (at two places along the span at least), from levels on the spar and from named lines
    of places that look along the span; where a side has several, their mean with a test whether they agree; then the roll."""
    out: list[SpanLevel] = []
    for side in ("left", "right"):
        own = [*_heights(job, side), *_levels(job, side), *_lines(job, side, named)]
        out += own
        if len(own) > 1:
            out.append(_joined(job, side, own))
    centre = [_centre(job, r) for r in named if _along_span(r, "centre")]
    out += centre
    rolled = roll(tuple(out))
    if rolled is not None:
        design = 0.0
        words = (
            f"the wing stands rolled {degrees(rolled, sign=True)}, left tip high positive, by half of left minus right"
        )
        words += "" if abs(rolled.value) > rolled.U else ", within its uncertainty"
        out.append(SpanLevel("both", "left against right", rolled, design, words))
    return tuple(out)


def rise_of(span_mm: list[float], heights_mm: list[Quantity]) -> Quantity:
    """Slope of heights over the horizontal distance `span_mm`, degrees, atan of the fitted rise per run."""
    x = np.array(span_mm)
    slope = fit(np.column_stack([np.ones(len(x)), x - x.mean()]), heights_mm)[1]
    to_degrees = math.degrees(1.0) / (1.0 + slope.value**2)
    return Quantity(math.degrees(math.atan(slope.value)), slope.scaled(to_degrees).components)


def roll(levels: tuple[SpanLevel, ...]) -> Quantity | None:
    """How far the whole wing stands rolled: half of left minus right, degrees, positive left tip high.

    From what is known of each side together, else from its first level. None without both sides.
    """
    best: dict[str, Quantity] = {}
    for lv in levels:
        if lv.side not in best or lv.how == JOINED:
            best[lv.side] = lv.rise
    return combine((0.5, -0.5), (best["left"], best["right"])) if {"left", "right"} <= set(best) else None


def _heights(job: Job, side: str) -> list[SpanLevel]:
    heights = {h.station: h for h in job.heights}
    known = [s for s in run_of(job, side) if s.name in heights]
    if not known or known[-1].span_mm - known[0].span_mm < LEAST_RUN_MM:
        return []
    values = [
        Quantity(h.mm, (Component("height of the spar", f"height:{h.station}", h.u_mm),))
        for h in (heights[s.name] for s in known)
    ]
    rise = rise_of([s.span_mm for s in known], values)
    return [_told(job, side, f"heights at {', '.join(s.name for s in known)}", rise)]


def _levels(job: Job, side: str) -> list[SpanLevel]:
    out = []
    for k, level in enumerate(lv for lv in job.spar_levels if lv.side == side):
        q = Quantity(level.deg, (Component("level on the spar", f"spar level:{side} {k}", level.u_deg),))
        out.append(_told(job, side, "a level on the spar", q))
    return out


def _along_span(r: NamedResult, side: str) -> bool:
    return (
        isinstance(r.where, Place)
        and r.where.arrow == "outboard"
        and r.where.side == side
        and r.line.runs == "level"
        and r.gravity is not None
        and r.combined.doubt is None
    )


def _rise(job: Job, r: NamedResult) -> Quantity:
    """The spar's rise by a line along it: what the line is off its own design counts on the dihedral, so that a flange that
    runs at an angle to the spar says the same as a line along it."""
    assert r.gravity is not None
    design, dihedral = design_a(job, *r.line.key), job.wing.dihedral_deg
    if design is None or dihedral is None:
        return r.gravity
    return r.gravity.shifted(wrap_half_turn(r.gravity.value - design) + dihedral - r.gravity.value)


def _lines(job: Job, side: str, named: Sequence[NamedResult]) -> list[SpanLevel]:
    return [
        _told(job, side, f"photos of {r.line.at} ({r.line.name})", _rise(job, r)) for r in named if _along_span(r, side)
    ]


def _centre(job: Job, r: NamedResult) -> SpanLevel:
    assert r.gravity is not None
    design = design_a(job, *r.line.key) or 0.0
    off = r.gravity.shifted(-design)
    words = f"{r.line.at} ({r.line.name}) stands {degrees(off, sign=True)} from its design, right end up positive"
    return SpanLevel("centre", f"photos of {r.line.at} ({r.line.name})", off, design, words)


def _joined(job: Job, side: str, own: Sequence[SpanLevel]) -> SpanLevel:
    """The mean of a side's witnesses by least squares; widened, and said so, where they contradict each other."""
    values = [lv.rise for lv in own]
    mean = combine([float(w) for w in mean_weights(covariance_matrix(values))], values)
    p = consistency(values)[2]
    if p < SIGNIFICANCE:
        reach = max(abs(q.value - mean.value) + q.U for q in values)
        extra = math.sqrt(max((reach / 2) ** 2 - mean.u**2, 0.0))
        mean = mean.plus(Component("witnesses contradict", f"spanwise level {side}", extra))
    told = _told(job, side, JOINED, mean)
    if p >= SIGNIFICANCE:
        return told
    apart = (
        f"{told.words}; they contradict each other, U spans them all: look for the wrong one before anything is turned"
    )
    return SpanLevel(told.side, told.how, told.rise, told.design_deg, apart)


def _told(job: Job, side: str, how: str, rise: Quantity) -> SpanLevel:
    design = job.wing.dihedral_deg
    words = f"{side} spar rises {degrees(rise, sign=True)} outboard by {how}"
    if design is not None:
        off = rise.value - design
        words += f", {number(off, 2, sign=True)}° from its dihedral of {number(design, 2)}°"
        words += "" if abs(off) > rise.U else ", within its uncertainty"
    return SpanLevel(side, how, rise, design, words)
