"""A mark that a person points at, placed: the saddle of a printed quartered circle, the crossing of two pen strokes, or, where
neither is there, the place as pointed at."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from shared.flags import Flag, FlagCode
from shared.numerics.arrays import F64
from vision.distances.sight import PlaneSight
from vision.image.rectified import Reduced, lay_flat
from vision.lines.marks import find_marks, locate
from vision.lines.measure import How, Stroke, measure_as

REACH_MM = 5.0
"""How far from where a person points a mark is looked for at least."""
REACH_PX = 14.0
"""The same in pixels, where these are more: pointing errs by about 5 px."""
POINTING_PX = 5.0
"""How well a person points, standard uncertainty of each coordinate at 4000 pixels of width."""
ARM_MM = (0.8, 6.0)
"""Where, from its middle, a pen cross's arms are measured: their common middle is ink of both."""
TURN_DEG = 3.0
"""Steps of direction in which arms are looked for."""
APART_DEG = 35.0
"""Least angle between the two strokes of a cross."""
LEAST_RIDGE = 0.04
"""Least depth of an arm over the paper's brightness."""
CROSS_MM = 0.03
"""What the uneven ink of two short strokes leaves in their crossing beyond the fits' noise (common practice, no source: pen lines
are straight to a few hundredths of a millimetre over a centimetre)."""


@dataclass(frozen=True)
class Spot:
    """A point in the photo. pixel : (2,). sigma_px : standard deviation of each coordinate. kind : what it was placed by."""

    pixel: F64
    sigma_px: float
    kind: str
    flags: tuple[Flag, ...] = ()


def place_spot(sight: PlaneSight, name: str, pixel: F64) -> Spot:
    """The mark that a person pointed at. sight : the plane. name : of the mark, for its flags. pixel : (2,) where."""
    reach = max(REACH_MM, REACH_PX / sight.scale)
    return _quartered(sight, pixel, reach) or _cross(sight, pixel, reach) or _as_pointed(sight, name, pixel)


def _as_pointed(sight: PlaneSight, name: str, pixel: F64) -> Spot:
    sigma = POINTING_PX * sight.photo.picture.width / 4000.0
    flag = FlagCode.MARK_AS_POINTED.flag(
        f"mark {name} is neither a printed mark nor a pen cross; it counts as pointed at, to {2 * sigma / sight.scale:.1f} mm"
    )
    return Spot(pixel, sigma, "as pointed", (flag,))


def _quartered(sight: PlaneSight, pixel: F64, reach: float) -> Spot | None:
    """The nearest quartered circle within reach."""
    uv = sight.plane.to_sheet(pixel[None])[0]
    ends = np.stack([uv - [20.0, 0.0], uv + [20.0, 0.0]])
    marks = find_marks(sight.photo.half, sight.plane, ends, 1.0, 2.0 / sight.scale, reach)
    near = [m for m in marks if m.kind == "quartered" and np.linalg.norm(m.uv - uv) < reach + 1.0]
    for mark in sorted(near, key=lambda m: float(np.linalg.norm(m.uv - uv))):
        found = locate(sight.gray, sight.plane, mark)
        if found is not None:
            return Spot(found[0], found[1], "quartered")
    return None


def _cross(sight: PlaneSight, pixel: F64, reach: float) -> Spot | None:
    """The crossing of the two most marked strokes about a pixel."""
    middle = sight.plane.to_sheet(pixel[None])[0]
    for _ in range(2):  # the second time about the crossing itself, so that both arms of a stroke count alike
        arms = _arms(sight, middle, reach)
        strokes = [s for s in (_stroke(sight, a, b) for a, b in arms) if s is not None]
        if len(strokes) < 2:
            return None
        (p, d, sp), (q, e, sq) = (_line(s) for s in strokes[:2])
        sine = float(d[0] * e[1] - d[1] * e[0])
        if abs(sine) < np.sin(np.radians(APART_DEG)):
            return None
        along = ((q - p)[0] * e[1] - (q - p)[1] * e[0]) / sine
        found = p + along * d
        if np.linalg.norm(found - middle) > 1.5 * reach:
            return None
        middle, reach = found, 1.0
    sigma = float(np.hypot(sp, sq)) / abs(sine)
    return Spot(sight.plane.to_pixels(middle[None])[0], float(np.hypot(sigma, CROSS_MM * sight.scale)), "cross")


def _arms(sight: PlaneSight, middle: F64, reach: float) -> list[tuple[F64, F64]]:
    """Ends (sheet mm) of the two strokes through a place that lie darkest against both their sides."""
    mm = max(0.15, 1.0 / sight.scale)
    size = reach + ARM_MM[1] + 2.0
    box = (middle[0] - size, middle[1] - size, middle[0] + size, middle[1] + size)
    sheet = lay_flat(sight.photo.half if sight.scale * mm > 2 else _full(sight), sight.plane, box, mm, mm)
    grey = cv2.GaussianBlur(sheet.image.astype(np.float32), (0, 0), 0.25 / mm)
    s = np.concatenate([-np.linspace(*ARM_MM, 12)[::-1], np.linspace(*ARM_MM, 12)])
    off = np.arange(-reach, reach + 0.01, 0.25)
    best: list[tuple[float, float, float]] = []
    for turn in np.radians(np.arange(0.0, 180.0, TURN_DEG)):
        d, q = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
        at = middle + s[:, None, None, None] * d + (off[:, None] + np.array([-1.4, 0.0, 1.4]))[None, :, :, None] * q
        index = sheet.index(at.reshape(-1, 2)).astype(np.float32)
        seen = cv2.remap(grey, index[:, :1], index[:, 1:], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        values = seen.reshape(len(s), len(off), 3)
        ridge = np.minimum(values[..., 0], values[..., 2]) - values[..., 1]
        # both arms must show: one alone is the end of another line
        depth = np.minimum(*(np.quantile(half, 0.3, axis=0) for half in np.split(ridge, 2))) / (
            float(grey.mean()) + 12.0
        )
        k = int(np.argmax(depth))
        best.append((float(depth[k]), float(turn), float(off[k])))
    out: list[tuple[F64, F64]] = []
    turns: list[float] = []
    for depth, turn, aside in sorted(best, reverse=True):
        if depth < LEAST_RIDGE or len(out) == 2:
            break
        if any(abs((turn - t + np.pi / 2) % np.pi - np.pi / 2) < np.radians(APART_DEG) for t in turns):
            continue
        d, q = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
        out.append((middle + aside * q - ARM_MM[1] * d, middle + aside * q + ARM_MM[1] * d))
        turns.append(turn)
    return out


def _full(sight: PlaneSight) -> Reduced:
    return Reduced(sight.gray, 1, 1)


def _stroke(sight: PlaneSight, a: F64, b: F64) -> Stroke | None:
    half = float(np.clip(1.4 * sight.scale, 4.0, 10.0))
    return measure_as(sight.gray, sight.plane, a, b, How(half, 0.9, sight.blur, quick=True))


def _line(s: Stroke) -> tuple[F64, F64, float]:
    """A short stroke as a line: point and direction (2,), sheet mm; standard deviation of the line in its middle, pixels."""
    p = s.uv.mean(0)
    d = np.linalg.svd(s.uv - p, full_matrices=False)[2][0]
    away = (s.uv - p) @ np.array([-d[1], d[0]]) * s.px_per_mm
    sigma = float(np.hypot(np.median(s.sigma_px), np.std(away)) / np.sqrt(max(len(away) - 2, 1)))
    return p, d, sigma
