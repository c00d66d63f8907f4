"""Photos of one line that contradict each other: a value whose U spans them, and the likeliest cause in words."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import numpy as np

from rigging.survey.consistency import SIGNIFICANCE, consistency, outlying
from rigging.survey.least_squares import chi_square, covariance_matrix, fit
from shared.lines import Role
from shared.quantity import Component, K, Quantity
from shared.reading import Angle, Reading
from shared.rounding import degrees, number

LEAN = "lean of the rib plane"
"""Name of the component by which a reading carries the stated lean (`vision.solution.equations`)."""

BIG_LEAN_DEG = 12.0
"""A lean further than this from the stated one is no likely cause: ribs lean by their dihedral, a few degrees."""

APART_MINUTES = 30.0
"""Photos further apart in time than this may well have a moved jig between them; one round of a wing takes less."""

Line = Literal["chord", "spar"]


@dataclass(frozen=True)
class Witness:
    """One photo that takes part in the contradiction."""

    reading: Reading
    quantity: Quantity


def spanning(mean: Quantity, quantities: Sequence[Quantity], source: str) -> Quantity:
    """The mean with a component that widens U until it reaches over every photo's own interval."""
    reach = max(abs(q.value - mean.value) + q.U for q in quantities)
    extra = math.sqrt(max((reach / K) ** 2 - mean.u**2, 0.0))
    return mean.plus(Component("photos contradict", source, extra))


def likely_cause(witnesses: Sequence[Witness], line: Line | None, u_lean_deg: float | None = None) -> str:
    """What most likely made the photos contradict each other, in words, and what would tell.

    Looked at in turn: a lean that would reconcile all; one photo against an agreeing majority; cards seen; the kind
    of level reference; whether the other line turned along with this one.
    u_lean_deg : standard uncertainty of the stated lean, where the job gives it.
    """
    lean = _lean(witnesses, u_lean_deg)
    if lean is not None:
        return lean
    odd = sorted(outlying([w.quantity for w in witnesses]))
    if odd:
        names = ", ".join(witnesses[k].reading.photo.name for k in odd)
        one = len(odd) == 1
        return (
            f"{names} {'stands' if one else 'stand'} off from the others, which agree: look at "
            f"{'its' if one else 'their'} annotated picture for another rib, line or string, and leave "
            f"{'it' if one else 'them'} out with a reason"
        )
    return _cards(witnesses) or _reference(witnesses) or _other_line(witnesses, line)


def _lean(witnesses: Sequence[Witness], u_lean_deg: float | None) -> str | None:
    """The lean that would bring all photos together, where the stated one explains the contradiction."""
    loads = [[c for c in w.quantity.components if c.name == LEAN] for w in witnesses]
    if any(len(found) != 1 or found[0].u == 0 for found in loads) or len({found[0].source for found in loads}) != 1:
        return None
    load = np.array([found[0].u for found in loads])
    bare = [Quantity(w.quantity.value, tuple(c for c in w.quantity.components if c.name != LEAN)) for w in witnesses]
    if np.ptp(load) < 1e-3 * float(np.abs(load).max()):
        return None  # all photos depend on it alike, so it cannot set them apart
    try:
        moved = fit(np.column_stack([np.ones(len(load)), load]), bare)[1]
    except np.linalg.LinAlgError:  # the photos depend on the lean too much alike to tell
        return None
    if len(bare) > 2:
        rest = [q.shifted(-moved.value * float(x)) for q, x in zip(bare, load, strict=True)]
        from scipy.special import chdtrc

        left = chi_square(np.array([q.value for q in rest]), covariance_matrix(rest))
        if chdtrc(len(bare) - 2, left) < SIGNIFICANCE:
            return None
    if abs(moved.value) <= K:
        return None
    size = ""
    if u_lean_deg is not None:
        if abs(moved.value) * u_lean_deg > BIG_LEAN_DEG:
            return None
        off = moved.scaled(u_lean_deg)
        size = f" by about {degrees(off, sign=True)} (top {'outboard' if off.value > 0 else 'inboard'})"
    return (
        f"the rib leans otherwise than the job states{size}, which would bring the photos together. Hold a level to the "
        "rib's face and write lean_deg, or check the station's side and dihedral_deg; a second string tells it too"
    )


def _cards(witnesses: Sequence[Witness]) -> str | None:
    seen = [
        frozenset(c.number for c in w.reading.evidence.cards) if w.reading.evidence is not None else frozenset()
        for w in witnesses
    ]
    if not all(seen) or len(set(seen)) == 1 or frozenset.intersection(*seen):
        return None
    return (
        "the photos show different cards, so perhaps different ribs, or a card that lies on the wrong rib: look which rib "
        "each card lies on"
    )


def _reference(witnesses: Sequence[Witness]) -> str | None:
    kinds = {w.reading.reference for w in witnesses}
    if kinds != {Role.PLUMB, Role.LEVEL}:
        return None
    return (
        "one rests on a string and one on a level line, and these do not agree: check the level line end for end, and "
        "that the string hangs free"
    )


def _other_line(witnesses: Sequence[Witness], line: Line | None) -> str:
    """By whether the rib's other drawn line turned along: then gravity or the whole rib moved, else one line did."""
    others: list[Angle] = [w.reading.spar if line == "chord" else w.reading.chord for w in witnesses]
    both = [(w.quantity, o.quantity) for w, o in zip(witnesses, others, strict=True) if o.quantity is not None]
    if line is not None and len(both) == len(witnesses):
        between = [mine - other for mine, other in both]
        if consistency(between)[2] >= SIGNIFICANCE:
            return f"chord and spar line turned alike: the jig or the wing moved{_between(witnesses)}, or a string is wrong"
        return (
            "chord and spar line did not turn alike: another line was taken for one of them, another rib carries this "
            "card, or the rib moved on its spar; look at the annotated pictures"
        )
    return (
        f"another rib, another line, a wrong string, or a jig that moved{_between(witnesses)}; look at the annotated "
        "pictures, and photograph the station again"
    )


def _between(witnesses: Sequence[Witness]) -> str:
    times = [w.reading.photo.taken for w in witnesses]
    if not all(times):
        return " between the photos"
    try:
        moments = [datetime.fromisoformat(str(t)) for t in times]
    except ValueError:
        return " between the photos"
    minutes = (max(moments) - min(moments)).total_seconds() / 60.0
    if minutes < APART_MINUTES:
        return " between the photos"
    shown = f"{number(minutes, 0)} min" if minutes < 120 else f"{number(minutes / 60, 0)} h"
    return f" between the photos, which were taken {shown} apart"


def told(quantities: Sequence[Quantity], names: Sequence[str], p: float, say: Callable[[Quantity], str]) -> str:
    """The contradiction itself: the two values that lie furthest apart, whose they are, and the chance of it. say : a value
    in words."""
    low, high = (int(f([q.value for q in quantities])) for f in (np.argmin, np.argmax))
    chance = f"1 in {1 / p:.0f}" if p > 1e-4 else "under 1 in 10000"
    return (
        f"its photos contradict each other: {say(quantities[high])} in {names[high]} and "
        f"{say(quantities[low])} in {names[low]} (by chance {chance})"
    )
