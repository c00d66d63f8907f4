"""What the job's dimensions stand on, in the annotated picture, and their values in its caption."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from shared.lines import Role
from shared.reading import Measured, Point, Reading
from shared.rounding import degrees, number, places
from vision.overlay.lettering import Colour

COLOUR: Colour = Role.FEATURE.colour


def told(m: Measured, words: Mapping[str, str]) -> str:
    """A dimension's value in words. m : the dimension. words : name -> value, in the job's unit; without it millimetres."""
    if m.quantity is None:
        return f"{m.name} not measured: {m.reason}"
    if m.name in words:
        return f"{m.name} {words[m.name]}"
    if m.unit == "deg":
        return f"{m.name} {degrees(m.quantity)}"
    n = places(m.quantity.U)
    return f"{m.name} {number(m.quantity.value, n)} ± {number(m.quantity.U, n)} mm"


def spots(reading: Reading) -> tuple[Point, ...]:
    """Every mark that a dimension of a reading stands on, once. reading : a photo's foremost."""
    return tuple(dict.fromkeys(p[0] for m in reading.dimensions for p in m.paths if len(p) == 1))


def lines(reading: Reading) -> tuple[tuple[Point, ...], ...]:
    """Every line and edge that a dimension of a reading stands on, once. reading : a photo's foremost."""
    return tuple(dict.fromkeys(p for m in reading.dimensions for p in m.paths if len(p) > 1))


def between(reading: Reading) -> Iterator[tuple[str, tuple[Point, ...]]]:
    """Each measured dimension's name, and a path from the middle of one thing it stands on to the other's, to label.

    reading : a photo's foremost.
    """
    for m in reading.dimensions:
        if m.quantity is None or not m.paths:
            continue
        ends = [np.asarray(p, dtype=np.float64).mean(0) for p in (m.paths[0], m.paths[-1])]
        yield m.name, tuple((float(x), float(y)) for x, y in ends)
