"""From what the witness says of single lines to what to do: give a value, flag it, or give none.

Of a photo's candidates at most one is the chord line. With o_i = p_i / (1 - p_i) the odds that the witness gives candidate i
on its own, and r_i what else speaks for it (marks on it, its place), the hypotheses "i is the chord line" and "none is" have

    P(i) = o_i r_i / (n + sum_j o_j r_j),    P(none) = n / (n + sum_j o_j r_j)

(Bayes; each candidate's own evidence independent of the others'). n is the prior odds of a photo without the line over those
of any one candidate, in units of the witness's own prior: PRIOR_NONE.

Level references are judged one by one: each is true with its own probability, and all that are used must be. The surest one
is used, and those beside it that are as good as sure: a false one would turn the angle, and two strings leave the rib's lean
open, which could take up what the false one is off by, so that agreement proves little.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from shared.numerics.arrays import F64

GIVE = 0.05
"""Probability of having taken a wrong line up to which a value is given without a flag."""
DOUBT = 0.40
"""The same, up to which it is given with a flag: of the doubtful values most are to be right. `docs/recognition.md` shows the
rates that both give."""
ALIKE = 0.20
"""Probability of the second best from which on two lines are called about as likely. A choice of words only: below it
the reason names no second line."""
Line = Literal["chord", "chord behind", "spar", "named", "string", "string instead", "laser", "straightedge"]
PRIOR_NONE: dict[Line, float] = {
    "chord": 0.03,
    "chord behind": 0.25,
    "spar": 0.1,
    "named": 0.25,
    "string": 0.2,
    "string instead": 1.9,
    "laser": 0.87,
    "straightedge": 0.1,
}
"""Probability that a photo shows no such line, as in the training photos: with n candidates and a share
q = (1 - PRIOR_NONE) / n of them being the line, the odds of none over those of any one are PRIOR_NONE / q, in units of the
witness's own prior odds q / (1 - q).
"chord behind": on a rib that stands behind another; lines of other ribs are ruled out by the cards (`vision.behind`), so that one
photo in five is left in which the rib shows other lines beside its card but not its chord line. "string instead": where the job
states a straightedge as the level reference and none is found, a string hangs in 30 % of the photos rather than in 80 % (by
judgement), which multiplies the odds of none by (0.7 / 0.3) / (0.2 / 0.8). "named": a job may name a line before
anybody has drawn it."""
POSSIBLE = 0.02
"""Probability from which on a candidate is measured and judged once more as measured. By judgement, a tenth of
`vision.level.gravity.TAKEN`: it saves the time of measuring what will not be used."""
SECOND_REFERENCE = 0.995
"""Probability from which on a reference is used beside a surer one: it adds little, and a false one does harm."""
LEAST_ERROR = 1e-6
"""No evidence counts for more than this leaves. A million photos have not been seen: no line is believed more surely
than that."""


@dataclass(frozen=True)
class LineChoice:
    """The likeliest hypothesis. best : index of the candidate, None for "none". chances : (n,) of each candidate."""

    best: int | None
    chances: F64

    @property
    def chance(self) -> float:
        """Probability of the best candidate."""
        return 0.0 if self.best is None else float(self.chances[self.best])


def one_of(kind: Line, shares: Sequence[float], speaks_for: Sequence[float] | None = None) -> LineChoice:
    """At most one of the candidates is of a kind, given the witness's probability of each and other likelihood ratios.

    kind : which line is asked for, with its prior. shares : (n,) the witness's probability of each candidate.
    speaks_for : (n,) likelihood ratios from elsewhere; None: 1 each.
    """
    odds = _odds(shares) * (1.0 if speaks_for is None else np.asarray(speaks_for, dtype=np.float64))
    if not len(odds):
        return LineChoice(None, odds)
    chances = odds / (PRIOR_NONE[kind] + odds.sum())
    return LineChoice(int(chances.argmax()), chances)


def true_reference(kind: Line, share: float, rivals: Sequence[float] = (), speaks_for: float = 1.0) -> float:
    """Probability that a level reference is one, from the witness's probability of it by itself.

    rivals : of others of its kind that cannot be true as well. Those that agree with it are no rivals.

    kind : of reference. share : 0 to 1. speaks_for : likelihood ratio of evidence beside it; 1: none. With its odds
    o = speaks_for share / (1 - share): o / (PRIOR_NONE + o + sum of the rivals' odds).
    """
    own, theirs = _odds([share]) * speaks_for, _odds(rivals)
    return float(own[0] / (PRIOR_NONE[kind] + own[0] + theirs.sum()))


def sure(chance: float) -> bool:
    """Whether a reference is sure enough to be used beside another.

    chance : probability that it is true, as `true_reference` gives it.
    """
    return chance >= SECOND_REFERENCE


def _odds(shares: Sequence[float]) -> F64:
    p = np.clip(np.asarray(shares, dtype=np.float64), LEAST_ERROR, 1 - LEAST_ERROR)
    return np.asarray(p / (1 - p))
