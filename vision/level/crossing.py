"""Whether an upright line passes in front of the rib: looked at along its whole length, in the full picture.

The strip along the line is laid straight. In each short stretch a matched filter (stripe less the mean of
its two sides) is held against its own scatter round about, in every channel, and the straight path through
the strip is sought along which it stands out most. A string stands out before the rib *and* before what
is behind the rib, on one path; a pole behind the rib is cut off by the rib's outline, a drawn line or a
shadow on the rib ends there.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from shared.numerics.small_sums import row_means
from vision.image.rectified import Plane
from vision.level.references import UprightLine

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
U8 = NDArray[np.uint8]
Box = tuple[float, float, float, float]

STRETCH_MM = 3.0
"""Length of the stretches that are judged one by one."""
HALF_WIDTHS = (1, 2, 4)
"""Half widths of the stripes that are looked for, pixels."""
SIDE_GAP, SIDE = 2, 4
"""Pixels between a stripe and its sides, and how wide a side is averaged."""
WANDER = 4
"""How far off the path of an upright line found coarsely may lie at either end, pixels."""
SEARCHED = 7
"""How far from a line, pixels, the stripe on the rib is looked for."""
SLANTED = 8
"""Stretches from which on a path of its own slant is sought."""
LEAST_BELOW = 0.4
"""Share of the rib below the chord line on which a string must show."""
LEAST_FREE = 3
"""Stretches of the rib, beside the cards, from which on they are judged."""
CLEAR = 4.0
"""How many times its scatter a stretch must stand out to count as seen."""
POOLED = 2
"""Stretches either way that are taken together for a faint line."""
ROUND = 6
"""Stretches either way over which scatter is judged."""


@dataclass(frozen=True)
class Crossing:
    """Share of the stretches in which the line is seen, less what chance would show.

    upper, lower : on the rib above the chord line (NaN where a card covers it) and below it. above, below : beyond
    the rib. ends : (2, 2) sheet mm, the path found, top first. aside_px : how far off the line as given the stripe's
    own straight path on the rib lies, at the worse end; NaN where cards leave nothing of the rib to see.
    """

    upper: float
    lower: float
    above: float
    below: float
    ends: F64
    aside_px: float

    @property
    def passes(self) -> bool:
        """In front of the rib and beyond it."""
        least, most = sorted((self.above, self.below))
        if np.isnan(self.upper):  # the card covers the rib above the chord line
            return self.lower > 0.6 and least > 0.8
        return self.upper > 0.6 and self.lower > LEAST_BELOW and most > 0.7 and least + most > 0.8


def look_along(
    image: U8,
    plane: Plane,
    line: UprightLine,
    chord: F64,
    chord_mm: float,
    forward_right: bool,
    covers: tuple[Box, ...] = (),
    wander: int = WANDER,
) -> Crossing | None:
    """Judge one upright line.

    image : (h, w) or (h, w, 3), full size. chord : (2, 2) sheet mm, left end first. covers : (u0, v0, u1, v1) sheet mm,
    cards on the rib, whose pattern could be taken for the stripe. wander : how far off the path may lie at either
    end, pixels. None where the line is too short to judge.
    """
    cut = _cut(line, chord, chord_mm, forward_right, covers)
    if cut is None:
        return None
    centre, parts, free = cut
    values, inside = _strip(image, plane, centre)
    looks = [(*_straightest(z * inside[:, None], wander), z) for z in _standing_out(values)]
    _, path, z = max(looks, key=lambda look: look[0])
    seen, chance = _seen_along(z * inside[:, None], path)
    ends = _off(plane, centre[[0, -1]], path[[0, -1]])
    bare = (parts[0] & free & inside, parts[1] & free & inside, parts[2] & inside, parts[3] & inside)
    upper, lower, above, below = (max(0.0, float(seen[p].mean()) - chance) if p.sum() > 1 else 0.0 for p in bare)
    if bare[0].sum() < LEAST_FREE:
        upper = float("nan") if (parts[0] & inside).sum() >= LEAST_FREE else 0.0
    return Crossing(upper, lower, above, below, ends, _aside(z[bare[0] | bare[1]]))


def may_pass(
    image: U8,
    plane: Plane,
    line: UprightLine,
    chord: F64,
    chord_mm: float,
    forward_right: bool,
    covers: tuple[Box, ...] = (),
) -> bool:
    """Whether `look_along` could find that the line passes: a quick look at the few stretches of the rib below the chord
    line, where most upright lines do not show. Parameters as there."""
    cut = _cut(line, chord, chord_mm, forward_right, covers)
    if cut is None:
        return False
    centre, parts, free = cut
    below = parts[1] & free
    if below.sum() < 2:
        return False
    first, last = np.flatnonzero(below)[[0, -1]]
    # what lies round about is part of the yardstick
    near = slice(max(0, first - ROUND - POOLED), last + ROUND + POOLED + 1)
    values, inside = _strip(image, plane, centre[near])
    below = below[near] & inside
    return bool(below.sum() > 1) and any(
        (_near(z, WANDER)[below] > CLEAR).mean() > LEAST_BELOW for z in _standing_out(values)
    )


def _cut(
    line: UprightLine, chord: F64, chord_mm: float, forward_right: bool, covers: tuple[Box, ...]
) -> tuple[F64, tuple[NDArray[np.bool_], ...], NDArray[np.bool_]] | None:
    """An upright line cut into stretches: their middles (n, 2) sheet mm; which of them lie on the rib above the chord
    line and below it, above the rib and below it; and which are free of cards. None where it is too short."""
    top, bottom = line.ends
    d = (bottom - top) / (bottom[1] - top[1])  # per mm down
    crossing = line.at_chord
    tail = abs(crossing[0] - (chord[0, 0] if forward_right else chord[1, 0])) / chord_mm
    v0 = max(float(top[1]), crossing[1] - 0.35 * chord_mm)
    v1 = min(max(float(bottom[1]), crossing[1] + 0.03 * chord_mm), crossing[1] + 0.25 * chord_mm)
    count = int((v1 - v0) / STRETCH_MM)
    if count < 12:
        return None
    v = v0 + (np.arange(count) + 0.5) * (v1 - v0) / count
    centre = crossing + (v - crossing[1])[:, None] * d
    free = np.ones(count, dtype=bool)
    for left, upper_edge, right, lower_edge in covers:
        free &= ~((centre[:, 0] > left) & (centre[:, 0] < right) & (v > upper_edge) & (v < lower_edge))
    height = crossing[1] - v  # above the chord line, mm
    # the rib is at least this deep above and below the chord line (common practice, no source: sections of 9 % and more)
    deep, shallow = min(0.045, 0.12 * tail) * chord_mm, min(max(0.012 * chord_mm, 8.0), 0.05 * tail * chord_mm)
    parts = (
        (height > 2.0) & (height < deep),
        (height < -2.0) & (height > -shallow),
        height > 0.13 * chord_mm,
        height < -0.075 * chord_mm,
    )
    return centre, parts, free


def seen_along(image: U8, plane: Plane, a: F64, b: F64, slack: int = 2) -> tuple[NDArray[np.bool_], F64]:
    """Where a stripe is seen on the straight line from a to b (2,) sheet mm, b below a: (n,) of stretches of
    STRETCH_MM, and their middles (n, 2) sheet mm. slack : how far off it may be, pixels."""
    d = (b - a) / (b[1] - a[1])
    count = max(2, int((b[1] - a[1]) / STRETCH_MM))
    v = a[1] + (np.arange(count) + 0.5) * (b[1] - a[1]) / count
    centre = a + (v - a[1])[:, None] * d
    values, inside = _strip(image, plane, centre)
    z = np.max([_near(z, slack) for z in _standing_out(values)], axis=0)
    return (z > CLEAR) & inside, centre


def _near(z: F32, slack: int) -> F32:
    """(n,) the most within `slack` places of the middle."""
    middle = z.shape[1] // 2
    return np.asarray(z[:, middle - slack : middle + slack + 1].max(1))


def _strip(image: U8, plane: Plane, centre: F64) -> tuple[F32, NDArray[np.bool_]]:
    """(k, c, n) mean profiles across the line, k pixels wide, of each stretch; which of them lie in the picture.

    centre : (n, 2) middles of the stretches, sheet mm, evenly down the line."""
    reach = max(HALF_WIDTHS) + SIDE_GAP + SIDE + WANDER + 8
    x = np.arange(-reach, reach + 1, dtype=np.float32)
    ends = plane.to_pixels(centre[[0, -1]])
    per = int(np.clip(round(float(np.linalg.norm(ends[1] - ends[0])) / len(centre)), 2, 12))
    part = ((np.arange(per) + 0.5) / per - 0.5)[:, None] * (centre[1] - centre[0])
    points = plane.to_pixels((centre[:, None] + part).reshape(-1, 2))
    mx = points[:, :1].astype(np.float32) + x
    my = np.repeat(points[:, 1:].astype(np.float32), len(x), axis=1)
    values = cv2.remap(image, mx, my, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    h, w = image.shape[:2]
    n = len(centre)
    px, py = points.T.reshape(2, n, per)[:, :, [0, -1]]  # a stretch lies in the picture if both its ends do
    inside = ((px > reach) & (px < w - 1 - reach) & (py > 0) & (py < h - 1)).all(axis=1)
    means = row_means(values.reshape(n, per, -1)).reshape(n, len(x), -1)
    return np.ascontiguousarray(means.transpose(1, 2, 0), dtype=np.float32), inside


def _standing_out(values: F32) -> list[F32]:
    """For stripes of each of the HALF_WIDTHS (n, m): how many scatters they stand out at each of m places across,
    pixel by pixel about the middle. values : (k, c, n) as `_strip` gives them."""
    # a faint stripe shows only over several stretches together
    both = np.concatenate([values, _running_mean(values, POOLED)], axis=1)
    k, c, n = both.shape
    total = np.zeros((k + 1, c, n), dtype=np.float32)
    np.cumsum(both, axis=0, out=total[1:])
    side = (total[SIDE:] - total[:-SIDE]) / np.float32(SIDE)
    found = []
    for half in HALF_WIDTHS:
        edge, wide = half + SIDE_GAP + SIDE, 2 * half + 1
        count = k - 2 * edge
        first = edge - half
        middle = (total[first + wide : first + wide + count] - total[first : first + count]) / np.float32(wide)
        left, right = side[:count], side[-count:]
        contrast = np.abs(middle - 0.5 * (left + right))
        # a step between the two sides is no stripe: what it could do to the contrast is taken off
        found.append(_times_scatter(np.maximum(0.0, contrast - 0.5 * np.abs(left - right))).T)
    return found


def _times_scatter(size: F32) -> F32:
    """(m, n) contrasts (m, channels, n), >= 0, over their own scatter across and round about, in the best channel."""
    middle = len(size) // 2  # of an odd number of places
    scatter = _running_mean(np.partition(size, middle, axis=0)[middle : middle + 1], ROUND)
    return np.asarray((size / (1.4826 * scatter + 0.4)).max(axis=1), dtype=np.float32)


def _running_mean(values: F32, half: int) -> F32:
    """Mean along the last axis over `half` neighbours either way."""
    flat = values.reshape(-1, values.shape[-1])
    mean = cv2.blur(flat, (2 * half + 1, 1), borderType=cv2.BORDER_REPLICATE)
    return np.asarray(mean.reshape(values.shape), dtype=np.float32)


@lru_cache(32)
def _paths(n: int, reach: int, slanted: bool = True) -> tuple[F64, NDArray[np.intp]]:
    """Straight paths through n stretches that begin and end within `reach` of the middle: both ends (k, 2), places
    (k, n), pixels."""
    ends = np.arange(-reach, reach + 1)
    a, b = (g.ravel() for g in np.meshgrid(ends, ends)) if slanted else (ends, ends)
    places = np.rint(a[:, None] + (b - a)[:, None] * np.linspace(0, 1, n)).astype(np.intp)
    return np.stack([a, b], axis=1).astype(np.float64), places


def _summed(z: NDArray[Any], places: NDArray[np.intp]) -> NDArray[Any]:
    """(k,) sums of z (n, m) along paths (k, n), counted from the middle of the m places."""
    n, m = z.shape
    return np.asarray(z.take(places + (np.arange(n) * m + (m - 1) // 2)).sum(1))


def _straightest(z: F32, wander: int) -> tuple[float, F64]:
    """The straight path that stands out most: its score and place (n,)."""
    n = len(z)
    ends, places = _paths(n, wander)
    scores = _summed(np.minimum(z, 2 * CLEAR), places)
    k = int(scores.argmax())
    first, last = ends[k]
    return float(scores[k]), np.asarray(first + (last - first) * np.linspace(0, 1, n))


def _seen_along(z: F32, path: F64) -> tuple[NDArray[np.bool_], float]:
    """(n,) where a path is seen, and the share that the paths beside it would show."""
    n, m = z.shape
    places, rows, reach = np.rint(path).astype(int) + m // 2, np.arange(n), (m - 1) // 2
    seen = z[rows, places] > CLEAR
    beside = [z[rows, np.clip(places + off, 0, m - 1)] > CLEAR for off in (-reach, -reach + 3, reach - 3, reach)]
    return seen, float(np.mean(beside))


def _aside(z: F32) -> float:
    """How far the straight path that stands out most along these stretches lies off the middle at the worse of its
    ends, pixels."""
    if len(z) < 2:
        return float("nan")
    # a few stretches show where the stripe lies, not how it runs
    ends, places = _paths(len(z), SEARCHED, len(z) >= SLANTED)
    k = int(_summed(np.log1p(z), places).argmax())
    return float(np.abs(ends[k]).max())


def _off(plane: Plane, centres: F64, pixels: F64) -> F64:
    """Sheet points (n, 2) moved to the right in the picture by so many pixels (n,)."""
    at = plane.to_pixels(centres)
    at[:, 0] += pixels
    return plane.to_sheet(at)
