"""Conforming, nonconforming or undecided, with the probability of conformance and what would decide it.

Rule: guard band U = 2u, as ISO 14253-1:2013 (JCGM 106:2012, 8.3.2 and 8.3.3). Probability: JCGM 106:2012, 7.4,
a normal state of knowledge.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from shared.quantity import Quantity
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


def decide(deviation: Quantity, tolerance_deg: float, doubt: str | None = None) -> Decision:
    """Judge a deviation against +-tolerance.

    doubt : why the value must not be trusted alone; the outcome is then "undecided".
    Raises ValueError for a tolerance that is not positive and finite.
    """
    if not (math.isfinite(tolerance_deg) and tolerance_deg > 0):
        raise ValueError(f"tolerance {tolerance_deg}: must be positive and finite")
    d, U = deviation.value, deviation.U
    outcome: Outcome = "undecided"
    why = doubt
    if not math.isfinite(U) or not math.isfinite(d):
        why = doubt or "its uncertainty is unknown"
    elif doubt is None:
        if abs(d) + U <= tolerance_deg:
            outcome = "conforming"
        elif abs(d) - U > tolerance_deg:
            outcome = "nonconforming"
    p = conformance_probability(d, deviation.u, -tolerance_deg, tolerance_deg)
    return Decision(outcome, d, U, tolerance_deg, p, tolerance_deg - abs(d) - U, why)


def conformance_probability(value: float, u: float, low: float, high: float) -> float:
    """Probability that a quantity known as normal (value, u) lies in [low, high].

    JCGM 106:2012, 7.4: Phi((high - value) / u) - Phi((low - value) / u).
    Either limit may be infinite (7.3). NaN when u is unknown; 0 or 1 when u is zero.
    """
    if not (math.isfinite(u) and math.isfinite(value)):
        return math.nan
    if u == 0:
        return float(low <= value <= high)
    above, below = (high - value) / u, (low - value) / u
    # the far tail is taken on its own side, so that small probabilities keep their digits
    if below > 0:
        return _upper_tail(below) - _upper_tail(above)
    if above < 0:
        return _upper_tail(-above) - _upper_tail(-below)
    return 1.0 - _upper_tail(above) - _upper_tail(-below)


def _upper_tail(z: float) -> float:
    """1 - Phi(z)."""
    return 0.5 * math.erfc(z / math.sqrt(2.0))
