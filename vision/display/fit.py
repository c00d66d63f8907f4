"""Fits one model to a whole row of figures: a common tilt, slant, height, figure width and stroke for all of them.

Each segment has a core that is inked where it is lit; a figure has voids that are never inked: its two holes and the
gaps beside it. A column of the strip is worth, as the left edge of a figure, the ink of the lit cores less that in
unlit cores and voids, for the best figure. The row's worth is that of its best figures standing clear of each other,
and the geometry is the one that makes the row worth most.
"""

from __future__ import annotations

from dataclasses import astuple, dataclass, replace

import cv2
import numpy as np

from vision.display.row import OVER, TALL, Row
from vision.display.segments import NAMES
from vision.display.types import F32, F64, GLYPHS

COARSE = 40
"""Height of the figures in the strip that geometry is tried on, pixels."""
FIGURES = np.array([[1.0 if n in on else 0.0 for n in NAMES] for on in GLYPHS])
"""(glyphs, 7) 1 where a segment is lit."""
STEPS = {"top": 0.05, "foot": 0.05, "slope": 0.03, "slant": 3.0, "width": 0.05, "thick": 0.025}
"""First steps of the search."""
VOIDS = np.array([4.5, 4.5, 1.3, 1.3, 1.3, 1.3, 0.9, 0.9, 0.9, 0.9, 0.9, 0.9])
"""What ink in each void costs: a block without holes is no figure; words may stand close over and under one."""
SPARED = np.array([0.2, 0.2, *[0.0] * 10])
"""Ink in a void that costs nothing: a blurred stroke bleeds into the holes."""
SMALLER = (0.82, 0.76, 0.7, 0.64)
"""Sizes that a smaller last figure is looked for in."""
CUT_OFF = 0.7
"""Share of its worth that a row keeps whose strokes go on beyond it."""
LEAST_GAP = 0.08
"""Room between two figures, at least, in figure heights."""


@dataclass(frozen=True)
class Shape:
    """A row's geometry. top, foot : window rows at the window's middle; slope : of both lines; slant : degrees.

    width, thick : of a figure and its stroke, in figure heights.
    """

    top: float
    foot: float
    slope: float
    slant: float
    width: float
    thick: float

    @property
    def tall(self) -> float:
        """Figure height, window pixels."""
        return self.foot - self.top


@dataclass(frozen=True)
class Fit:
    """A fitted row: its shape, its worth, and the left edges of its figures in the strip, in figure heights.

    small : left edge and size of a smaller last figure, where there is one. rival : worth of the best row of another
    shape that was come upon, as a share of this one's.
    """

    shape: Shape
    worth: float
    lefts: tuple[float, ...]
    small: tuple[float, float] | None = None
    rival: float = 0.0


def strip_of(found: F32, shape: Shape, tall: int) -> tuple[F32, F64]:
    """The strip of a row, figures `tall` high with 0.4 of it over and under them, and its affine map to the window."""
    over = round(tall * OVER / TALL)
    size = shape.tall / tall
    lean = float(np.tan(np.radians(shape.slant)))
    x0 = lean * (over + tall) * size
    to = np.array([[size, -lean * size, x0], [shape.slope * size, size - shape.slope * lean * size, 0.0]])
    to[1, 2] = shape.foot - shape.slope * found.shape[1] / 2 - shape.tall - over * size + shape.slope * x0
    columns = int(found.shape[1] / size)
    drawn = cv2.warpAffine(found, to, (columns, tall + 2 * over), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
    return np.asarray(drawn, dtype=np.float32), to


def shape_of(row: Row, wide: float, thick: float, columns: int) -> Shape:
    """The shape of a row found before. wide, thick : in figure heights; columns : of the window."""
    (size, lean, _), (tilt, _, _) = row.to_window
    slope = float(tilt / size)
    foot_at = row.to_window @ np.array([0.0, OVER + TALL, 1.0])
    foot = float(foot_at[1] + slope * (columns / 2 - foot_at[0]))
    return Shape(foot - float(size) * TALL, foot, slope, float(np.degrees(np.arctan(-lean / size))), wide, thick)


def best_shape(found: F32, starts: list[Shape]) -> Fit:
    """The shape that makes the row worth most, sought about each of `starts`. found : ink, 1 where fully lit."""
    rough = [_climbed(found, _start(found, s), COARSE, (1.0, 0.5)) for s in starts]
    worths = [f.worth * (CUT_OFF if _goes_on(found, f) else 1.0) for f in rough]
    at = int(np.argmax(worths))
    best = max([rough[at], *_other_widths(found, rough[at])], key=lambda f: f.worth)
    apart = [w for f, w in zip(rough, worths, strict=True) if _apart(f.shape, best.shape)]
    fit = settled(found, best.shape)
    return replace(fit, rival=max(apart) / worths[at] if apart and worths[at] > 0 else 0.0)


def _other_widths(found: F32, fit: Fit) -> list[Fit]:
    """Fits from figures much narrower or wider: strokes of two neighbours may look like one narrow figure."""
    starts = [replace(fit.shape, width=w) for w in (0.48, 0.64) if abs(w - fit.shape.width) > 0.08]
    return [_climbed(found, _fit(found, s), COARSE, (1.0, 0.5)) for s in starts]


def _goes_on(found: F32, fit: Fit) -> bool:
    """Whether the upright strokes of half of the figures go on over or under the row: it is a part of a higher one."""
    if not fit.lefts:
        return False
    strip, _ = strip_of(found, fit.shape, COARSE)
    _, voids = inked(strip, fit.shape)
    at = np.minimum(np.round(np.array(fit.lefts) * COARSE).astype(int), voids.shape[1] - 1)
    return bool(2 * int((voids[8:, at] > 0.45).any(axis=0).sum()) >= len(at))


def _apart(a: Shape, b: Shape) -> bool:
    """Whether two shapes are not the same row."""
    return max(abs(a.top - b.top), abs(a.foot - b.foot)) > 0.15 * b.tall


def settled(found: F32, shape: Shape) -> Fit:
    """The best shape close about one that is nearly right."""
    return _climbed(found, _fit(found, shape, TALL), TALL, (0.4, 0.15))


def _start(found: F32, start: Shape) -> Fit:
    tries = [replace(start, slope=s, slant=k) for s in {0.0, start.slope} for k in (start.slant, 0.0, 6.0, 11.0)]
    tries += [replace(start, width=w) for w in (0.46, 0.52, 0.58, 0.64)]
    return _fit(found, max((_fit(found, t, small=False) for t in tries), key=lambda f: f.worth).shape)


def _climbed(found: F32, best: Fit, tall: int, shares: tuple[float, ...]) -> Fit:
    """The best of each measure in turn, by shares of the first steps."""
    for share in shares:
        for name, step in STEPS.items():
            unit = best.shape.tall if name in ("top", "foot") else 1.0
            for sense in (-1.0, 1.0):
                for _ in range(3):
                    shape = replace(best.shape, **{name: getattr(best.shape, name) + sense * share * step * unit})
                    tried = _fit(found, shape, tall)
                    if tried.worth <= best.worth:
                        break
                    best = tried
    return best


def anywhere(found: F32) -> list[Shape]:
    """The likeliest shapes of level rows in a window, by trying all heights and places; up to three."""
    high = found.shape[0]
    tries = []
    for tall in 0.92 * high * 0.88 ** np.arange(9):
        for foot in np.arange(tall + 1, high - 1, 0.08 * tall):
            tries += [_fit(found, Shape(foot - tall, foot, 0.0, k, 0.55, 0.13), small=False) for k in (0.0, 6.0, 11.0)]
    tries.sort(key=lambda f: -f.worth)
    return [f.shape for f in tries[:3] if f.worth > 0]


def _fit(found: F32, shape: Shape, tall: int = COARSE, small: bool = True) -> Fit:
    good = shape.tall > 20 and 0.38 <= shape.width <= 0.72 and 0.06 <= shape.thick <= 0.21 and abs(shape.slope) < 0.16
    if (
        not good
        or not -8 <= shape.slant <= 20
        or 3 * shape.thick > shape.width + 0.02
        or not all(np.isfinite(astuple(shape)))
    ):
        return Fit(shape, -1.0, ())
    strip, _ = strip_of(found, shape, tall)
    worth = column_worth(strip, shape)
    total, lefts = _placed(worth, round((shape.width + LEAST_GAP) * tall))
    last = None
    if lefts and small:
        more, last = smaller(strip, shape, lefts[-1])
        total += more
    return Fit(shape, total, tuple(x / tall for x in lefts), last)


def smaller(strip: F32, shape: Shape, last: int) -> tuple[float, tuple[float, float] | None]:
    """What a smaller figure right of the last one, on the same foot, is worth; its left edge and size, figure heights.

    last : column of the last figure's left edge.
    """
    tall = strip.shape[0] * TALL // (TALL + 2 * OVER)
    best, place = 0.0, None
    x0 = last + round((shape.width + 0.06) * tall)
    beyond = strip[:, max(x0 - tall // 2, 0) : x0 + 2 * tall]  # the gaps beside it belong to what it is judged by
    x1 = x0 - max(x0 - tall // 2, 0)
    for scale in SMALLER if beyond.shape[1] > x1 + tall // 4 else ():
        worth = column_worth(beyond, shape, scale)[x1 : x1 + tall // 2]
        if len(worth) and worth.max() - 0.5 > best:
            best, place = float(worth.max()) - 0.5, ((x0 + int(worth.argmax())) / tall, scale)
    return best, place


def column_worth(strip: F32, shape: Shape, scale: float = 1.0) -> F64:
    """(columns,) worth of the best figure whose left edge stands there, at least 0. scale : as in `inked`."""
    cores, voids = inked(strip, shape, scale)
    lit = FIGURES @ (2 * cores - 1)
    unlit = (1 - FIGURES) @ np.maximum(2 * cores - 0.5, 0)
    worth = np.max(lit - unlit, axis=0) - VOIDS @ np.maximum(voids - SPARED[:, None], 0)
    return np.asarray(np.maximum(worth, 0.0))


def inked(strip: F32, shape: Shape, scale: float = 1.0) -> tuple[F64, F64]:
    """Ink of the seven cores (7, columns) and of the voids (12, columns) of a figure, by the column of its left edge.

    Voids: upper and lower hole; the gap at the left, upper and lower, that at the right; over and under the figure;
    and where its upright strokes would go on, over it and under it, left and right.
    scale : size of the figure; a smaller one stands on the same foot.
    """
    w, t = shape.width, shape.thick
    tall = strip.shape[0] * TALL // (TALL + 2 * OVER)
    foot, size = (strip.shape[0] + tall) // 2, scale * tall
    before, n = tall // 2, strip.shape[1]
    sums = cv2.integral(cv2.copyMakeBorder(np.clip(strip, 0.0, 1.1), 0, 0, before, 2 * tall, cv2.BORDER_CONSTANT))

    def box(x: float, half_x: float, y: float, half_y: float) -> F64:
        """Mean ink of a box about (x, y) of the figure; figure heights."""
        left, right = round((x - half_x) * size), round((x + half_x) * size)
        top, low = foot + round((y - half_y - 1) * size), foot + round((y + half_y - 1) * size)
        right, low = max(right, left + 1), max(low, top + 1)
        line = sums[low] - sums[top]
        at, to = before + left, before + right
        return np.asarray((line[to : to + n] - line[at : at + n]) / ((right - left) * (low - top)))

    h, level, core, long = t / 2, 0.18 * w, 0.32 * t, 0.11
    up, down = 0.25 + t / 4, 0.75 - t / 4
    cores = [box(w / 2, level, h, core), box(w - h, core, up, long), box(w - h, core, down, long),
             box(w / 2, level, 1 - h, core), box(h, core, down, long), box(h, core, up, long),
             box(w / 2, level, 0.5, core)]  # fmt: skip
    hole = max(w / 2 - 1.3 * t, 0.08 * w)
    voids = [box(w / 2, hole, y, 0.07) for y in (up, down)]
    voids += [box(x, 0.035, y, long) for x in (-0.055, w + 0.055) for y in (up, down)]
    voids += [box(w / 2, 0.3 * w, y, 0.045) for y in (-0.075, 1.075)]
    voids += [box(x, core, y, 0.07) for y in (-0.13, 1.13) for x in (h, w - h)]
    return np.stack(cores), np.stack(voids)


def _placed(worth: F64, apart: int) -> tuple[float, list[int]]:
    """The left edges, at least `apart` columns from each other, that are worth most together."""
    w = worth.tolist()
    n = len(w)
    total = [0.0] * (n + 1)
    for x in range(n):
        before = total[max(x + 1 - apart, 0)]
        total[x + 1] = max(total[x], before + w[x] - 0.3)
    lefts = []
    x = n
    while x > 0:
        if total[x] == total[x - 1]:
            x -= 1
            continue
        lefts.append(x - 1)
        x = max(x - apart, 0)
    return total[n], lefts[::-1]
