"""Spanwise level: the spar's rise outboard from heights at stations or from a level laid on it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from rigging.survey.fairness import LEAST_RUN_MM
from rigging.survey.least_squares import fit
from rigging.survey.wing import run_of
from shared.job.model import Job
from shared.quantity import Component, Quantity, combine
from shared.rounding import degrees, number


@dataclass(frozen=True)
class SpanLevel:
    """Rise outboard of one side's spar, degrees, positive as dihedral; design from the job's dihedral."""

    side: str
    how: str
    rise: Quantity
    design_deg: float | None
    words: str


def span_levels(job: Job) -> tuple[SpanLevel, ...]:
    """Each side's rise from its heights (at two places along the span at least) and from levels on the spar."""
    out = []
    for side in ("left", "right"):
        heights = {h.station: h for h in job.heights}
        known = [s for s in run_of(job, side) if s.name in heights]
        if known and known[-1].span_mm - known[0].span_mm >= LEAST_RUN_MM:
            values = [
                Quantity(h.mm, (Component("height of the spar", f"height:{h.station}", h.u_mm),))
                for h in (heights[s.name] for s in known)
            ]
            rise = rise_of([s.span_mm for s in known], values)
            out.append(_told(job, side, f"heights at {', '.join(s.name for s in known)}", rise))
        for k, level in enumerate(lv for lv in job.spar_levels if lv.side == side):
            q = Quantity(level.deg, (Component("level on the spar", f"spar level:{side} {k}", level.u_deg),))
            out.append(_told(job, side, "a level on the spar", q))
    return tuple(out)


def rise_of(span_mm: list[float], heights_mm: list[Quantity]) -> Quantity:
    """Slope of heights over the horizontal distance `span_mm`, degrees, atan of the fitted rise per run."""
    x = np.array(span_mm)
    slope = fit(np.column_stack([np.ones(len(x)), x - x.mean()]), heights_mm)[1]
    to_degrees = math.degrees(1.0) / (1.0 + slope.value**2)
    return Quantity(math.degrees(math.atan(slope.value)), slope.scaled(to_degrees).components)


def roll(levels: tuple[SpanLevel, ...]) -> Quantity | None:
    """How far the whole wing stands rolled: half of left minus right, degrees, positive left tip high.

    From the first level of each side; None without both.
    """
    first = {lv.side: lv.rise for lv in reversed(levels)}
    return combine((0.5, -0.5), (first["left"], first["right"])) if len(first) == 2 else None


def _told(job: Job, side: str, how: str, rise: Quantity) -> SpanLevel:
    design = job.wing.dihedral_deg
    words = f"{side} spar rises {degrees(rise, sign=True)} outboard by {how}"
    if design is not None:
        off = rise.value - design
        words += f", {number(off, 2, sign=True)}° from its dihedral of {number(design, 2)}°"
        words += "" if abs(off) > rise.U else ", within its uncertainty"
    return SpanLevel(side, how, rise, design, words)
