"""Which readings of the inclinometer stand out once a fault that all of them share is found and taken out."""

from __future__ import annotations

from rigging.crosscheck.types import CrossCheck, Pair
from shared.quantity import Quantity


def zero_of(check: CrossCheck) -> Quantity | None:
    """The zero error that the diagnosis found in all readings alike, degrees; None where it names none."""
    verdict = check.diagnosis.verdict
    faults = verdict.faults if verdict is not None else ()
    return next(
        (f.size for f in faults if f.kind == "offset" and not f.stations and f.line is None and f.side is None), None
    )


def stands_out(pair: Pair, check: CrossCheck) -> bool:
    """Whether a pair disagrees, and no fault of all the readings explains it.

    With the zero error taken out it is compared again; a reading turned round, counted otherwise or drifting is
    explained by the fault that says so of all; one that the diagnosis names stands out in any case.
    """
    verdict = check.diagnosis.verdict
    if verdict is None or not verdict.faults:
        return not pair.agrees
    if any(pair.station in f.stations and f.line in (None, pair.line) for f in verdict.faults):
        return not pair.agrees
    whole = [f for f in verdict.faults if not f.stations]
    if not whole:
        return not pair.agrees
    zero = zero_of(check)
    if zero is None or len(whole) > 1:
        return False
    left = pair.difference.value + zero.value
    return not pair.agrees and abs(left) > pair.difference.U
