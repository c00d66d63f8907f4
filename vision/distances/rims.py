"""Straight edges of parts, measured: where brightness steps, every few millimetres, to hundredths of a pixel.

The camera's tone curve moves the middle of a blurred step towards the dark side, so the step is fitted in linear light; what
of the curve is not that of sRGB (IEC 61966-2-1) is a shift common to all edges of the photo, one way where the dark side lies
on one hand, the other way on the other: `Rim.tone`.

A person points to a few pixels, and the two edges of a gap may lie nearer to each other than that. So all edges pointed at
are looked for together: each takes one of the steps near it, no two of them the same one.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, product

import numpy as np

from shared.numerics.arrays import F64, Bools
from vision.distances.sight import PlaneSight
from vision.distances.slits import fit_slits
from vision.lines.measure import CENTRE_FLOOR_PX, Sampled, Stroke, sample
from vision.lines.steps import fit_steps, on_one_line
from vision.lines.tracing import segment
from vision.lines.waviness import estimate_waviness

FAR_PX, TURN_PX = 14.0, 18.0
"""How far off its place, and over its length off its direction, a pointed edge may lie; at 4000 pixels of width."""
POINTING_PX = 5.0
"""How well a person points, standard uncertainty."""
NEAR_PX = 5.0
"""How far to either side of the edge its profile is then taken."""
LEAST_STEP = 0.04
"""Least step over the brighter side's light."""
MOST, WORTH = 4, 0.3
"""How many steps near a pointed edge come into question, and their least share of the clearest one's."""
SAME_PX = 3.0
"""Two finds of one sign nearer than this are one edge: between two of one sign lies one of the other."""
ONE_PX = 1.0
"""Two edges as measured nearer than this are one."""
TONE_PX = 0.12
"""How far the part of the tone curve that is not sRGB's moves the middle of a step, standard uncertainty in units of the blur:
cameras add contrast in their midtones by a factor of up to 1.5 (common practice, no source)."""
_LIGHT = np.where(
    np.arange(256) / 255 <= 0.04045, np.arange(256) / 255 / 12.92, ((np.arange(256) / 255 + 0.055) / 1.055) ** 2.4
)


@dataclass(frozen=True)
class Rim:
    """An edge. stroke : its points, from the first pointed end to the second. tone : +1 where the dark side lies to the right
    hand of that way in the sheet (v down), -1 to the left. tone_px : standard uncertainty of the shift towards it. rival : how
    likely another step beside it was meant, over its own."""

    stroke: Stroke
    tone: float
    tone_px: float
    rival: float = 0.0


@dataclass(frozen=True)
class _Step:
    """A step near a pointed edge: its ends (2,) sheet mm, its sign to the right hand, the log of how likely it was meant."""

    a: F64
    b: F64
    sign: float
    worth: float


def measure_rims(sight: PlaneSight, pointed: Mapping[str, F64]) -> dict[str, Rim]:
    """The edges that run about where a person pointed, by name; those not seen, and those found to be one, are left
    out.

    sight : the plane. pointed : (2, 2) sheet mm of each.
    """
    names = list(pointed)
    steps = {n: _steps(sight, *pointed[n]) for n in names}
    seen = [n for n in names if steps[n]]
    best, rivals = _assigned(sight, [steps[n] for n in seen])
    rims = {n: r for n, step in zip(seen, best, strict=True) if (r := _measured(sight, step)) is not None}
    for n, rival in zip(seen, rivals, strict=True):
        if n in rims:
            rims[n] = replace(rims[n], rival=rival)
    one = {n for j, k in combinations(rims, 2) if _coincide(rims[j], rims[k], sight) for n in (j, k)}
    rims = {n: r for n, r in rims.items() if n not in one}
    for j, k in combinations(list(rims), 2):
        both = _slit(sight, rims[j], rims[k])
        if both is not None:
            rims[j], rims[k] = both
    return rims


def _coincide(one: Rim, other: Rim, sight: PlaneSight) -> bool:
    """Whether two edges as measured are one, seen over a common stretch."""
    p, q = one.stroke.uv, other.stroke.uv
    d = (p[-1] - p[0]) / np.linalg.norm(p[-1] - p[0])
    s, t = np.sort((p - p[0]) @ d)[[0, -1]], np.sort((q - p[0]) @ d)[[0, -1]]
    off = (q - p.mean(0)) @ [-d[1], d[0]]
    common = min(s[1], t[1]) - max(s[0], t[0])
    return bool(common > 0.3 * min(s[1] - s[0], t[1] - t[0]) and np.abs(off).max() * sight.scale < ONE_PX)


def light_of(values: F64) -> F64:
    """Linear light, 0 to 1. values : grey, 0 to 255, any shape (IEC 61966-2-1)."""
    return np.asarray(np.interp(values, np.arange(256), _LIGHT), dtype=np.float64)


def _steps(sight: PlaneSight, a: F64, b: F64) -> list[_Step]:
    """The clearest steps near a pointed edge, the likeliest first."""
    wide = sight.photo.picture.width / 4000.0
    reach, turns = max(FAR_PX * wide, 6.0), max(TURN_PX * wide, 4.0)
    seen = sample(sight.gray, sight.plane, a, b, reach + 2, fine_segment(np.stack([a, b])))
    light = light_of(seen.values)
    rise = light[:, 2:] - light[:, :-2]
    rise = rise / np.maximum(np.abs(rise).max(1), 0.02)[:, None]
    rise[~seen.inside] = 0.0
    length = float(np.linalg.norm(b - a))
    offsets, turn, sums = along(rise, float(seen.across[1]), seen.place / length, (reach, turns))
    clearest = float(np.abs(sums).max())
    if clearest < 0.2 * len(seen.place):
        return []
    shift = seen.normal / float(np.median(seen.px_per_mm))
    out = []
    for sign in (1.0, -1.0):
        each = sign * sums
        top = each.max(axis=0)
        for i in np.argsort(-top):
            near = np.abs(np.arange(len(top)) - i) <= 3
            if top[i] < WORTH * clearest or top[i] < top[near].max():
                continue
            k = int(each[:, i].argmax())
            ends = [offsets[i] - turn[k] / 2, offsets[i] + turn[k] / 2]
            worth = float(np.log(top[i] / clearest)) - 0.5 * float(np.mean(np.square(ends))) / (POINTING_PX * wide) ** 2
            out.append(_Step(a + ends[0] * shift, b + ends[1] * shift, sign, worth))
    return sorted(out, key=lambda s: -s.worth)[:MOST]


def along(values: F64, first: float, place: F64, reach: tuple[float, float]) -> tuple[F64, F64, F64]:
    """Sums of values (m, k), one row a segment, along straight lines across the rows.

    values : (m, k). first : where column 0 lies, pixels. place : (m,) of each segment, 0 to 1 along. reach : farthest
    offset and turn, pixels.

    Returns offsets (n,) and turns (t,), pixels, and sums (t, n).
    """
    offsets, turn = np.arange(-reach[0], reach[0] + 0.1, 0.5), np.arange(-reach[1], reach[1] + 0.1, 0.5)
    at = offsets + (turn[:, None] * (place - 0.5))[:, :, None] - first
    low = np.clip(np.floor(at).astype(int), 0, values.shape[1] - 2)
    part = np.clip(at - low, 0.0, 1.0)
    row = np.arange(len(values))[None, :, None]
    sums = ((1 - part) * values[row, low] + part * values[row, low + 1]).sum(1)
    return offsets, turn, np.asarray(sums, dtype=np.float64)


def fine_segment(ends: F64) -> float:
    """Length of the segments of a line or edge between two ends, mm: a short one's are shorter than a chord line's."""
    return max(1.5, min(segment(ends), float(np.linalg.norm(ends[1] - ends[0])) / 10))


def _assigned(sight: PlaneSight, steps: Sequence[list[_Step]]) -> tuple[list[_Step], list[float]]:
    """One step for each edge, no two the same one, the likeliest together; and of each how likely its best rival is."""
    out: list[_Step | None] = [None] * len(steps)
    rivals = [0.0] * len(steps)
    for group in _groups(sight, steps):
        found: list[tuple[float, tuple[_Step, ...]]] = []
        for choice in product(*(steps[k] for k in group)):
            if not any(_same(sight, p, q) for p, q in combinations(choice, 2)):
                found.append((sum(s.worth for s in choice), choice))
        found.sort(key=lambda f: -f[0])
        best = found[0][1] if found else tuple(steps[k][0] for k in group)
        for j, (k, step) in enumerate(zip(group, best, strict=True)):
            out[k] = step
            # the same steps shared out the other way round are no other measurement
            others = [w for w, c in found if not any(_same(sight, c[j], p) for p in best)]
            rivals[k] = float(np.exp(max(others, default=-np.inf) - found[0][0])) if found else 1.0
    return [s for s in out if s is not None], rivals


def _groups(sight: PlaneSight, steps: Sequence[list[_Step]]) -> Iterator[list[int]]:
    """Edges that might take each other's steps, by index."""
    left = set(range(len(steps)))
    while left:
        group, fresh = [], [left.pop()]
        while fresh:
            k = fresh.pop()
            group.append(k)
            near = {j for j in left if any(_same(sight, p, q) for p in steps[k] for q in steps[j])}
            left -= near
            fresh += near
        yield sorted(group)


def _same(sight: PlaneSight, p: _Step, q: _Step) -> bool:
    """Whether two steps are one edge: of one sign, on one line, and seen over the same stretch."""
    d = (p.b - p.a) / np.linalg.norm(p.b - p.a)
    way = float(d @ (q.b - q.a))
    s = np.sort(np.array([(q.a - p.a) @ d, (q.b - p.a) @ d]))
    over = min(float(s[1]), float(np.linalg.norm(p.b - p.a))) - max(float(s[0]), 0.0)
    if p.sign * np.sign(way) != q.sign or over < 0.3 * float(s[1] - s[0]):
        return False
    off = np.array([(q.a - p.a) @ [-d[1], d[0]], (q.b - p.a) @ [-d[1], d[0]]])
    return bool(np.abs(off).max() * sight.scale < SAME_PX)


def _measured(sight: PlaneSight, step: _Step) -> Rim | None:
    seen = sample(sight.gray, sight.plane, step.a, step.b, NEAR_PX, fine_segment(np.stack([step.a, step.b])))
    light = light_of(seen.values)
    c, sigma, height, misfit = fit_steps(seen.across, light, _blur(sight))
    ok = _fits(seen, light, c, sigma, step.sign * height, misfit)
    return _rim(sight, seen, c, sigma, height, _free(sight, seen) & ok, step.sign)


def _fits(seen: Sampled, light: F64, c: F64, sigma: F64, height: F64, misfit: F64) -> Bools:
    typical = float(np.median(np.maximum(height[seen.inside], 0.0))) if seen.inside.any() else 0.0
    ok = seen.inside & (height > 0.3 * typical) & (height > LEAST_STEP * light.max(1))
    return np.asarray(ok & (np.abs(c) < 0.7 * NEAR_PX) & (sigma < 0.6) & (misfit < 0.35))


def _free(sight: PlaneSight, seen: Sampled) -> Bools:
    """(m,) segments that lie on no card."""
    m, ok = seen.centres, np.ones(len(seen.centres), dtype=bool)
    for u0, v0, u1, v1 in sight.boxes:
        ok &= ~((m[:, 0] > u0) & (m[:, 0] < u1) & (m[:, 1] > v0) & (m[:, 1] < v1))
    return ok


def _blur(sight: PlaneSight) -> float:
    return max(sight.blur, 0.6)


def _rim(sight: PlaneSight, seen: Sampled, c: F64, sigma: F64, height: F64, ok: Bools, sign: float) -> Rim | None:
    good = on_one_line(seen.place, c, ok)
    if good.sum() < 5 or good.sum() < 0.4 * len(good):
        return None
    uv = seen.centres + (c / seen.px_per_mm)[:, None] * seen.normal
    off = c - np.polyval(np.polyfit(seen.place[good], c[good], 1), seen.place)
    sigma = np.hypot(sigma, CENTRE_FLOOR_PX)
    scale, blur = float(np.median(seen.px_per_mm)), _blur(sight)
    wave = estimate_waviness(seen.place[good], off[good], sigma[good])
    pixels = sight.plane.to_pixels(uv[good])
    stroke = Stroke(pixels, uv[good], sigma[good], float("nan"), blur, height[good], good, seen.place, off, wave, scale)
    return Rim(stroke, -sign, TONE_PX * blur)


def _slit(sight: PlaneSight, one: Rim, other: Rim) -> tuple[Rim, Rim] | None:
    """Two edges so near to each other that each blurs into the other's profile, fitted together; None where they are not."""
    p, q = one.stroke.uv, other.stroke.uv
    d = (p[-1] - p[0]) / np.linalg.norm(p[-1] - p[0])
    n = np.array([-d[1], d[0]])
    s, t = np.sort((p - p[0]) @ d)[[0, -1]], np.sort((q - p[0]) @ d)[[0, -1]]
    low, high = max(s[0], t[0]), min(s[1], t[1])
    apart = float(np.mean((q - p[0]) @ n) - np.mean((p - p[0]) @ n))
    if high - low < 0.5 * min(s[1] - s[0], t[1] - t[0]) or not 0.5 < abs(apart) * sight.scale < 2 * NEAR_PX:
        return None
    middle = p[0] + (float(np.mean((p - p[0]) @ n)) + apart / 2) * n
    a, b = middle + low * d, middle + high * d
    half = abs(apart) * sight.scale / 2
    seen = sample(sight.gray, sight.plane, a, b, half + NEAR_PX, fine_segment(np.stack([a, b])))
    light = light_of(seen.values)
    c, sigma, height, misfit = fit_slits(seen.across, light, -half, half, _blur(sight))
    free = _free(sight, seen) & seen.inside & (misfit < 0.35)
    sides = (0, 1) if apart > 0 else (1, 0)
    rims = []
    for rim, k in zip((one, other), sides, strict=True):
        guess = (-half, half)[k]
        along = float((rim.stroke.uv[-1] - rim.stroke.uv[0]) @ d) > 0
        sign = (1.0 if along else -1.0) * -rim.tone
        ok = (
            free
            & (sign * height[:, k] > LEAST_STEP * light.max(1))
            & (np.abs(c[:, k] - guess) < 4.0)
            & (sigma[:, k] < 0.6)
        )
        found = _rim(sight, seen, c[:, k], sigma[:, k], height[:, k], ok, sign)
        if found is None:
            return None
        stroke = found.stroke if along else _reversed(found.stroke)
        rims.append(replace(rim, stroke=stroke))
    return rims[0], rims[1]


def _reversed(s: Stroke) -> Stroke:
    return replace(s, pixels=s.pixels[::-1], uv=s.uv[::-1], sigma_px=s.sigma_px[::-1], depth=s.depth[::-1])
