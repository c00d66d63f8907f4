"""Which upright lines are hanging strings.

In front of the rib *and* beyond it. Where a string has the rib's own colour its trace on the rib is looked
for in the full picture, the whole crossing averaged: even a string of the same brightness shades itself.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.level_reference import UprightLine
from vision.lines import sample
from vision.photo import Picture
from vision.sheet import Plane

F64 = NDArray[np.float64]

APART_MM = 12.0
"""Strings nearer to each other than this, at both ends, are taken for one."""
FAINT_TRACE, CLEAR_TRACE = 2.5, 4.5
"""How far the mean profile on the rib must stand out of its own noise to back, or to prove, a string there."""


def choose_strings(picture: Picture, plane: Plane, lines: list[UprightLine], chord: F64, chord_mm: float,
                   forward_right: bool, scale: float) -> tuple[list[F64], str | None]:
    """Ends (2, 2) sheet mm of each string, top first; and the reason when there is none.

    chord : (2, 2) sheet mm, left end first.
    """
    tail = chord[0] if forward_right else chord[1]
    sure: list[tuple[float, UprightLine]] = []
    for line in lines:
        if max(line.above, line.below) < 0.3:
            continue
        # near the trailing edge the rib is too thin to tell before from behind
        if abs(line.at_chord[0] - tail[0]) < 0.09 * chord_mm:
            continue
        trace = _trace(picture, plane, line, chord_mm, scale)
        if _before_the_rib(line, trace):
            length = float(np.linalg.norm(line.ends[1] - line.ends[0]))
            sure.append((max(line.on_rib, 0.5) * (line.above + line.below) * length, line))
    sure.sort(key=lambda f: -f[0])
    kept: list[UprightLine] = []
    for weight, line in sure:
        if weight < 0.35 * sure[0][0]:
            continue
        if all(_apart(line, k) for k in kept):
            kept.append(line)
    if not kept:
        near_tail = any(max(k.above, k.below) > 0.4 for k in lines)
        return [], ("no line was seen both on the rib and beyond it, as a string before it would be: hang the string in "
                    "front of the rib, in a colour that differs from it" if near_tail else None)
    return [k.ends for k in kept], None


def _before_the_rib(line: UprightLine, trace: float) -> bool:
    """Seen on the rib and beyond it, in one of four ways.

    Plainly everywhere; or on the rib and on one side of it, with a trace in the full picture to back it; or
    faintly everywhere, with a clear trace; or plainly above and below, with a clear trace where it has the
    rib's own colour.
    """
    least, most = sorted((line.above, line.below))
    plain = line.on_rib > 0.6 and least > 0.7
    backed = line.on_rib > 0.55 and least + most > 0.9 and trace > FAINT_TRACE
    one_side = line.on_rib > 0.4 and most > 0.8 and trace > 1.4 * CLEAR_TRACE
    faint = line.on_rib > 0.4 and least > 0.3 and trace > CLEAR_TRACE
    hidden = (least > 0.6 and trace > CLEAR_TRACE) or (least > 0.85 and line.on_rib > 0.3 and trace > FAINT_TRACE)
    return plain or backed or one_side or faint or hidden


def _apart(a: UprightLine, b: UprightLine) -> bool:
    lo, hi = max(a.ends[0, 1], b.ends[0, 1]), min(a.ends[1, 1], b.ends[1, 1])
    if hi <= lo:
        lo, hi = min(a.ends[0, 1], b.ends[0, 1]), max(a.ends[1, 1], b.ends[1, 1])
    return all(abs(_at(a.ends, v) - _at(b.ends, v)) > APART_MM for v in (lo, hi)) and \
        (_at(a.ends, lo) - _at(b.ends, lo)) * (_at(a.ends, hi) - _at(b.ends, hi)) > 0


def _at(ends: F64, v: float) -> float:
    d = ends[1] - ends[0]
    return float(ends[0, 0] + d[0] * (v - ends[0, 1]) / d[1])


def _trace(picture: Picture, plane: Plane, line: UprightLine, chord_mm: float, scale: float) -> float:
    """How many times its own scatter the mean profile across the line stands out on the rib, above the chord
    line and below it: the lesser of the two, for a short tick on one side is no string."""
    d = line.ends[1] - line.ends[0]
    t = d / np.linalg.norm(d)
    reach = 0.018 * chord_mm
    parts = [line.at_chord + t * s for s in (-reach, -3.0, 3.0, reach)]
    both = []
    for a, b in ((parts[0], parts[1]), (parts[2], parts[3])):
        seen = sample(picture.gray, plane, a, b, float(np.clip(7 * scale, 14, 28)), float(np.linalg.norm(b - a)) / 3.01)
        values = seen.values[seen.inside]
        if len(values) < 2:
            return 0.0
        x = np.arange(values.shape[1]) - values.shape[1] // 2
        fit = np.polynomial.polynomial.polyfit(x, values.T, 2)
        mean = (values - np.polynomial.polynomial.polyval(x, fit)).mean(0)
        noise = float(np.sqrt(np.mean(mean[np.abs(x) > 4 + scale] ** 2))) + 0.15
        both.append(float(np.abs(mean[np.abs(x) <= 1.5 + 0.8 * scale]).max() / noise))
    return min(both)
