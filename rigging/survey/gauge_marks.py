"""Which readings of the inclinometer stand out once a fault that all of them share is found and taken out."""

from __future__ import annotations

from rigging.crosscheck.types import CrossCheck, Pair
from shared.quantity import K, Quantity


def zero_of(check: CrossCheck) -> Quantity | None:
    """The zero error that the diagnosis found in all readings alike, degrees; None where it names none."""
    verdict = check.diagnosis.verdict
    faults = verdict.faults if verdict is not None else ()
    return next(
        (f.size for f in faults if f.kind == "offset" and not f.stations and f.line is None and f.side is None), None
    )


def stands_out(pair: Pair, check: CrossCheck) -> bool:
    """Whether a pair disagrees, and no fault of all the readings explains it.

    One that the diagnosis names stands out in any case; any other where more is left of its difference, with the diagnosed
    faults taken out, than K standard uncertainties.
    """
    verdict = check.diagnosis.verdict
    if pair.agrees or verdict is None or not verdict.faults:
        return not pair.agrees
    if any(pair.station in f.stations and f.line in (None, pair.line) for f in verdict.faults):
        return True
    if all(f.stations for f in verdict.faults):
        return True
    return abs(verdict.after[check.pairs.index(pair)]) > K
