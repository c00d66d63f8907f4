"""Conforming, nonconforming or undecided, with the probability of conformance and what would decide it.

Rule: ISO 14253-1 with the guard band U = 2u (JCGM 106:2012, 8.3.2). Probability: JCGM 106:2012, 7.4,
a normal state of knowledge.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from shared.reading import Advice

Outcome = Literal["conforming", "nonconforming", "undecided"]


@dataclass(frozen=True)
class Decision:
    """A deviation judged against a tolerance.

    outcome : |d| + U <= T conforming, |d| - U > T nonconforming, else undecided; a doubtful (flagged)
        value is never more than undecided, `why` says so.
    p_conforming : probability that the true deviation lies within +-T (NaN when u is unknown).
    margin_deg : T - |d| - U; negative by how much the conforming zone is missed.
    advice : for an undecided one, the cheapest steps that would decide it, cheapest first.
    """

    outcome: Outcome
    deviation_deg: float
    U_deg: float
    tolerance_deg: float
    p_conforming: float
    margin_deg: float
    why: str | None = None
    advice: tuple[Advice, ...] = ()
