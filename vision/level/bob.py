"""The bob: what hangs at a string's lower end, the witness that it is a plumb line and no rod or cable.

Whatever its shape, a bob is turned on a lathe or hangs by its middle: its two sides lie alike to the left and to the
right of the string's own line. The picture below the rib is laid flat along that line, the edges of each row are
folded about it, and a body is sought whose two sides run on from row to row and that the string above does not have.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.image.rectified import Plane
from vision.level.crossing import seen_along

F64 = NDArray[np.float64]
U8 = NDArray[np.uint8]

HALF_MM = (2.5, 20.0)
"""Half breadths of bobs (common practice, no source: a nut of 5 mm to a bob of 40)."""
STEP_MM = 0.5
"""Rows and columns of the flat picture."""
LEAST_MM = 6.0
"""Least height of a bob."""
BARE_MM, NECK_MM = 14.0, 4.0
"""Length of the string above a body that shows what string and background look like there, and how near to it that ends."""
CLEAR, SURE = 4.0, 5.5
"""How many scatters both sides must stand out: on a string, and on a line of which only the bob would tell that it is one."""
SLACK = 2
"""Steps by which the two sides may lie unlike: a bob hangs a little beside the line as measured."""

ABOVE_MM, BELOW_MM = 24.0, (25.0, 90.0)
"""How far above a body's top the string is looked for, and between what distances below it: it ends at its bob."""
THERE, GONE = 0.5, 0.3
"""Share of that over which it must be seen above at least, and may be below at most."""


def bob_seen(image: U8, plane: Plane, ends: F64, clear: float = CLEAR) -> bool:
    """Whether a bob hangs below a string. image : (h, w) or (h, w, 3), full size. ends : (2, 2) sheet mm, two points of the
    string's straight line, the first well above its end. clear : see CLEAR."""
    return plainest(image, plane, ends)[0] >= clear


def plainest(image: U8, plane: Plane, ends: F64) -> tuple[float, float]:
    """The body most like a bob on a string's line below `ends[0]`: how many scatters its sides stand out, and the height
    of its top, sheet mm. Nothing, at NaN, where the string ends nowhere in the picture."""
    slope = (ends[1, 0] - ends[0, 0]) / (ends[1, 1] - ends[0, 1])
    top = float(ends[0, 1])
    x = float(plane.to_pixels(ends[1:])[0, 0])
    bottom = float(plane.to_sheet(np.array([[x, image.shape[0] - 3.0]]))[0, 1])
    rows, bare, neck = (round(k / STEP_MM) for k in (LEAST_MM, BARE_MM, NECK_MM))
    v = np.arange(top, bottom, STEP_MM)
    tops = v[bare + neck : len(v) - rows + 1]
    if not len(tops):
        return 0.0, float("nan")
    line = np.stack([ends[0, 0] + slope * (v - top), v], axis=1)
    hangs = _hangs(image, plane, line[[0, -1]], tops)
    if not hangs.any():
        return 0.0, float("nan")
    first, last = np.flatnonzero(hangs)[[0, -1]]
    both = _folded(image, plane, line[first : last + bare + neck + rows])
    mean = cv2.blur(both, (1, bare), anchor=(0, bare - 1), borderType=cv2.BORDER_REPLICATE)
    own = cv2.dilate(mean, np.ones((1, 2 * SLACK + 1), np.uint8))[bare - 1 :]
    more = np.maximum(0.0, both[bare + neck :] - own[: len(both) - bare - neck])[:, round(HALF_MM[0] / STEP_MM) :]
    # the best path down the rows whose breadth changes by one step a row at most
    count = last - first + 1
    total = more[:count]
    for k in range(1, rows):
        total = cv2.dilate(total, np.ones((1, 3), np.uint8)) + more[k : count + k]
    best = np.where(hangs[first : last + 1], total.max(axis=1) / rows, 0.0)
    k = int(best.argmax())
    return float(best[k]), float(tops[first + k])


def _hangs(image: U8, plane: Plane, line: F64, tops: F64) -> NDArray[np.bool_]:
    """Whether the string from line[0] down to line[1] (2, 2) sheet mm is seen down to each height, and no further."""
    seen, centre = seen_along(image, plane, *line)
    v = centre[:, 1]
    total = np.concatenate([[0.0], np.cumsum(seen)])

    def share(a: F64, b: F64) -> F64:
        first, last = np.searchsorted(v, a), np.searchsorted(v, b)
        return np.where(last > first, (total[last] - total[first]) / np.maximum(1, last - first), np.nan)

    return (share(tops - ABOVE_MM, tops) >= THERE) & (share(tops + BELOW_MM[0], tops + BELOW_MM[1]) <= GONE)


def _folded(image: U8, plane: Plane, line: F64) -> F64:
    """(rows, breadths) how many scatters the lesser of both sides' edges stands out, at each half breadth from the line's
    points (rows, 2) sheet mm."""
    half = HALF_MM[1] + 12.0
    x = np.arange(-half, half + STEP_MM / 2, STEP_MM)
    points = np.stack([line[:, :1] + x, np.repeat(line[:, 1:], len(x), axis=1)], axis=2).reshape(-1, 2)
    px = plane.to_pixels(points).astype(np.float32).reshape(len(line), len(x), 2)
    flat = cv2.remap(image, px[..., 0], px[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    soft = cv2.GaussianBlur(flat.astype(np.float64), (0, 0), 1.2).reshape(*flat.shape[:2], -1)
    edge = np.abs(soft[:, 2:] - soft[:, :-2]).max(axis=2)
    edge /= 1.4826 * np.median(edge, axis=1, keepdims=True) + 0.5
    middle = edge.shape[1] // 2
    spread = np.ones((1, 2 * SLACK + 1), np.uint8)
    both = np.minimum(cv2.dilate(edge[:, middle::-1].copy(), spread), cv2.dilate(edge[:, middle:].copy(), spread))
    return np.asarray(np.minimum(both, 3 * CLEAR)[:, : round(HALF_MM[1] / STEP_MM) + 1])
