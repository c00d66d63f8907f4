"""The catalogue of what can be wrong with a set of inclinometer readings, each as plain arithmetic.

A candidate turns the readings back into what they should have been (a re-ordering, a sign and a shift a
pair), adds a pattern of unknown size (offset, drift, one station), or adds variance (rounding, sticking,
scatter). Its prior probability is in `priors`.
"""

from __future__ import annotations

import numpy as np

from rigging.crosscheck.layout import Candidate, Layout
from rigging.crosscheck.noise_faults import rounding, scatter, sticking
from rigging.crosscheck.place_faults import lines, sides, slips, swaps
from rigging.crosscheck.priors import PRIOR_NONE
from rigging.crosscheck.sign_faults import complements, senses, signs
from rigging.crosscheck.size_faults import digits, drift, offsets, scale, single, steps
from rigging.crosscheck.types import Fault

CATALOGUE = (
    *(offsets, scale, drift, steps, single, digits),
    *(signs, complements, senses),
    *(swaps, sides, lines, slips),
    *(sticking, rounding, scatter),
)


def candidates(layout: Layout) -> list[Candidate]:
    """Every elementary fault worth weighing for these pairs; the first one is no fault at all."""
    n = len(layout.stations)
    plain = Candidate(Fault("none"), PRIOR_NONE, np.arange(n), np.ones(n), np.zeros(n), np.zeros(n))
    return [plain, *(c for part in CATALOGUE for c in part(layout, plain))]
