"""The diagnosis in plain words: what each explanation says, what speaks for it, what to do."""

from __future__ import annotations

import math

from rigging.crosscheck.types import Fault, Hypothesis
from shared.quantity import Quantity


def amount(q: Quantity | None) -> str:
    """A size with U, two digits after the point: "+0.31 deg (U 0.05)"."""
    return "" if q is None else f"{q.value:+.2f} deg (U {q.U:.2f})"


def _percent(q: Quantity | None) -> str:
    return "" if q is None else f"{100 * q.value / 90:+.2f} %"


def of_fault(f: Fault) -> str:
    """One fault as a clause."""
    line = f" {f.line}" if f.line else ""
    side = f" on the {f.side} side" if f.side else ""
    where = f" at {f.stations[0]}{line}" if f.stations else ""
    lines = f" of all {f.line} lines" if f.line and not f.stations else "" if f.stations else " of all readings"
    match f.kind:
        case "offset" if f.variant == "opposed":
            return (
                f"an offset that turns round with the wing: {amount(f.size)} on the right, the opposite on "
                "the left (a zero error of a gauge turned end for end between the wings)"
            )
        case "offset" if f.line == "spar" and not f.side:
            return (
                f"all spar lines are off by {amount(f.size)} and the chord lines are not: another edge or zero was "
                f"used for them, or the gauge's scale is {_percent(f.size)} off (at 90 deg the two look alike)"
            )
        case "offset" if f.line or f.side:
            which = " ".join(w for w in (f.side, f"{f.line or 'reading'}s") if w)
            return f"all {which} are off by {amount(f.size)} and the others are not: another zero or edge for them"
        case "scale":
            return (
                f"a scale error of {_percent(f.size)}, {amount(f.size)} at 90 deg; lines near level hardly show it "
                "(another edge or zero for the spar lines looks alike)"
            )
        case "step":
            return (
                f"readings off by {amount(f.size)} {'from' if ' to ' not in f.variant else 'at'} {f.variant}"
                f"{' on' if ' to ' not in f.variant else ''}: a chip under the gauge, or its zero moved"
            )
        case "lines":
            where = f"at {f.stations[0]}" if f.stations else "at all stations"
            return f"chord and spar reading {where} stand in each other's place"
        case "slip":
            return f"the {f.line} readings from {f.stations[0]} to {f.stations[-1]} slipped by one row"
        case "offset":
            return f"one constant offset of all readings: the gauge's zero error is {amount(f.size)}"
        case "drift":
            return f"a drift of {amount(f.size)} from the first reading to the last"
        case "station":
            both = line or " (both lines)"
            how = {
                "sign turned": ", which fits with its sign turned",
                "complement": ", which fits as the complement",
                "digits": ", which fits with two figures exchanged",
                "point": ", which fits with the decimal point shifted",
                "repeats the one before": ", repeating the reading before it",
            }.get(f.variant, "")
            return f"one station alone: {f.stations[0]}{both} was read {amount(f.size)} off{how}"
        case "sign":
            return f"the sign{where or lines}{side} is turned round"
        case "complement":
            how = "90 minus the angle" if f.variant == "90 minus" else "the angle counted from the other axis"
            return f"the complement was written{where or lines}{side} ({how})"
        case "sense":
            what = "shows no sign" if f.variant == "no sign" else "counts back from 90"
            return f"the gauge {what} on the {f.line} lines, other than declared"
        case "swap":
            return f"stations {f.stations[0]} and {f.stations[1]} are swapped{f' ({f.line})' if f.line else ''}"
        case "sides":
            return "left and right are mixed up: each reading fits the same rib of the other wing"
        case "sticking":
            repeated = ", ".join(f.stations[1:])
            return f"the gauge stuck on the {f.line} line of {f.stations[0]}: {repeated} repeat it"
        case "rounding":
            return f"the readings are rounded to {f.variant} deg"
        case "scatter":
            return "the readings scatter more than their uncertainties allow, in no pattern"
    return "no fault"


def of_faults(faults: tuple[Fault, ...]) -> str:
    """One explanation as a sentence without a stop."""
    return ", and ".join(of_fault(f) for f in faults) or "no fault: differences as the uncertainties allow"


def advice(h: Hypothesis) -> tuple[str, ...]:
    """What would settle or mend each fault."""
    return tuple(dict.fromkeys(_advice(f) for f in h.faults))


_PLUMB = (
    "read one plumb edge, turn the gauge end for end, read it again: half of what the sum is off 180 deg is its error "
    "at 90; what is left comes from the edge it sat on"
)


def _advice(f: Fault) -> str:
    name = f.stations[0] if f.stations else ""
    match f.kind:
        case "scale":
            return _PLUMB
        case "offset" if f.line == "spar" and not f.side:
            return _PLUMB
        case "offset" if f.line or f.side:
            which = " ".join(w for w in (f.side, f.line or "") if w)
            return f"read two of the {which} lines again, gauge on the same edge as for the others"
        case "step":
            return "clean gauge and edge, zero the gauge, and read those again"
        case "lines" | "slip":
            return "compare the rows with the gauge at two of these stations, and write each in its own row"
        case "offset" if f.size is not None:
            return (
                f"turn the gauge end for end on one spot: with this zero error the two readings differ from "
                f"opposite signs by {2 * abs(f.size.value):.1f} deg; zero it, or write a calibration with "
                "`ribangle calibrate gauge`"
            )
        case "drift":
            return "zero the gauge again, let it warm up, read the first station once more"
        case "station":
            return f"read {name} again, gauge lifted and set down anew; photograph it again too"
        case "sign":
            return "look which way the gauge counts up, and write nose-up positive"
        case "complement":
            return "look what the gauge shows on a level and on a plumb edge, and write level as 0, plumb as 90"
        case "sense":
            return "declare how the gauge counts ([gauge] sense in the job), and write the sign"
        case "swap":
            return f"read {f.stations[0]} and {f.stations[1]} again, and write each beside its own station"
        case "sides":
            return "read one rib of each wing again to see which side the notes belong to"
        case "sticking":
            return f"read {', '.join(f.stations[1:])} again, waiting for the display to settle"
        case "rounding":
            return "write every digit the gauge shows"
    return "check that the stated uncertainties of camera and gauge are not too small; read all stations again"


def evidence(best: Hypothesis, none: Hypothesis | None, second: Hypothesis | None, worst: float) -> tuple[str, ...]:
    """What speaks for the best explanation. worst : largest |difference| over its u at first."""
    found = []
    if best.faults:
        found.append(
            f"the worst difference is {worst:.1f} standard uncertainties; after the explanation "
            f"{best.left_over:.1f} is left"
        )
        if none is not None:
            found.append(f"the data are {_times(best.log_evidence - none.log_evidence)} as likely as without a fault")
    else:
        found.append(f"the worst difference is {worst:.1f} standard uncertainties")
    if second is not None:
        ratio = best.probability / second.probability if second.probability > 0 else math.inf
        found.append(
            f"runner-up, {_times(math.log(ratio) if ratio < math.inf else math.inf)} less probable: {second.text}"
        )
    return tuple(found)


def _times(log_ratio: float) -> str:
    if log_ratio > math.log(1e6):
        return "more than a million times"
    return f"{math.exp(log_ratio):,.0f} times" if log_ratio > math.log(10) else f"{math.exp(log_ratio):.1f} times"
