"""Which upright lines are hanging strings: those that pass in front of the rib and go on beyond it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vision.image.rectified import Plane
from vision.level.crossing import Box, Crossing, look_along, may_pass
from vision.level.references import UprightLine

F64 = NDArray[np.float64]
U8 = NDArray[np.uint8]

APART_MM = 12.0
"""Strings nearer to each other than this, at both ends, are taken for one."""
NEAR_TAIL = 0.09
"""Near the trailing edge, in chords, the rib is too thin to tell before from behind."""
LESSER = 0.35
"""Share of the best one's weight below which another string is left alone."""
PLAIN_PIECE = 0.7
"""Share of the rib, or of what lies above or below it, that a piece of a string shows on."""
WHOLE, BELOW_ALONE = 0.65, 0.85
"""Share of the rib, and of what lies above and below it, over all of which a line is whole: a string, it seems, even where
the close look does not find it so. Where it does not show above the rib, the share below from which on it is."""
FURTHER = ((0.13, 0.09), (0.21, 0.15), (0.35, 0.25))
"""How far above and below the chord line a piece is drawn out step by step, in chords."""


def choose_strings(
    image: U8,
    plane: Plane,
    lines: list[UprightLine],
    chord: F64,
    chord_mm: float,
    forward_right: bool,
    covers: tuple[Box, ...],
) -> tuple[list[UprightLine], str | None]:
    """The lines that are strings, on the path they were found on, the plainest first (one string may come more than
    once); and the reason when there is none.

    image : (h, w) or (h, w, 3), full size. chord : (2, 2) sheet mm, left end first. covers : see
    `look_along`.
    """
    sure: list[tuple[float, UprightLine]] = []
    for line in lines:
        if not promising(line) or near_tail(line, chord, chord_mm, forward_right):
            continue
        if not may_pass(image, plane, line, chord, chord_mm, forward_right, covers):
            continue
        crossing = look_along(image, plane, line, chord, chord_mm, forward_right, covers)
        if crossing is not None and crossing.passes:
            length = float(np.linalg.norm(line.ends[1] - line.ends[0]))
            weight = np.nanmin([crossing.upper, crossing.lower]) * (crossing.above + crossing.below) * length
            sure.append((float(weight), _on_path(line, crossing)))
    sure.sort(key=lambda f: -f[0])
    if sure:
        return [line for weight, line in sure if weight >= LESSER * sure[0][0]], None
    return [], (
        "no line was seen both on the rib and beyond it, as a string before it would be: hang the string in "
        "front of the rib, in a colour that differs from it"
        if any(promising(k) for k in lines)
        else None
    )


def from_pieces(
    image: U8,
    plane: Plane,
    lines: list[UprightLine],
    chord: F64,
    chord_mm: float,
    forward_right: bool,
    covers: tuple[Box, ...],
) -> list[UprightLine]:
    """Strings of which only a piece was found, drawn out step by step and looked for along the way; the plainest first.

    A string that is lighter than the rib and darker than the wall falls into pieces, each plain by itself. Parameters as
    in `choose_strings`.
    """
    sure: list[tuple[float, UprightLine]] = []
    for line in lines:
        if not plain(line) or near_tail(line, chord, chord_mm, forward_right):
            continue
        crossing: Crossing | None = None
        for up, down in FURTHER:
            line = _drawn_out(line, up * chord_mm, down * chord_mm)
            crossing = look_along(image, plane, line, chord, chord_mm, forward_right, covers)
            if crossing is None:
                break
            line = _on_path(line, crossing)
        if crossing is not None and crossing.passes:
            sure.append((float(np.nanmin([crossing.upper, crossing.lower])) * (crossing.above + crossing.below), line))
    return [line for _, line in sorted(sure, key=lambda f: -f[0])]


def _drawn_out(line: UprightLine, up_mm: float, down_mm: float) -> UprightLine:
    """From so far above to so far below where it crosses the chord line."""
    v = float(line.at_chord[1]) + np.array([-up_mm, down_mm])
    return replace(line, ends=np.stack([[_at(line.ends, float(k)), float(k)] for k in v]))


def promising(line: UprightLine) -> bool:
    """Whether a line shows beyond the rib at all."""
    return max(line.above, line.below) > 0.3


def plain(line: UprightLine) -> bool:
    """Whether a line may be a piece of a string: it shows all along the rib, or above or below it."""
    return max(line.on_rib, line.above, line.below) >= PLAIN_PIECE


def beyond(line: UprightLine) -> bool:
    """Whether a line shows above the rib and below it alike, be it a string of the rib's tone before it or a pole behind."""
    return min(line.above, line.below) > WHOLE


def near_tail(line: UprightLine, chord: F64, chord_mm: float, forward_right: bool) -> bool:
    """Whether a line crosses the rib where it is too thin to tell before from behind."""
    tail = chord[0] if forward_right else chord[1]
    return abs(float(line.at_chord[0] - tail[0])) < NEAR_TAIL * chord_mm


def whole(line: UprightLine) -> bool:
    """Whether a line shows on the rib, below it and above it alike, or so plainly below that it need not above."""
    return min(line.on_rib, line.below) > WHOLE and (line.above > WHOLE or line.below > BELOW_ALONE)


def _on_path(line: UprightLine, crossing: Crossing) -> UprightLine:
    """The line moved onto the path that the close look found, from end to end as before."""
    ends = np.stack([[_at(crossing.ends, float(v)), float(v)] for v in line.ends[:, 1]])
    v = float(line.at_chord[1])
    return replace(line, ends=ends, at_chord=np.array([_at(crossing.ends, v), v]))


def apart(a: F64, b: F64) -> bool:
    """Whether two upright lines (2, 2) sheet mm, top first, are two strings, not one found twice."""
    lo, hi = max(a[0, 1], b[0, 1]), min(a[1, 1], b[1, 1])
    if hi <= lo:
        lo, hi = min(a[0, 1], b[0, 1]), max(a[1, 1], b[1, 1])
    off = [_at(a, v) - _at(b, v) for v in (lo, hi)]
    return min(abs(off[0]), abs(off[1])) > APART_MM and off[0] * off[1] > 0


def _at(ends: F64, v: float) -> float:
    """Where a line (2, 2) sheet mm is at a height v."""
    d = ends[1] - ends[0]
    return float(ends[0, 0] + d[0] * (v - ends[0, 1]) / d[1])
