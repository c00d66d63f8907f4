"""A line by name that two quartered marks define: the straight line through their centres."""

from __future__ import annotations

import numpy as np

from shared.lines import Role
from shared.numerics.arrays import F64
from vision.image.rectified import Reduced
from vision.lines.chord_line import Sight
from vision.lines.marks import Mark, find_marks, locate
from vision.named.found import FoundLine
from vision.named.sought import Sought
from vision.solution.scene import LineSeen

APART = 0.03
"""How far from the stated length the marks may be apart, part of it, beside twice `within_mm`."""
NOT_TWO = "two quartered marks were looked for {length:.0f} mm apart where the job says they are, {count} found"
SEVERAL = "more than two quartered marks lie where the job says its two are: cover the others, or lower within_mm"
UNCLEAR = "its marks are not seen clearly enough: print them true to size, lay them flat, take a sharper photo"


def find_pair(sight: Sight, want: Sought) -> FoundLine:
    """Find and measure it."""
    name, length = want.line.name, want.line.length_mm
    assert length is not None and want.middle is not None
    reach = min(max(want.within_mm, 3.0) + 0.1 * length, 60.0)
    ends = want.middle + 0.5 * length * np.array([[-1.0], [1.0]]) * want.along
    near: list[list[Mark]] = [[], []]
    for k, end in enumerate(ends):
        for mark in _about(sight, end, want.along, reach):
            if not any(float(np.linalg.norm(mark.uv - m.uv)) < 8.0 for m in near[k]):
                near[k].append(mark)
    off = APART * length + 2 * want.within_mm
    pairs = [(a, b) for a in near[0] for b in near[1] if abs(float(np.linalg.norm(b.uv - a.uv)) - length) < off]
    pairs = [(a, b) for a, b in pairs if abs(_middle(want, a, b)) < 2 * want.within_mm]
    if not pairs:
        return FoundLine(name, reason=NOT_TWO.format(length=length, count=len(near[0]) + len(near[1])))
    if len(pairs) > 1:
        return FoundLine(name, reason=SEVERAL)
    located = [locate(sight.photo.picture.gray, sight.plane, mark) for mark in pairs[0]]
    if None in located:
        return FoundLine(name, reason=UNCLEAR)
    pixels = np.array([at[0] for at in located if at is not None])
    sigma = np.array([at[1] for at in located if at is not None])
    seen = LineSeen(Role.NAMED, pixels, sigma, name=name)
    return FoundLine(name, (seen,), None, 1.0 - 1e-3, "nothing", (sight.plane.to_sheet(pixels),))


def _about(sight: Sight, at: F64, along: F64, reach: float) -> list[Mark]:
    """Quartered marks within reach of a place, looked for along a short stretch of the line."""
    ends = at + reach * np.array([[-1.0], [1.0]]) * along
    half: Reduced = sight.photo.half
    found = find_marks(half, sight.plane, ends, 0.05, 2.0 / sight.photo.scale, reach)
    return [m for m in found if m.kind == "quartered"]


def _middle(want: Sought, a: Mark, b: Mark) -> float:
    """How far across the line the marks' middle lies from the stated one, mm."""
    assert want.middle is not None
    return float(((a.uv + b.uv) / 2 - want.middle) @ want.across)
