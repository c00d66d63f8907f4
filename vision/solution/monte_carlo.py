"""The same reading by Monte Carlo (JCGM 101:2008): every observation drawn again, the joint solution solved again.

Where the linear propagation of `vision.solution.propagate` holds, mean and standard deviation agree with it; where
they do not, the reading says so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shared.flags import Flag, FlagCode
from shared.numerics.arrays import F64
from shared.quantity import Quantity
from vision.solution.equations import card_rows, prior_part, residuals
from vision.solution.propagate import FIRST, values
from vision.solution.solve import Solution
from vision.solution.together import Together, layout, solve_states

LARGEST_DIFFERENCE = 0.15
"""Largest relative difference of the standard deviations, beyond what so few draws leave open, to agree. By judgement,
between one and two significant digits of u, which JCGM 101:2008, 7.9.2 speaks of."""


@dataclass(frozen=True)
class Draws:
    """Chord angle, spar angle and lean of the plane, (n, 3) degrees, of n draws; NaN where a line is not seen."""

    angles: F64

    def interval(self, column: int = 0) -> tuple[float, float]:
        """The shortest interval that holds 95 % of the draws (JCGM 101, 5.3.4).

        column : 0 chord, 1 spar, 2 lean. Degrees.
        """
        x = np.sort(self.angles[:, column])
        k = int(np.ceil(0.95 * len(x)))
        width = x[k - 1 :] - x[: len(x) - k + 1]
        i = int(np.argmin(width))
        return float(x[i]), float(x[i + k - 1])


def draw(together: Together, solutions: tuple[Solution, ...], count: int, seed: int = 1) -> tuple[Draws, ...]:
    """`count` readings of each rib with observations drawn from their distributions about the fitted ones.

    together : the ribs. solutions : of each, whose states the draws start from. count : of draws. seed : of the
    generator.
    """
    rng = np.random.default_rng(seed)
    states = tuple(s.state for s in solutions)
    size = solutions[0].gain.shape[1]
    spread = np.ones(size)
    row, skip = 0, layout(together, states).skip
    for k, s in enumerate(solutions):
        first = row + len(prior_part(s.scene, s.state)) - (skip if k else 0)
        spread[first : first + sum(card_rows(c) for c in s.scene.cards)] = s.scale
        row += len(residuals(s.scene, s.state)) - (skip if k else 0)
    out = np.empty((len(solutions), count, FIRST))
    for n in range(count):
        noise = np.asarray(rng.standard_normal(size), dtype=np.float64) * spread
        for k, state in enumerate(solve_states(together, states, noise)):
            out[k, n] = values(together.scenes[k].lines, state)[:FIRST]
    return tuple(Draws(x) for x in out)


def compare(draws: Draws, linear: Quantity, column: int = 0) -> tuple[str, tuple[Flag, ...]]:
    """What the draws say, in words, and a flag where the linear result is off.

    Components that the solution does not hold (which of two poses) are left out of the comparison.

    draws : of one rib. linear : the same angle with its budget. column : as for `Draws.interval`.
    """
    x = draws.angles[:, column]
    u = linear.without("which way the card tilts").u
    mean, sd = float(x.mean()), float(x.std(ddof=1))
    low, high = draws.interval(column)
    said = f"{len(x)} draws: {mean:.3f} deg, u {sd:.3f}, 95 % from {low:.3f} to {high:.3f}"
    open_by = 3.0 / np.sqrt(2.0 * (len(x) - 1))
    off = abs(sd / u - 1) if u > 0 else 0.0
    if off > LARGEST_DIFFERENCE + open_by or abs(mean - linear.value) > (0.1 + 3.0 / np.sqrt(len(x))) * u:
        return said, (
            FlagCode.NOT_LINEAR.flag(
                f"Monte Carlo gives {mean:.3f} deg with u {sd:.3f}, the linear budget {linear.value:.3f} with u {u:.3f}"
            ),
        )
    return said, ()
