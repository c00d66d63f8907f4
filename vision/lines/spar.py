"""Upright lines on the rib that may be the spar line.

It is drawn from surface to surface and ends at the outline; so does the string's shadow, which lies close
to the string and parallel to it. Where the job says at which part of the chord the spar stands, only
lines there are looked at; else two of equal right are not decided between.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.image.rectified import Sheet
from vision.level.references import upright_depth, upright_ends
from vision.lines.candidates import Stripe, find_stripes

F64 = NDArray[np.float64]

SPAR_TILT = 0.16
PLACE_TOLERANCE = 0.035
"""How far from its place in the job, in chords, a spar line is still looked for."""
BRIDGE, WHOLE, BROKEN = 0.035, 0.8, 0.6
"""Longest gap in a spar line, in chords; share of it seen for it to be whole, and to be looked at at all."""
CUT = (0.05, -0.03)
"""Height above and below the chord line, in chords, at which a stripe that runs on is cut off."""
STRING_MM = 3.0
"""An upright line that keeps nearer to the string than this is the string."""
SHADOW_REACH = 0.065
"""How far from the string, in chords, its shadow may fall: a string hangs within a few centimetres of the rib."""


@dataclass(frozen=True)
class Upright:
    """An upright line on the rib. ends : (2, 2) sheet mm, top first. weight : mm well seen. doubtful : it lies where
    the string's shadow may fall, or is broken, and is to be believed only if the chord line's pen drew it."""

    ends: F64
    weight: float
    doubtful: bool


def upright_lines(
    sheet: Sheet,
    chord: F64,
    chord_mm: float,
    forward_right: bool,
    spar_at: float | None,
    strings: list[F64],
    papers: list[F64],
) -> list[Upright]:
    """Lines drawn across the rib where the spar may stand, the longest first.

    chord : (2, 2) sheet mm, left end first. strings : (2, 2) each, sheet mm. papers : corners (4, 2) of the cards'
    paper. spar_at : the job's word on where it stands, in chords.
    """
    depth = upright_depth(sheet)
    for ring in papers:  # the cards' own pattern is full of upright stripes
        depth[sheet.within(ring).T] = -0.02
    stripes = find_stripes(
        depth,
        sheet.valid.T,
        SPAR_TILT * sheet.mm_v / sheet.mm_u,
        apart=max(2.0, 2.5 / sheet.mm_u),
        bridge=max(2.0, BRIDGE * chord_mm / sheet.mm_v),
        shortest=0.04 * chord_mm / sheet.mm_v,
        window=max(2, round(5 / sheet.mm_v)),
        most=10,
    )
    found: list[Upright] = []
    for s in stripes:
        ends = upright_ends(sheet, s)
        drawn = _drawn_across(sheet, s, ends, chord, chord_mm)
        if drawn is None:
            continue
        ends = drawn
        at = _place(ends, chord, chord_mm, forward_right)
        if spar_at is not None and abs(at - spar_at) > PLACE_TOLERANCE:
            continue
        if any(is_string(ends, st) for st in strings):
            continue
        found.append(
            Upright(
                ends,
                float(np.linalg.norm(ends[1] - ends[0])) * s.cover,
                s.cover < WHOLE or any(is_shadow(ends, st, chord_mm) for st in strings),
            )
        )
    return _distinct(sorted(found, key=lambda f: -f.weight))


def _height(point: F64, chord: F64) -> float:
    slope = (chord[1, 1] - chord[0, 1]) / (chord[1, 0] - chord[0, 0])
    return float(chord[0, 1] + slope * (point[0] - chord[0, 0]) - point[1])


def _drawn_across(sheet: Sheet, s: Stripe, ends: F64, chord: F64, chord_mm: float) -> F64 | None:
    """The ends of a stripe that runs from above the chord line to below it and ends where the rib's surfaces are.

    Where one end runs on, into a box or an edge behind in line with it, the stripe is cut off well inside the
    rib there; one that runs on both ways is no drawn line. None when it is not such a stripe.
    """
    top, bottom = _height(ends[0], chord) / chord_mm, _height(ends[1], chord) / chord_mm
    last = sheet.image.shape[0] - 2 - 3 / sheet.mm_v
    top_ends, bottom_ends = s.first > 1 and top < 0.125, s.last < last and bottom > -0.09
    if s.cover < BROKEN or top < 0.01 or bottom > -0.008 or not (top_ends or bottom_ends):
        return None
    high, low = top if top_ends else min(top, CUT[0]), bottom if bottom_ends else max(bottom, CUT[1])
    if high - low < 0.045:
        return None
    step = (ends[1] - ends[0]) / (top - bottom)
    return np.stack([ends[0] + step * (top - high), ends[0] + step * (top - low)])


def _place(ends: F64, chord: F64, chord_mm: float, forward_right: bool) -> float:
    u = float(ends[:, 0].mean())
    nose = chord[1, 0] if forward_right else chord[0, 0]
    return abs(float(nose) - u) / chord_mm + 0.012


def is_string(ends: F64, string: F64) -> bool:
    """Whether a line (2, 2) is the string (2, 2) itself, sheet mm."""
    return max(_beside(ends, string)) < STRING_MM


def is_shadow(ends: F64, string: F64, chord_mm: float) -> bool:
    """Whether a line (2, 2) lies so close and parallel to a string (2, 2), sheet mm, as its shadow would."""
    off = _beside(ends, string)
    return max(off) < SHADOW_REACH * chord_mm and abs(off[0] - off[1]) < 0.035 * abs(ends[1, 1] - ends[0, 1]) + 1.5


def _beside(ends: F64, string: F64) -> list[float]:
    """How far from the string each end of a line lies, mm."""
    d = string[1] - string[0]
    return [abs(float(string[0, 0] + d[0] * (e[1] - string[0, 1]) / d[1] - e[0])) for e in ends]


def _distinct(found: list[Upright]) -> list[Upright]:
    kept: list[Upright] = []
    for line in found:
        if all(abs(line.ends[:, 0].mean() - k.ends[:, 0].mean()) > 6.0 for k in kept):
            kept.append(line)
    return kept
