"""Which of two is wrong: what carries a part, or how the part is set on it; and what a leaning fitting costs."""

from __future__ import annotations

import math
from typing import Literal

from rigging.survey.decision import Decision

Cause = Literal["neither", "jig", "rib", "both", "sum", "untold"]


def cause_of(base: Decision, built: Decision, whole: Decision | None) -> Cause:
    """What is wrong: what carries it ("jig"), what is set on it ("rib"), both, their sum, neither, or it is open."""
    outcomes = (base.outcome, built.outcome)
    if "nonconforming" in outcomes and "undecided" not in outcomes:
        both: Cause = "both"
        return both if outcomes[0] == outcomes[1] else "jig" if outcomes[0] == "nonconforming" else "rib"
    if outcomes == ("conforming", "conforming"):
        return "sum" if whole is not None and whole.outcome == "nonconforming" else "neither"
    # one part clearly wrong and many times the other, which is open only at its own limit
    if "nonconforming" in outcomes:
        wrong, other = (base, built) if outcomes[0] == "nonconforming" else (built, base)
        most, least = abs(other.deviation_deg) + other.U_deg, abs(wrong.deviation_deg) - wrong.U_deg
        if other.why is None and most < least:
            return "jig" if wrong is base else "rib"
    if "nonconforming" not in outcomes and whole is not None and whole.outcome == "conforming":
        return "neither"
    return "untold"


def washout_left(design_washout_deg: float, aft_lean_deg: float) -> tuple[float, float]:
    """Washout left when the tip's spar or fitting leans aft, degrees, and the part of it that is lost.

    A top-aft lean turns the rib nose-up by as much, and so takes it off the washout. The lost part is NaN
    without design washout.
    """
    lost = aft_lean_deg / design_washout_deg if design_washout_deg else math.nan
    return design_washout_deg - aft_lean_deg, lost
