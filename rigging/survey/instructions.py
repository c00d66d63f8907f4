"""A correction as a person would do it: turns and eighths, clock positions, shims put in or taken out."""

from __future__ import annotations

import math
from fractions import Fraction

from shared.job.model import Jig
from shared.rounding import number


def instruction(jig: Jig, amount: float) -> str:
    """The instruction for an amount in whole smallest steps: turns clockwise positive, or mm to put in."""
    if jig.kind == "screw":
        return screw_words(amount)
    return _pieces(jig, amount)


def screw_words(turns: float) -> str:
    """In words: "turn the screw clockwise 1 1/2 turns (from 12 o'clock once round, on to 6 o'clock; ...)"."""
    way = "clockwise" if turns > 0 else "anticlockwise"
    return f"turn the screw {way} {turns_words(abs(turns))} ({clock_words(turns)}; seen from its head)"


def turns_words(turns: float) -> str:
    """A count of turns as a mixed fraction: "3/8 turn", "1 turn", "4 1/2 turns"."""
    exact = Fraction(turns).limit_denominator(96)
    whole, rest = divmod(exact.numerator, exact.denominator)
    part = f"{rest}/{exact.denominator}" if rest else ""
    text = " ".join(filter(None, [str(whole) if whole or not part else "", part]))
    return f"{text} turn{'' if exact <= 1 else 's'}"


def clock_words(turns: float) -> str:
    """Where a mark that starts at 12 o'clock ends: "from 12 o'clock twice round, on to half past 4"."""
    count = abs(turns)
    whole = math.floor(count + 1e-9)
    rest = count - whole
    rounds = {0: "", 1: "once round", 2: "twice round"}.get(whole, f"{whole} times round")
    if rest < 1e-6:
        return f"from 12 o'clock {rounds}, back to 12"
    at = (rest if turns > 0 else 1.0 - rest) * 12.0
    return f"from 12 o'clock {rounds + ', ' if rounds else ''}on to {clock_time(at)}"


def clock_time(hours: float) -> str:
    """A place on the dial to the nearest quarter hour: "3 o'clock", "half past 4", "a quarter to 1"."""
    quarters = round(hours * 4)
    hour, quarter = divmod(quarters, 4)
    now, after = (hour - 1) % 12 + 1, hour % 12 + 1
    return [f"{now} o'clock", f"a quarter past {now}", f"half past {now}", f"a quarter to {after}"][quarter]


def _pieces(jig: Jig, mm: float) -> str:
    step = float(jig.step_mm or 1.0)
    count = round(abs(mm) / step)
    thing = "shim" if jig.kind == "shim" else "packing piece"
    what = f"{count} {thing}{'' if count == 1 else 's'} of {_mm(step)} ({_mm(abs(mm))})"
    place = f"the {jig.acts_on}-edge side, {number(jig.arm_mm, 0)} mm from the pivot"
    if mm > 0:
        return f"put {what} under {place}"
    other = "leading" if jig.acts_on == "trailing" else "trailing"
    return (
        f"take {what} out from under {place}; where there is none to take, put as much under the "
        f"{other}-edge side at the same distance"
    )


def _mm(value: float) -> str:
    return f"{number(value, 3).rstrip('0').rstrip('.')} mm"
