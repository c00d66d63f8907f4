"""Reference marks on a line: printed quartered circles (centre at the saddle point) and pen crosses."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np

from shared.numerics import saddles
from shared.numerics.arrays import F64, U8
from vision.image.rectified import Plane, Reduced, Sheet, lay_flat

RING_MM, INNER_MM = 4.5, 2.5
"""Radii at which the quarters of a 16 mm mark are looked at: the first is the stronger, and a corner of the mark's
paper, which has as strong a second harmonic there as the centre has, shows nothing like it on the second."""
COARSE_MM = 3
"""Millimetres between the places along the line that are looked at first. A mark's quarters are 8 mm: a place every 3
mm meets each."""
HINT = 0.12
"""Share of the second harmonic there, a third of a mark's, that calls for a closer look."""
STRONG, PURE = 0.35, 1.6
"""Least second harmonic over the mean grey, and over all the other harmonics, of a quartered circle. By judgement."""
MISFIT, SHARP_PX = 0.4, 0.25
"""Most residual of its saddle over its contrast, and its fit's most standard deviation: true marks in drawn photos have
at most 0.19 px (median 0.03); grain and shadows beside a line that pass all else have 0.37 and more."""
LEAST_MARK_CONTRAST = 12.0
"""Grey levels, half the step between quarters, below which a mark is not located. By judgement."""
CROSS_MM = (2.8, 4.0, 5.5)
"""Distances from the line at which a cross stroke is dark, mm: a stroke of 12 mm and more."""
BEYOND_MM = 11.0
"""Distance at which it has ended: what goes on is another line."""
CROSS_DEPTH, CROSS_SHARE, CROSS_PAST = 0.03, 0.3, 0.5
"""Least depth of a cross stroke, relative and over the line's own; most of it that may be left where it has ended. By
judgement."""
CROSS_ENDS = 0.2
"""Part of the chord at either end in which crosses are looked for: marks are drawn near a line's ends."""
SAME_MARK_MM = 25.0
"""Marks nearer to each other along the line are one: a mark is 16 mm across."""
_ANGLES = np.arange(16) * np.pi / 4
_WAVES = (
    np.stack([np.full(16, 0.5), np.cos(_ANGLES), np.sin(_ANGLES), 0.5 * np.cos(np.pi * np.arange(16))], axis=1) / 8
).astype(np.float32)


@dataclass(frozen=True)
class Mark:
    """A mark near a line. uv : (2,) sheet mm. turn_deg : direction of a black quarter's middle in the sheet, u to v."""

    kind: Literal["quartered", "cross"]
    uv: F64
    turn_deg: float
    strength: float


def find_marks(photo: Reduced, plane: Plane, ends: F64, depth: float, mm: float, reach_mm: float = 2.0) -> list[Mark]:
    """Marks whose centre lies within `reach_mm` of the line between two ends (2, 2), sheet mm.

    photo : the grey picture, reduced; mm : its pixel on the rib. depth : relative depth of the line's ink.

    plane : of the rib. Marks are quartered circles, 16 mm across.
    """
    a, b = ends
    length = float(np.linalg.norm(b - a))
    strip = lay_flat(
        photo, plane.turned_to(a, b), (-0.03 * length, -13.0 - reach_mm, 1.03 * length, 13.0 + reach_mm), mm, mm
    )
    quartered = _quartered(strip, length, reach_mm)
    found = quartered if len(quartered) >= 2 else quartered + _crosses(strip, length, quartered, depth)
    t = (b - a) / length
    turn = float(np.degrees(np.arctan2(t[1], t[0])))
    q = np.array([-t[1], t[0]])
    return [Mark(m.kind, a + m.uv[0] * t + m.uv[1] * q, m.turn_deg + turn, m.strength) for m in found]


def _quartered(strip: Sheet, length: float, reach_mm: float) -> list[Mark]:
    """Second circular harmonic of the grey on a ring: a quartered circle has little else. Places along and
    across the line, mm.

    Looked at every few millimetres first, and every millimetre only where that shows anything.
    """
    s = np.arange(-0.02 * length, 1.02 * length, 1.0)
    d = np.arange(-reach_mm, reach_mm + 0.01, 1.0)
    strength, purity, turn = (np.zeros((len(s), len(d))) for _ in range(3))
    coarse = _harmonics(strip, s[::COARSE_MM], d[::2])[0].max(axis=1) > HINT
    near = np.flatnonzero(
        cv2.dilate(
            np.repeat(coarse, COARSE_MM)[: len(s), None].astype(np.uint8), np.ones((2 * COARSE_MM + 1, 1), np.uint8)
        ).ravel()
    )
    if not len(near):
        return []
    strength[near], outer, turn[near] = _harmonics(strip, s[near], d)
    purity[near] = np.minimum(outer, _harmonics(strip, s[near], d, INNER_MM)[1])
    purity[(strength < STRONG) | (purity < PURE)] = 0.0
    marks: list[Mark] = []
    for _ in range(3):
        i, j = np.unravel_index(int(purity.argmax()), purity.shape)
        if purity[i, j] == 0.0:
            break
        marks.append(Mark("quartered", np.array([s[i], d[j]]), float(turn[i, j]), float(strength[i, j])))
        purity[np.abs(s - s[i]) < SAME_MARK_MM] = 0.0
    return sorted(marks, key=lambda m: float(m.uv[0]))


def _harmonics(strip: Sheet, s: F64, d: F64, ring_mm: float = RING_MM) -> tuple[F64, F64, F64]:
    """On rings about places s (n,) along and d (m,) across, each (n, m): the second harmonic over the mean grey, over
    all other harmonics, and the direction of the dark quarters' middle, degrees."""
    phi = np.arange(16) * np.pi / 8
    x = ((s[:, None] + ring_mm * np.cos(phi)) - strip.u0) / strip.mm_u
    y = ((d[:, None] + ring_mm * np.sin(phi)) - strip.v0) / strip.mm_v
    shape = (len(s), len(d), 16)
    mx = np.broadcast_to(x.astype(np.float32)[:, None], shape).reshape(len(s), -1)
    my = np.broadcast_to(y.astype(np.float32)[None], shape).reshape(len(s), -1)
    grey = cv2.remap(strip.image, mx, my, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    rings = grey.reshape(-1, 16).astype(np.float32)
    waves = rings @ _WAVES
    mean, cosine, sine = (waves[:, k].reshape(shape[:2]).astype(np.float64) for k in range(3))
    second = np.hypot(cosine, sine)
    # of a real signal's harmonics 1 to 7 the others have what is left of its power (Parseval), the eighth once
    power = np.einsum("ij,ij->i", rings, rings).reshape(shape[:2])
    eighth = waves[:, 3].reshape(shape[:2]).astype(np.float64)
    others = np.sqrt(np.maximum(2 * (power / 16 - mean**2) - second**2 + 2 * eighth**2, 1e-12))
    # the middle of the dark quarters: half the phase of the second harmonic, plus a quarter turn
    return second / (mean + 10), second / others, (np.degrees(np.arctan2(sine, cosine)) / 2 + 90.0) % 180


def _look(sheet: Sheet, uv: F64) -> F64:
    """Grey (n, m) of the sheet at points (n, m, 2) mm, bilinear."""
    at = sheet.index(uv.reshape(-1, 2)).reshape(uv.shape).astype(np.float32)
    return cv2.remap(
        sheet.image,
        np.ascontiguousarray(at[..., 0]),
        np.ascontiguousarray(at[..., 1]),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    ).astype(np.float64)


def _crosses(strip: Sheet, length: float, taken: list[Mark], depth: float) -> list[Mark]:
    """Short pen strokes across the line near its ends: dark on both sides of it, and not beyond."""
    s = np.arange(0.01 * length, 0.99 * length, 0.5)
    side = np.array([*CROSS_MM, BEYOND_MM])
    d = np.concatenate([-side[::-1], side])
    grey = _look(strip, np.stack(np.meshgrid(s, d, indexing="ij"), axis=-1))
    k = max(2, round(2.0 / 0.5))
    low = np.minimum(np.roll(grey, k, axis=0), np.roll(grey, -k, axis=0))
    dip = (low - grey) / (low + 12)
    on, beyond = dip[:, 1:7].min(1), dip[:, [0, 7]].max(1)
    ok = (on > max(CROSS_DEPTH, CROSS_SHARE * depth)) & (beyond < CROSS_PAST * on)
    ok &= np.minimum(s, length - s) < CROSS_ENDS * length
    marks = []
    for half in (s < 0.5 * length, s >= 0.5 * length):
        i = np.flatnonzero(ok & half)
        if len(i):
            best = i[int(np.argmax(on[i]))]
            if all(abs(s[best] - m.uv[0]) > SAME_MARK_MM for m in taken):
                marks.append(Mark("cross", np.array([s[best], 0.0]), 90.0, float(on[best])))
    return marks


def locate(gray: U8, plane: Plane, mark: Mark) -> tuple[F64, float] | None:
    """Saddle point of a quartered circle in the photo: pixel (2,) and its standard deviation, pixels. None where there
    is no clear one.

    gray : the full picture (h, w). plane : of the rib. mark : where it was found, sheet mm.
    """
    edge = np.radians(mark.turn_deg + 45.0)
    ex, ey = np.array([np.cos(edge), np.sin(edge)]), np.array([-np.sin(edge), np.cos(edge)])
    p = plane.to_pixels(np.stack([mark.uv, mark.uv + ex, mark.uv + ey]))
    scale = float(min(np.linalg.norm(p[1] - p[0]), np.linalg.norm(p[2] - p[0])))
    unit = [(p[k] - p[0]) / np.linalg.norm(p[k] - p[0]) for k in (1, 2)]
    # the sheet's pixel is up to a millimetre off: first a wide window, then one well inside the circle
    half = np.array([min(5.5 * scale, 14.0)])
    seen = saddles.refine(gray, p[:1], unit[0][None], unit[1][None], half, rounds=10)
    clear = seen.sigma_px[0] < SHARP_PX and seen.misfit[0] < MISFIT and abs(seen.contrast[0]) >= LEAST_MARK_CONTRAST
    if not clear:
        return None
    return seen.points[0], float(np.hypot(0.4 * seen.sigma_px[0], 0.04))
