"""How the report writes numbers and outcomes."""

from __future__ import annotations

import math

from rigging.report.blocks import Cell, State
from rigging.survey.decision import Decision
from shared.quantity import Quantity
from shared.rounding import degrees, number

NONE = "–"


def angle(quantity: Quantity | None, sign: bool = False) -> str:
    """Value ± U, or a dash."""
    return NONE if quantity is None else degrees(quantity, sign)


def design(value: float | None, tolerance: float | None = None) -> str:
    """A design angle, with its tolerance."""
    if value is None:
        return NONE
    text = f"{number(value, decimals(value))}°"
    return text if tolerance is None else f"{text} ± {number(tolerance, decimals(tolerance))}°"


def decimals(value: float, least: int = 2) -> int:
    """Decimal places that show an exact number from the job in full, at least `least`, at most 4."""
    return next((n for n in range(least, 4) if math.isclose(round(value, n), value, abs_tol=1e-9)), 4)


def outcome(decision: Decision | None, state: State | None = None) -> Cell:
    """The outcome of a decision as a cell."""
    word: State = state or (decision.outcome if decision is not None else "not measured")
    return Cell(word, state=word)


def chance(decision: Decision | None) -> str:
    """Probability of conformance in percent, never rounded to a certainty that is not there."""
    if decision is None or not math.isfinite(decision.p_conforming):
        return NONE
    return percent(decision.p_conforming)


def percent(share: float) -> str:
    """A probability in percent, never rounded to a certainty."""
    if share > 0.999:
        return "> 99.9 %"
    return "< 0.1 %" if share < 0.001 else f"{100.0 * share:.1f} %"


def moment(iso: str) -> str:
    """An ISO 8601 time as people write it."""
    return iso.replace("T", " ")
