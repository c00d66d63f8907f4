"""Finds the row of digits in a window's ink: its height, tilt and slant, and what stands in it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.display.types import F32, F64, U8

TALL = 100
"""Height of the digits in a row's strip, pixels."""
OVER = 40
"""Rows of the strip above and below the digits."""


UPRIGHT = 0.17 * TALL
"""Every figure has an upright segment, and its stroke is longer than this; small letters have none."""


@dataclass(frozen=True)
class Row:
    """A row of digits in the window: its strip of ink, slant taken out, digits TALL high from row OVER on.

    to_window : affine (2, 3) from strip to window pixels. tall : digit height in window pixels.
    """

    strip: F32
    to_window: F64
    tall: float
    parts: int

    @property
    def foot(self) -> float:
        """Window row of the digits' feet, at the middle of the strip."""
        middle = np.array([self.strip.shape[1] / 2, OVER + TALL, 1.0])
        return float(self.to_window[1] @ middle)

    def overlaps(self, other: Row) -> bool:
        """Whether two rows lie over each other."""
        return bool(abs((self.foot - self.tall / 2) - (other.foot - other.tall / 2)) < (self.tall + other.tall) / 2)


@dataclass(frozen=True)
class Part:
    """Something that stands in the row: columns [left, right) and rows [top, bottom) of the strip."""

    left: int
    right: int
    top: int
    bottom: int

    @property
    def width(self) -> int:
        """Columns."""
        return self.right - self.left

    @property
    def height(self) -> int:
        """Rows."""
        return self.bottom - self.top


def find_rows(found: F32, cut: float) -> list[Row]:
    """Rows of digits, likeliest first. found : ink; cut : ink from which a pixel counts."""
    mask = (found > cut).astype(np.uint8)
    ladder = found.shape[0] * 0.95 * 0.86 ** np.arange(11)
    groups: list[tuple[float, F64]] = []
    for tall in ladder:
        for bridge in (0.24, 0.1):  # wide gaps between segments; words close over or under the digits
            for group in _aligned(_upright_boxes(mask, tall, bridge), tall):
                groups.append((_worth(group), group))
    groups.sort(key=lambda g: -g[0])
    rows: list[Row] = []
    seen: set[bytes] = set()
    for _, group in groups[:16]:
        if len(seen) == 8:
            break
        if group[:, :4].tobytes() in seen:
            continue
        seen.add(group[:, :4].tobytes())
        row = _strip(found, group, cut)
        if row is not None and not any(_same(row, other) for other in rows):
            rows.append(row)
    return rows[:4]


def _upright_boxes(mask: U8, tall: float, bridge: float) -> F64:
    """(n, 5) left, top, width, height, ink area of what is as tall as a digit once its segments are joined."""
    tie = cv2.getStructuringElement(cv2.MORPH_RECT, (1, int(bridge * tall) | 1))
    side = cv2.getStructuringElement(cv2.MORPH_RECT, (max(int(0.07 * tall), 1) | 1, 1))
    joined = cv2.morphologyEx(cv2.morphologyEx(mask, cv2.MORPH_CLOSE, side), cv2.MORPH_CLOSE, tie)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(joined, connectivity=8)
    area = np.bincount(labels.ravel(), weights=mask.ravel().astype(float), minlength=count)
    boxes = np.column_stack([stats[:, :4].astype(float), area])[1:]
    high, wide = boxes[:, 3], boxes[:, 2]
    keep = (high > 0.88 * tall) & (high < 1.16 * tall) & (wide > 0.06 * tall) & (wide < 6.0 * tall)
    keep &= (boxes[:, 1] > 0) & (boxes[:, 1] + high < mask.shape[0])
    return np.asarray(boxes[keep])


def _aligned(boxes: F64, tall: float) -> list[F64]:
    """Groups of boxes standing on one line; tilts up to 8 degrees are allowed."""
    left = list(range(len(boxes)))
    groups = []
    while left:
        seed = max(left, key=lambda i: boxes[i, 4])
        bottoms = boxes[:, 1] + boxes[:, 3]
        far = np.abs(boxes[:, 0] - boxes[seed, 0])
        group = [i for i in left if abs(bottoms[i] - bottoms[seed]) < 0.07 * tall + 0.14 * far[i]]
        groups.append(boxes[sorted(group, key=lambda i: boxes[i, 0])])
        left = [i for i in left if i not in group]
    return groups


def _worth(group: F64) -> float:
    """Tall rows of many digits first: ink joined in boxes of the usual shape."""
    return float(group[:, 4].sum() * np.sqrt(group[:, 3].mean()))


def _same(a: Row, b: Row) -> bool:
    near = abs(a.foot - b.foot) < 0.06 * max(a.tall, b.tall)
    return bool(near and 0.9 < a.tall / b.tall < 1.11)


def _strip(found: F32, group: F64, cut: float) -> Row | None:
    """The row's strip: tilt where the rows are most distinct, slant where the columns are; then top and foot."""
    foot = group[:, 1] + group[:, 3]
    centre = group[:, 0] + group[:, 2] / 2
    tall = float(np.median(group[:, 3]))
    slope = _slope(centre, foot, tall)
    middle = float(np.mean(centre))
    start = float(np.median(foot - slope * (centre - middle)))
    slant = 0.0
    for _ in range(2):
        slope = _sharpest(lambda t: _drawn(found, tall, start - t * middle, t, slant, 2)[0], slope, 0.06, cut, 1)
        slant = _sharpest(lambda t: _drawn(found, tall, start - slope * middle, slope, t, 2)[0], 6.0, 12.0, cut, 0)
        strip, to = _drawn(found, tall, start - slope * middle, slope, slant)
        row = Row(strip, to, tall, len(group))
        digits = [p for p in parts(row, cut) if p.height > 0.8 * TALL and upright(strip > cut, p) > UPRIGHT]
        if not digits:
            return None
        # a 1, or a 7 whose upper bar is apart, may fall short of the others
        digits = [p for p in digits if p.width > 0.36 * TALL] or digits
        top = inner([p.top for p in digits], 1) - OVER
        low = inner([p.bottom for p in digits], -1) - OVER - TALL
        if abs(top) + abs(low) < 2:
            break
        start += low * tall / TALL
        tall *= 1 + (low - top) / TALL
    strip, to = _drawn(found, tall, start - slope * middle, slope, slant)
    return Row(without_degree(strip, cut), to, tall, len(group))


def without_degree(strip: F32, cut: float) -> F32:
    """The strip without degree rings: small closed loops high in the row; no figure has a loop so small."""
    mask = (strip > cut).astype(np.uint8)
    outlines, nesting = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    if nesting is None:
        return strip
    clean = strip
    for outline, (_, _, hole, _) in zip(outlines, nesting[0], strict=True):
        x, y, w, h = cv2.boundingRect(outline)
        small = 0.1 * TALL < w < 0.38 * TALL and 0.1 * TALL < h < 0.38 * TALL and 0.6 < w / h < 1.6
        if hole < 0 or not small or y + h / 2 > OVER + 0.36 * TALL or y < OVER - 0.25 * TALL:
            continue
        inside = outlines[hole]
        if cv2.contourArea(inside) < 0.04 * w * h or not _round(inside):
            continue
        clean = clean.copy() if clean is strip else clean
        clean[max(y - 3, 0) : y + h + 3, max(x - 3, 0) : x + w + 3] = 0
    return clean


def _round(outline: NDArray[np.int32]) -> bool:
    """Whether a hole is about as wide as high, and full."""
    _, _, w, h = cv2.boundingRect(outline)
    return 0.5 < w / h < 2.0 and cv2.contourArea(outline) > 0.4 * (w - 1) * (h - 1)


def upright(mask: NDArray[np.bool_], part: Part) -> int:
    """Rows of the longest upright stroke of a part, breaks of a few pixels bridged."""
    tie = np.ones((5, 1), np.uint8)
    body = cv2.morphologyEx(
        mask[max(part.top, 0) : part.bottom, part.left : part.right].astype(np.uint8), cv2.MORPH_CLOSE, tie
    )
    run = longest = np.zeros(body.shape[1], dtype=np.int64)
    for line in body:
        run = np.where(line > 0, run + 1, 0)
        longest = np.maximum(longest, run)
    return int(longest.max()) if len(longest) else 0


def inner(edges: list[int], sense: int) -> float:
    """Edge of the row by the digits' edges: the median, but of two far apart the inner one, as words touch digits.

    sense : 1 for tops, -1 for feet.
    """
    found = sorted(edges, key=lambda e: sense * e)
    if max(edges) - min(edges) <= 0.09 * TALL:
        return float(np.median(found))
    return float(found[len(found) // 2])


def _sharpest(draw: Callable[[float], F32], about: float, reach: float, cut: float, axis: int) -> float:
    """The parameter within `reach` of `about` that makes columns (axis 0) or rows (axis 1) most distinct."""
    for step in (reach / 4, reach / 16):
        tries = about + step * np.arange(-4, 5)
        worth = [_sharp(draw(float(t)), cut, axis) * (1 - 0.02 * abs(t - about) / reach) for t in tries]
        about, reach = float(tries[int(np.argmax(worth))]), reach / 4
    return about


def _sharp(strip: F32, cut: float, axis: int) -> float:
    high = strip.shape[0] * TALL // (TALL + 2 * OVER)
    over = strip.shape[0] * OVER // (TALL + 2 * OVER)
    body = strip[over : over + high] if axis == 0 else strip[over // 2 : over + high + over // 2]
    profile = np.minimum(body / cut, 2.0).sum(axis=axis)
    return float((np.diff(profile) ** 2).sum())


def _drawn(found: F32, tall: float, start: float, slope: float, slant: float,
           coarse: int = 1) -> tuple[F32, F64]:  # fmt: skip
    """Strip of a row whose foot line is y = start + slope x in the window, and its map to the window."""
    size = coarse * tall / TALL
    over, high = OVER // coarse, TALL // coarse
    lean = float(np.tan(np.radians(slant)))
    # strip (u, v) -> window: x leans right above the foot line, y falls with the tilt
    x0 = lean * (over + high) * size
    to = np.array([[size, -lean * size, x0], [slope * size, size - slope * lean * size, 0.0]])
    to[1, 2] = start - tall - over * size + slope * x0
    columns = int(found.shape[1] / size)
    strip = cv2.warpAffine(found, to, (columns, high + 2 * over), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
    return np.asarray(strip, dtype=np.float32), to


def _slope(centre: F64, foot: F64, tall: float) -> float:
    """Tilt of the foot line: median of the slopes between digits (Theil and Sen), 0 for one digit."""
    found = [(foot[j] - foot[i]) / (centre[j] - centre[i]) for i in range(len(foot)) for j in range(i + 1, len(foot))
             if centre[j] - centre[i] > 0.4 * tall]  # fmt: skip
    return float(np.clip(np.median(found), -0.14, 0.14)) if found else 0.0


def parts(row: Row, cut: float) -> list[Part]:
    """What stands in the strip from left to right, decimal points left out (they stand below four fifths)."""
    mask = row.strip > cut
    body = mask[OVER - 3 : OVER + int(0.77 * TALL)]
    counts = body.sum(axis=0)
    inked = counts >= 4
    runs = _runs(inked, gap=int(0.075 * TALL))
    found = []
    for left, right in _without_ring(mask, runs):
        if right - left < 4:
            continue
        rows = np.flatnonzero(mask[OVER - 12 : OVER + TALL + 12, left:right].sum(axis=1) >= min(4, right - left))
        # a thin line through the whole strip is the window's frame
        through = mask[:, left:right].any(axis=1).mean() > 0.97 and right - left < 0.3 * TALL
        if len(rows) and not through:
            rows = _own(rows + OVER - 12)
            found.append(Part(left, right, int(rows[0]), int(rows[-1]) + 1))
    return found


def _own(rows: NDArray[np.intp]) -> NDArray[np.intp]:
    """Inked rows of a part without what stands clear over the row's top or under its foot: words are no part of it."""
    breaks = np.flatnonzero(np.diff(rows) > 2)
    over = breaks[rows[breaks] < OVER - 2]
    under = breaks[rows[breaks + 1] > OVER + TALL + 1]
    start = int(over[-1]) + 1 if len(over) else 0
    stop = int(under[0]) + 1 if len(under) else len(rows)
    return rows[start:stop] if stop > start else rows


def _without_ring(mask: NDArray[np.bool_], runs: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Runs with a degree sign that touches a digit cut off: columns at the right with no ink in the lower half."""
    out: list[tuple[int, int]] = []
    for left, right in runs:
        low = np.flatnonzero(mask[OVER + TALL // 2 + 5 : OVER + TALL, left:right].sum(axis=0) >= 4)
        cut = int(left + low[-1] + 1) if len(low) else right
        over = np.flatnonzero(mask[OVER - 12 : OVER + TALL, cut:right].any(axis=1))
        ring = right - cut > 0.15 * TALL and len(over) > 0 and over[-1] - 12 < 0.41 * TALL
        if ring and cut - left > 0.08 * TALL:
            upper = mask[OVER - 10 : OVER + TALL // 2, cut:right].sum(axis=0)
            start = cut + int(np.argmax(upper > 3)) if (upper <= 3).any() else cut + 2
            out += [(left, cut), (max(start, cut), right)]
        else:
            out.append((left, right))
    return out


def _runs(inked: NDArray[np.bool_], gap: int) -> list[tuple[int, int]]:
    """[start, stop) of runs of True, those nearer than `gap` joined."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], inked.astype(np.int8), [0]])))
    runs: list[tuple[int, int]] = []
    for start, stop in zip(edges[::2], edges[1::2], strict=True):
        if runs and start - runs[-1][1] <= gap:
            runs[-1] = (runs[-1][0], int(stop))
        else:
            runs.append((int(start), int(stop)))
    return runs
