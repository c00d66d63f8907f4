"""From what the witness says of single lines to what to do: give a value, flag it, or give none.

Of a photo's candidates at most one is the chord line. With o_i = p_i / (1 - p_i) the odds that the witness gives candidate i
on its own, and r_i what else speaks for it (marks on it, its place), the hypotheses "i is the chord line" and "none is" have

    P(i) = o_i r_i / (n + sum_j o_j r_j),    P(none) = n / (n + sum_j o_j r_j)

(Bayes; each candidate's own evidence independent of the others'). n is the prior odds of a photo without the line over those
of any one candidate, in the witness's training: NONE.

Level references are judged one by one: each is true with its own probability, and all that are used must be. The surest one
is used, and those beside it that are as good as sure: a false one would turn the angle, and two strings leave the rib's lean
open, which could take up what the false one is off by, so that agreement proves little.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

F64 = NDArray[np.float64]

GIVE = 0.01
"""Probability of having taken a wrong line up to which a value is given without a flag."""
DOUBT = 0.20
"""The same, up to which it is given with a flag. Both were chosen for the rates that `docs/recognition.md` shows."""
NONE = 0.02
"""Prior odds of "no such line is in the photo" over those of any one candidate."""
SURE = 1e-6
"""No evidence counts for more than this leaves."""


@dataclass(frozen=True)
class Choice:
    """The likeliest hypothesis. best : index of the candidate, None for "none". chances : (n,) of each candidate."""

    best: int | None
    chances: F64

    @property
    def chance(self) -> float:
        """Probability of the best candidate."""
        return 0.0 if self.best is None else float(self.chances[self.best])


def one_of(shares: Sequence[float], speaks_for: Sequence[float] | None = None) -> Choice:
    """At most one of the candidates, given the witness's probability of each and other likelihood ratios."""
    p = np.clip(np.asarray(shares, dtype=np.float64), SURE, 1 - SURE)
    odds = p / (1 - p) * (1.0 if speaks_for is None else np.asarray(speaks_for, dtype=np.float64))
    if not len(odds):
        return Choice(None, odds)
    chances = odds / (NONE + odds.sum())
    return Choice(int(chances.argmax()), chances)


def worth_using(shares: Sequence[float]) -> tuple[list[int], float]:
    """Which of several level references to use, the surest first, and the probability that all of these are true."""
    order = sorted(range(len(shares)), key=lambda i: -shares[i])
    used = order[:1] + [i for i in order[1:] if shares[i] >= 1 - GIVE / 2]
    return used, float(np.prod([shares[i] for i in used])) if used else 0.0
