"""Lengths and angles between points and lines of one plane, as plain geometry.

Frame: rib-plane millimetres, x forward (the card's arrow), y up (that way square to x which is up in the photo, or, where the
arrow itself points up or down the photo, to its right). A line is two points (2, 2) from its first end to its second.
"""

from __future__ import annotations

import math

import numpy as np

from shared.dimensions import Kind
from shared.numerics.arrays import F64

PARALLEL_DEG = 20.0
"""Two lines that meet at more than this have neither step nor gap between them."""
LEAST_CROSSING_DEG = 10.0
"""Lines that cross at less than this have no crossing worth the name."""
LEAST_FORWARD = 0.5
"""Least part of the card's arrow square to a line, for what lies aft of the line to be told from what lies before it."""


class Undefined(ArithmeticError):
    """The features as they lie have no such dimension; the argument says why, in words."""


def value_of(kind: Kind, first: F64, second: F64, chord: F64 | None = None) -> float:
    """The dimension's value, mm or degrees, with the sign that `kind.sign` says.

    kind : of the dimension. first, second : a point (2,) or a line (2, 2), as `kind.shapes`. chord : the chord line, for a
    place on it.
    Raises Undefined.
    """
    if kind in (Kind.DISTANCE, Kind.CHORD):
        return float(np.linalg.norm(second - first))
    if kind is Kind.OFFSET:
        return float((second - first[0]) @ _normal(first))
    if kind is Kind.STEP:
        return _step(first, second)
    if kind is Kind.GAP:
        return _gap(first, second)
    if kind is Kind.PLACE:
        assert chord is not None
        aft = _unit(chord)
        return float((crossing(chord, second) - first) @ (aft if aft[0] < 0 else -aft))
    return _angle(first, second) if kind is Kind.ANGLE else _sweep(first, second)


def crossing(a: F64, b: F64) -> F64:
    """(2,) where two lines cross. a, b : (2, 2) points of each. Raises Undefined."""
    d, e = _unit(a), _unit(b)
    sine = float(d[0] * e[1] - d[1] * e[0])
    if abs(sine) < math.sin(math.radians(LEAST_CROSSING_DEG)):
        raise Undefined("the lines run alongside each other and have no crossing")
    w = b[0] - a[0]
    return np.asarray(a[0] + float(w[0] * e[1] - w[1] * e[0]) / sine * d, dtype=np.float64)


def _unit(line: F64) -> F64:
    d = line[1] - line[0]
    size = float(np.linalg.norm(d))
    if size < 1e-6:
        raise Undefined("the two points that make the line are one")
    return np.asarray(d / size, dtype=np.float64)


def _normal(line: F64) -> F64:
    """Unit, square to a line: upwards, or forward where the line runs upright."""
    d = _unit(line)
    n = np.array([-d[1], d[0]])
    way = n[1] if abs(d[0]) >= abs(d[1]) else n[0]
    return n if way > 0 else -n


def _alongside(a: F64, b: F64) -> tuple[F64, F64, F64]:
    """Two lines and their common direction. Raises Undefined where they run apart."""
    d, e = _unit(a), _unit(b)
    turn = math.degrees(math.acos(min(abs(float(d @ e)), 1.0)))
    if turn > PARALLEL_DEG:
        raise Undefined(f"the two lines meet at {turn:.0f} deg: a step or gap is between lines that run alike")
    e = e if float(d @ e) > 0 else -e
    mean = d + e
    return a, b, np.asarray(mean / np.linalg.norm(mean), dtype=np.float64)


def _apart(a: F64, b: F64, along: F64, at: float) -> float:
    """How far b lies from a, positive along the normal of `along`, where the place along it is `at`."""
    line = np.stack([np.zeros(2), along])
    n = _normal(line)
    heights = []
    for each in (a, b):
        s, h = each @ along, each @ n
        heights.append(float(h[0] + (h[1] - h[0]) * (at - s[0]) / (s[1] - s[0])))
    return heights[1] - heights[0]


def _step(a: F64, b: F64) -> float:
    a, b, along = _alongside(a, b)
    s, t = np.sort(a @ along), np.sort(b @ along)
    # where they meet: between the ends that face each other, or the middle of what they share
    meet = (max(s[0], t[0]) + min(s[1], t[1])) / 2
    return _apart(a, b, along, float(meet))


def _gap(a: F64, b: F64) -> float:
    a, b, along = _alongside(a, b)
    s, t = np.sort(a @ along), np.sort(b @ along)
    low, high = max(s[0], t[0]), min(s[1], t[1])
    if high <= low:
        raise Undefined("the two edges do not face each other: measure the distance between two marks")
    return abs(_apart(a, b, along, float(low + high) / 2))


def _angle(a: F64, b: F64) -> float:
    """From a to b, degrees, -45 to 135, so that neither a level nor an upright line lies at the end of the range; positive
    where b's forward end is turned up, or, upright, its upper end aft."""
    d, e = _unit(a), _unit(b)
    turn = math.degrees(math.atan2(float(d[0] * e[1] - d[1] * e[0]), float(d @ e)))
    return (turn + 45.0) % 180.0 - 45.0


def _sweep(a: F64, b: F64) -> float:
    d, e = _unit(a), _unit(b)
    aft = np.array([-d[1], d[0]])
    aft = aft if aft[0] < 0 else -aft
    if -aft[0] < LEAST_FORWARD:
        raise Undefined("the card's arrow runs along the line: lay the card with its arrow towards the leading edge")
    e = e if float(e @ d) > 0 else -e
    return math.degrees(math.atan2(float(e @ aft), float(e @ d)))
