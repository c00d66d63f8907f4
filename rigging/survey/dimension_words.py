"""How dimensions are written: millimetres, inches, or fractions of an inch with what is left over; degrees for angles."""

from __future__ import annotations

import math

from shared.dimensions import Dimension, Kind
from shared.job.model import Job
from shared.lengths import INCH_MM, as_fraction
from shared.quantity import Quantity
from shared.rounding import degrees, number, places


def value_words(job: Job, unit: str, quantity: Quantity, sign: bool = False) -> str:
    """A value with its U (k = 2): "412.31 ± 0.12 mm", "16.233 ± 0.005 in", "16 15/64 in − 0.001 ± 0.005", "1.20° ± 0.05°".

    job : says the unit of lengths. unit : of the quantity, "mm" or "deg". quantity : in it. sign : whether a plus is written.
    """
    if unit == "deg":
        return degrees(quantity, sign)
    if job.length_unit == "mm":
        n = places(quantity.U)
        return f"{number(quantity.value, n, sign)} ± {number(quantity.U, n)} mm"
    U = quantity.U / INCH_MM
    n = places(U)
    if not job.inch_fractions:
        return f"{number(quantity.value / INCH_MM, n, sign)} ± {number(U, n)} in"
    text, left = as_fraction(quantity.value)
    way = "+" if left >= 0 else "\N{MINUS SIGN}"
    plus = "+" if sign and quantity.value > 0 and text[0].isdigit() and text != "0" else ""
    return f"{plus}{text} in {way} {number(abs(left), n)} ± {number(U, n)}"


def exact_words(job: Job, unit: str, value: float) -> str:
    """A number of the job. job : says the unit of lengths. unit : of the value, "mm" or "deg". value : exact."""
    if unit == "deg":
        return f"{number(value, 2)}°"
    if job.length_unit == "mm":
        return f"{_short(value, 2)} mm"
    if job.inch_fractions:
        text, left = as_fraction(value)
        if math.isclose(left, 0.0, abs_tol=5e-5):
            return f"{text} in"
    return f"{_short(value / INCH_MM, 4)} in"


def _short(value: float, most: int) -> str:
    """With as many decimals as it has, at most so many."""
    n = next((n for n in range(most) if math.isclose(round(value, n), value, abs_tol=1e-6)), most)
    return number(value, n)


def design_words(job: Job, d: Dimension) -> str:
    """The design value with its tolerance, "" where there is none. job : says the unit of lengths. d : the dimension."""
    if d.design is None or d.tolerance is None:
        return ""
    return f"{exact_words(job, d.kind.unit, d.design)} ± {exact_words(job, d.kind.unit, d.tolerance)}"


def between_words(d: Dimension) -> str:
    """What a dimension d stands between: "step, edge a to edge b". d : the dimension."""
    first, second = (f.text for f in d.between)
    if d.kind is Kind.OFFSET:
        return f"offset of {second} from {first}"
    return f"{d.kind.value}, {first} to {second}"


REMEDIES = {
    "print scale": "measure the printed check bar: ribangle calibrate print",
    "print scale from page to page": "measure the check bar of this card's own page",
    "rib plane tilt": "lay a second card far from the first, or come nearer",
    "marks off the card's plane": "lay card and marks in one plane, and stand farther away",
    "where the marks are seen": "come nearer, and use printed marks",
    "card's thickness": "say in the job how thick the card is ([cards] thickness_mm)",
    "which way the card tilts": "lay a second card, or stand more to one side",
    "card seating": "press the card flat, or lay a second one",
    "lens": "ribangle calibrate lens",
    "card print": "measure the card's stretch and corners: ribangle calibrate print",
    "pen waviness": "draw the line along a straightedge",
    "waviness of line or edge": "measure over a longer stretch of the line or edge",
    "line and edge fit": "come nearer",
    "tone curve at edges": "stand so that both sides of the edge are lit alike, or draw a line along it",
}
"""Component of a budget -> what would make it smaller."""


def limit_of(quantity: Quantity) -> tuple[str, float, str]:
    """What limits U most: the component, its share of u squared, and what would make it smaller ("" where unknown).

    quantity : with its budget.
    """
    budget = quantity.budget()
    name, u = next(iter(budget.items()), ("", 0.0))
    share = (u / quantity.u) ** 2 if quantity.u > 0 else 0.0
    return name, share, REMEDIES.get(name, "")
