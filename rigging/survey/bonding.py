"""The bonding window: how long is left, and which stations to look at first.

An epoxy with about one hour of gel time leaves about 30 to 40 minutes for carrying, aligning and clamping
(common practice, no source): working time and gel time come from the job, as the glue's maker states them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from rigging.survey.decision import Decision
from shared.job.model import Glue
from shared.rounding import number


@dataclass(frozen=True)
class BondingWindow:
    """Time since the glue was mixed and time left, minutes (negative: over; None: mixing time not known)."""

    since_min: float | None
    working_left_min: float | None
    gel_left_min: float | None
    words: str

    @property
    def closed(self) -> bool:
        """Whether nothing may be moved any more: the working time is over."""
        return self.working_left_min is not None and self.working_left_min <= 0

    @property
    def gelled(self) -> bool:
        """Whether the glue has gelled."""
        return self.gel_left_min is not None and self.gel_left_min <= 0


@dataclass(frozen=True)
class ToCheck:
    """One station in the order of checking, with the reason it stands there."""

    station: str
    why: str


def window(glue: Glue, now: datetime) -> BondingWindow:
    """How the bonding window stands at `now` (local time without zone, like `mixed_at`)."""
    if glue.mixed_at is None:
        words = (
            f"Glue: {glue.working_min:.0f} min to work, gel at {glue.gel_min:.0f} min from mixing; "
            "not mixed yet (ribangle mixed JOB now, when it is)"
        )
        return BondingWindow(None, None, None, words)
    since = (now - datetime.fromisoformat(glue.mixed_at)).total_seconds() / 60.0
    working, gel = glue.working_min - since, glue.gel_min - since
    return BondingWindow(since, working, gel, _words(since, working, gel))


def _words(since: float, working: float, gel: float) -> str:
    if since < 0:
        return f"Glue will be mixed in {_minutes(-since)}"
    if working > 0:
        return f"{_minutes(working)} left to move and clamp; the glue gels in {_minutes(gel)}"
    if gel > 0:
        return f"Working time ended {_minutes(-working)} ago: move nothing; the glue gels in {_minutes(gel)}"
    return (
        f"The glue has gelled, {_minutes(-gel)} ago: move nothing. What stands wrong is in the wing: the designer or "
        "inspector decides. For a new mix: ribangle mixed JOB now"
    )


def _minutes(value: float) -> str:
    """Whole minutes, rounded down so that nobody is promised more time than is left."""
    minutes = math.floor(value)
    if minutes < 1:
        return "less than a minute"
    return f"{minutes} min" if minutes < 120 else f"{minutes // 60} h {minutes % 60:02d} min"


def order_to_check(stations: Iterable[tuple[str, Decision | None, str | None]]) -> tuple[ToCheck, ...]:
    """By urgency: out of tolerance, not measured, undecided or doubted, then by least margin.

    stations : name, the chord's decision (None: not measured), why it is not measured or doubted. Within
    a group the least probability of conformance, then the least margin over tolerance, comes first.
    """
    keyed = []
    for place, (name, decision, reason) in enumerate(stations):
        if decision is None:
            keyed.append(((1, 0.0, 0.0, place), ToCheck(name, reason or "not measured")))
            continue
        group = {"nonconforming": 0, "undecided": 2, "conforming": 3}[decision.outcome]
        if reason is not None and group:
            group = 2
        p = decision.p_conforming if math.isfinite(decision.p_conforming) else -1.0
        known = math.isfinite(decision.margin_deg)
        margin = decision.margin_deg / decision.tolerance_deg if known else -math.inf
        keyed.append(((group, p, margin, place), ToCheck(name, _why(decision, reason))))
    return tuple(t for _, t in sorted(keyed, key=lambda k: k[0]))


def _why(decision: Decision, reason: str | None) -> str:
    if decision.outcome == "undecided":
        return f"undecided: {reason or decision.why or 'the tolerance is within its uncertainty'}"
    if decision.outcome == "nonconforming":
        return f"out of tolerance by {number(abs(decision.deviation_deg) - decision.tolerance_deg, 2)}°"
    if reason is not None:
        return reason
    return f"within tolerance, {100 * decision.margin_deg / decision.tolerance_deg:.0f} % of it to spare"
