"""Which upright line on the rib is the spar line.

It is drawn from surface to surface and ends at the outline; so does the string's shadow, which lies close
to the string and parallel to it. Where the job says at which part of the chord the spar stands, only
lines there are looked at; else two of equal right are not decided between.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.candidates import Stripe, find_stripes
from vision.level_reference import upright_depth, upright_ends
from vision.sheet import Sheet

F64 = NDArray[np.float64]

SPAR_TILT = 0.16
PLACE_TOLERANCE = 0.035
"""How far from its place in the job, in chords, a spar line is still looked for."""
CUT = (0.05, -0.03)
"""Height above and below the chord line, in chords, at which a stripe that runs on is cut off."""
SHADOW_REACH = 0.065
"""How far from the string, in chords, its shadow may fall: a string hangs within a few centimetres of the rib."""


@dataclass(frozen=True)
class SparChoice:
    """ends : (2, 2) sheet mm, top first, or None with the reason. doubtful : it may be the string's shadow."""

    ends: F64 | None
    reason: str
    rivals: tuple[F64, ...] = ()


def choose_spar(sheet: Sheet, chord: F64, chord_mm: float, forward_right: bool, spar_at: float | None,
                strings: list[F64], papers: list[F64]) -> SparChoice:
    """Find and weigh. chord : (2, 2) sheet mm, left end first. strings : (2, 2) each,
    sheet mm. papers : corners (4, 2) of the cards' paper."""
    depth = upright_depth(sheet)
    for ring in papers:  # the cards' own pattern is full of upright stripes
        depth[sheet.within(ring).T] = -0.02
    stripes = find_stripes(depth, sheet.valid.T, SPAR_TILT * sheet.mm_v / sheet.mm_u,
                           apart=max(2.0, 2.5 / sheet.mm_u), bridge=max(2.0, 0.02 * chord_mm / sheet.mm_v),
                           shortest=0.04 * chord_mm / sheet.mm_v, window=max(2, round(5 / sheet.mm_v)), most=10)
    fits: list[tuple[float, F64]] = []
    near_string = False
    for s in stripes:
        ends = upright_ends(sheet, s)
        drawn = _drawn_across(sheet, s, ends, chord, chord_mm)
        if drawn is None:
            continue
        ends = drawn
        at = _place(ends, chord, chord_mm, forward_right)
        if spar_at is not None and abs(at - spar_at) > PLACE_TOLERANCE:
            continue
        if any(is_shadow(ends, st, chord_mm) for st in strings):
            near_string = True
            continue
        fits.append((float(np.linalg.norm(ends[1] - ends[0])) * s.cover, ends))
    fits = _distinct(sorted(fits, key=lambda f: -f[0]))
    if not fits and near_string:
        return SparChoice(None, "the only upright line on the rib may be the string's shadow: hang the string further from "
                          "the spar line")
    if not fits:
        return SparChoice(None, "no spar line was found that crosses the chord line and ends at the rib's outline")
    if len(fits) > 1 and fits[1][0] > 0.6 * fits[0][0]:
        return SparChoice(None, "two upright lines have about equal right to be the spar line: say in the job where it "
                          "stands (spar_at), or give a hint", tuple(e for _, e in fits[:3]))
    return SparChoice(fits[0][1], "", tuple(e for _, e in fits[1:3]))


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
    if s.cover < 0.8 or top < 0.01 or bottom > -0.008 or not (top_ends or bottom_ends):
        return None
    high, low = top if top_ends else min(top, CUT[0]), bottom if bottom_ends else max(bottom, CUT[1])
    if high - low < 0.05:
        return None
    step = (ends[1] - ends[0]) / (top - bottom)
    return np.stack([ends[0] + step * (top - high), ends[0] + step * (top - low)])


def _place(ends: F64, chord: F64, chord_mm: float, forward_right: bool) -> float:
    u = float(ends[:, 0].mean())
    nose = chord[1, 0] if forward_right else chord[0, 0]
    return abs(float(nose) - u) / chord_mm + 0.012


def is_shadow(ends: F64, string: F64, chord_mm: float) -> bool:
    """Whether a line (2, 2) lies so close and parallel to a string (2, 2), sheet mm, as its shadow would."""
    d = string[1] - string[0]
    off = [abs(float(string[0, 0] + d[0] * (e[1] - string[0, 1]) / d[1] - e[0])) for e in ends]
    return max(off) < SHADOW_REACH * chord_mm and abs(off[0] - off[1]) < 0.035 * abs(ends[1, 1] - ends[0, 1]) + 1.5


def _distinct(fits: list[tuple[float, F64]]) -> list[tuple[float, F64]]:
    kept: list[tuple[float, F64]] = []
    for w, e in fits:
        if all(abs(e[:, 0].mean() - k[:, 0].mean()) > 6.0 for _, k in kept):
            kept.append((w, e))
    return kept
