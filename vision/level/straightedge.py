"""A levelled straightedge held across the rib, as the job states it: two long straight edges a known width apart.

An edge alone is not believed: benches, shelves and boards have edges, too. What counts is what only a
straightedge before the rib shows: two edges as far apart as the job says and parallel, both seen over one
long stretch, before the rib (on its face, where a thing behind is hidden) *and* past one of its ends (where
tape or a capstrip on the rib has ended). Two such things in one photo are not decided between.

The line measured is the middle between both edges: unequal ground or light moves the two opposite ways.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from scipy.special import ndtr

from shared.numerics.arrays import F32, F64, Bools, Box
from vision.image.line_sums import line_sums
from vision.image.rectified import Plane, Reduced, Sheet, lay_flat
from vision.level.rib import Rib
from vision.lines.measure import CENTRE_FLOOR_PX, Sampled, Stroke, sample
from vision.lines.waviness import estimate_waviness

FULL_STEP, LEAST_STEP, DOUBT = 0.10, 0.025, 0.3
"""Relative step of brightness that counts in full as an edge; that counts as none; what a column without one takes off.
By judgement: lower, grain counts as an edge; higher, a bar of the wood's own tone is not found."""
TILT = math.tan(math.radians(9.0))
"""Largest |slope| in the sheet: a hand's roll of the camera."""
WIDTH_LESS, WIDTH_MORE, WIDTH_MM = 0.005, 0.04, 0.5
"""How much narrower and wider than stated it may seem, relative (it stands before the rib, nearer to the camera), and
mm. A bar 20 mm before a rib at 1 m seems 2 % wider; twice that for a close camera."""
LONG, ON_RIB, PAST_MM = 0.35, 0.10, 20.0
"""Both edges must be seen over at least this part of the chord, this part before the rib, so far past one of its ends.
By judgement: what is shorter is more often a ruler or an offcut."""
RIM_MM, WHOLE = 3.0, 0.8
"""Where "past the end" begins, mm, and how much of the stretch from there must show both edges: something elsewhere
beyond the end is another thing. By judgement."""
REACH_PX, TURN_PX, NEAR_PX = 10.0, 5.0, 4.0
"""How far off its place and, over its length, its direction an edge may be found; how far about it is then measured. By
judgement: a search at 2 pixels a row may be off by a few."""
LEAST_GREY = 12.0
"""A segment's largest step of brightness counts in full from here: less is noise. By judgement."""
SAME_BAR_MM = 3.0
"""Two finds nearer than this at both ends are one. Narrower than any bar."""
ONE_FACE = 0.15
"""Most that the face between the edges may change in brightness along its length, natural logarithm, robust standard deviation:
lamps and shadows change a bar's by 0.02 to 0.1, and what lies between two edges of different things by 0.25 and more
(ray-traced photos, few)."""
FACE_PARTS = 160
"""Places along the face at which that is looked at."""
PARALLEL_DEG = 0.12
"""Turn between the two edges beyond which they do not belong to one straightedge. By judgement: 0.8 mm over 0.4 m,
several times what a drawn or planed bar has."""
ASKEW_DEG = 0.5
"""How flat it is held against the rib, standard uncertainty, about the upright (common practice, no source): it is level all the
same, but seen from above or below, its line in the picture turns by that times the slope of the view."""


@dataclass(frozen=True)
class Straightedge:
    """The middle line as measured, or the reason why there is none."""

    stroke: Stroke | None = None
    reason: str | None = None


def find_straightedge(rib: Rib, width_mm: float) -> Straightedge:
    """Find and measure it. width_mm : between its long edges.

    rib : where it is looked for: on and about the rib's face, in its plane.
    """
    chord, c, scale = rib.chord, rib.chord_mm, rib.photo.scale
    middle = chord.mean(0)
    box = (chord[0, 0] - 0.35 * c, middle[1] - 0.3 * c, chord[1, 0] + 0.35 * c, middle[1] + 0.3 * c)
    sheet = lay_flat(Reduced.of(rib.photo.picture.gray, 4, 2), rib.plane, box, 8.0 / scale, 2.0 / scale)
    votes = _edges(sheet, rib.boxes)
    found: list[Stroke] = []
    unclear = False
    for pair in _pairs(sheet, votes, width_mm):
        if _stands_before(sheet, votes, pair, rib):
            stroke = _measured(rib, sheet, votes, pair, width_mm)
            unclear |= stroke is None
            if stroke is not None and _changes(rib, stroke) > ONE_FACE:
                unclear, stroke = True, None
            if stroke is not None and not any(_same(stroke, other) for other in found):
                found.append(stroke)
    if len(found) > 1:
        return Straightedge(
            None,
            f"two things in the photo look like a straightedge {width_mm:g} mm wide: take one away, or give a hint",
        )
    if found:
        return Straightedge(found[0])
    if unclear:
        return Straightedge(
            None,
            "the straightedge's edges are not seen clearly, or are not parallel and "
            f"{width_mm:g} mm apart: hold it flat against the rib, before a ground that it stands out from",
        )
    return Straightedge(
        None,
        f"the job says that a levelled straightedge {width_mm:g} mm wide is the level reference, but no "
        "two such edges were seen across the rib and past its end: hold it flat against the rib, one end "
        "standing out past the leading or trailing edge",
    )


def _same(a: Stroke, b: Stroke) -> bool:
    lines = [np.polyfit(s.uv[:, 0], s.uv[:, 1], 1) for s in (a, b)]
    u = a.uv[[0, -1], 0]
    return bool(np.abs(np.polyval(lines[0], u) - np.polyval(lines[1], u)).max() < SAME_BAR_MM)


@dataclass(frozen=True)
class _Pair:
    """Two parallel edges: rows at column 0 of the upper and the lower one, rows a column; the lesser one's votes."""

    upper: float
    lower: float
    slope: float
    votes: float


def _edges(sheet: Sheet, covers: tuple[Box, ...]) -> F32:
    """(h, w) votes for a level edge here, of either sign."""
    soft = cv2.blur(sheet.image, (max(1, round(6 / sheet.mm_u)), 1)).astype(np.float32)
    reach = max(1, round(1.2 / sheet.mm_v))
    step = np.zeros_like(soft)
    up, down = soft[: -2 * reach], soft[2 * reach :]
    step[reach:-reach] = np.abs(down - up) / (np.maximum(up, down) + 12.0)
    out: F32 = np.clip((step - LEAST_STEP) / (FULL_STEP - LEAST_STEP), -DOUBT, 1.0).astype(np.float32)
    out[step <= LEAST_STEP] = -DOUBT
    out[~sheet.valid] = 0.0
    for u0, v0, u1, v1 in covers:
        ring = np.array([[u0, v0], [u1, v0], [u1, v1], [u0, v1]])
        out[sheet.within(ring, 4.0)] = 0.0
    return out


def _pairs(sheet: Sheet, votes: F32, width_mm: float, most: int = 16) -> list[_Pair]:
    """Pairs of parallel lines as far apart as stated, by the lesser of the two lines' votes; most votes first."""
    sums, rises = line_sums(votes, TILT * sheet.mm_u / sheet.mm_v)
    across = 1 << max(1, (votes.shape[1] - 1).bit_length())
    slopes = rises / (across - 1)
    tilt = np.cos(np.arctan(slopes * sheet.mm_v / sheet.mm_u))
    h = sums.shape[1]
    score, gap = np.full_like(sums, -np.inf), np.zeros(sums.shape, dtype=np.intp)
    for k in range(len(sums)):
        lo = int((width_mm * (1 - WIDTH_LESS) - WIDTH_MM) / tilt[k] / sheet.mm_v)
        hi = math.ceil((width_mm * (1 + WIDTH_MORE) + WIDTH_MM) / tilt[k] / sheet.mm_v)
        for d in range(max(lo, 2), min(hi, h - 1) + 1):
            both = np.minimum(sums[k, : h - d], sums[k, d:])
            better = both > score[k, : h - d]
            score[k, : h - d][better], gap[k, : h - d][better] = both[better], d
    found = []
    for _ in range(most):
        k, i = divmod(int(score.argmax()), h)
        if not score[k, i] > 0:
            break
        found.append(_Pair(float(i), float(i + gap[k, i]), float(slopes[k]), float(score[k, i])))
        # what lies on the same two edges is the same find
        middle = i + slopes[k] * votes.shape[1] / 2
        at = np.arange(h)[None, :] + slopes[:, None] * votes.shape[1] / 2
        score[np.abs(at - middle) < max(3.0, 6.0 / sheet.mm_v)] = -np.inf
    return found


SLACK = 2
"""How many rows off its line an edge may lie. The search's error, in rows."""


def _seen(votes: F32, row: float, slope: float) -> Bools:
    h, w = votes.shape
    rows = np.rint(row + slope * np.arange(w)).astype(int) + np.arange(-SLACK, SLACK + 1)[:, None]
    inside = (rows >= 0) & (rows < h)
    own = np.where(inside, votes[np.clip(rows, 0, h - 1), np.arange(w)], -1.0).max(axis=0)
    return np.asarray(np.convolve(own, np.ones(5) / 5, mode="same") > 0.15)


def _stands_before(sheet: Sheet, votes: F32, p: _Pair, rib: Rib) -> bool:
    """Whether both edges are seen far enough, on the rib's face, and past one of its ends."""
    chord, chord_mm = rib.chord, rib.chord_mm
    cols = np.arange(votes.shape[1])
    both = _seen(votes, p.upper, p.slope) & _seen(votes, p.lower, p.slope)
    u = sheet.u0 + sheet.mm_u * cols.astype(np.float64)
    slope = (chord[1, 1] - chord[0, 1]) / (chord[1, 0] - chord[0, 0])
    line = chord[0, 1] + slope * (u - chord[0, 0])
    tail = np.abs(u - (chord[0, 0] if rib.forward_right else chord[1, 0]))
    along = (u > chord[0, 0]) & (u < chord[1, 0])
    on = np.zeros(len(cols), dtype=bool)
    for row in (p.upper, p.lower):
        height = line - (sheet.v0 + sheet.mm_v * (row + p.slope * cols))
        on |= (height < np.minimum(0.055 * chord_mm, 0.1 * tail)) & (height > -np.minimum(0.05 * chord_mm, 0.12 * tail))
    mm = sheet.mm_u
    past = any((both & _past(u, chord, way)).sum() * mm > WHOLE * PAST_MM for way in (-1, 1))
    return bool(both.sum() * mm >= LONG * chord_mm and (both & on & along).sum() * mm >= ON_RIB * chord_mm and past)


def _changes(rib: Rib, stroke: Stroke) -> float:
    """Robust standard deviation, along a straightedge, of its face's brightness, natural logarithm."""
    slope, at = np.polyfit(stroke.uv[:, 0], stroke.uv[:, 1], 1)
    u = np.linspace(stroke.uv[0, 0], stroke.uv[-1, 0], FACE_PARTS)
    for u0, _, u1, _ in rib.boxes:  # a card may hang over it
        u = u[(u < u0) | (u > u1)]
    across = np.linspace(-0.35, 0.35, 8)[:, None] * stroke.width_mm
    uv = np.stack(np.broadcast_arrays(u, slope * u + at + across), axis=-1)
    half = (rib.plane.to_pixels(uv.reshape(-1, 2)).reshape(uv.shape).astype(np.float32) - 0.5) / 2
    seen = cv2.remap(rib.photo.half.image, half[..., 0], half[..., 1], cv2.INTER_LINEAR).astype(np.float64)
    tone = np.log(seen + 12.0).mean(0)
    return float(1.4826 * np.median(np.abs(tone - np.median(tone)))) if len(tone) else 0.0


def _past(u: F64, chord: F64, way: int) -> Bools:
    """Which of u (n,) sheet mm lie in the stretch just past the chord line's left (-1) or right (1) end."""
    beyond = chord[0, 0] - u if way < 0 else u - chord[1, 0]
    return np.asarray((beyond > RIM_MM) & (beyond < RIM_MM + PAST_MM))


def _measured(rib: Rib, sheet: Sheet, votes: F32, p: _Pair, width_mm: float) -> Stroke | None:
    gray, plane, blur = rib.photo.picture.gray, rib.plane, rib.blur
    both = np.flatnonzero(_seen(votes, p.upper, p.slope) & _seen(votes, p.lower, p.slope))
    first, last = float(both[0]), float(both[-1])
    starts = [sheet.uv(np.array([[first, row + p.slope * first]]))[0] for row in (p.upper, p.lower)]
    run = sheet.uv(np.array([[last, p.upper + p.slope * last]]))[0] - starts[0]
    far = [sample(gray, plane, a, a + run, REACH_PX, _segment(run)) for a in starts]
    starts, run = _together(far, starts, run, width_mm)
    seen, centre, sigma, ok, step = [], [], [], [], []
    for a in starts:
        s, c, u, fits, height = _edge(rib, a, run, NEAR_PX)
        seen.append(s)
        centre.append(c / s.px_per_mm)
        sigma.append(u)
        ok.append(fits)
        step.append(height)
    place = seen[0].place
    fine = [_on_one_line(place, c, k) for c, k in zip(centre, ok, strict=True)]
    if min(f.sum() for f in fine) < max(8, 0.3 * len(place)) or (fine[0] | fine[1]).sum() < 0.5 * len(place):
        return None
    u = seen[0].centres[:, 0]
    enough = max(1, int(WHOLE * PAST_MM / _segment(run)))
    if not any((fine[0] & fine[1])[_past(u, rib.chord, way)].sum() >= enough for way in (-1, 1)):
        return None
    lines = [np.polyfit(place[f], c[f], 1) for f, c in zip(fine, centre, strict=True)]
    q = seen[0].normal
    apart = float((starts[1] - starts[0]) @ q + np.polyval(lines[1] - lines[0], place.mean()))
    if abs(math.degrees(math.atan(lines[1][0] - lines[0][0]))) > PARALLEL_DEG or not _as_wide(apart, width_mm):
        return None
    # where one edge does not show (a ground of its own tone), the other stands for both, half a width away
    weight = np.array([f / np.hypot(u, CENTRE_FLOOR_PX) ** 2 for f, u in zip(fine, sigma, strict=True)])
    kept = weight.sum(0) > 0
    place, weight = place[kept], weight[:, kept]
    scale = float(np.median(seen[0].px_per_mm))
    straight = np.mean(lines, axis=0)
    left = [c[kept] - np.polyval(line, place) for c, line in zip(centre, lines, strict=True)]
    off = (weight * left).sum(0) / weight.sum(0)
    middle = np.mean([s.centres[kept] for s in seen], axis=0)
    uv = middle + (np.polyval(straight, place) + off)[:, None] * q
    noise = 1 / np.sqrt(weight.sum(0))
    return Stroke(
        plane.to_pixels(uv),
        uv,
        noise,
        apart,
        blur,
        np.mean(step, axis=0)[kept],
        kept,
        seen[0].place,
        _everywhere(kept, scale * off),
        estimate_waviness(place, scale * off, noise),
        scale,
        _askew(plane, uv, scale),
    )


def _everywhere(kept: Bools, values: F64) -> F64:
    """(m,) values (n,) at their places, 0 elsewhere."""
    out = np.zeros(len(kept))
    out[kept] = values
    return out


def _together(seen: list[Sampled], starts: list[F64], run: F64, width_mm: float) -> tuple[list[F64], F64]:
    """The edges' starts and common run, moved to the two parallel lines as far apart as stated along which the steps of
    brightness add up to most: a chamfer or a shadow beside an edge is a step, too, but not as far from the other edge."""
    length, px_per_mm = float(np.linalg.norm(run)), float(np.median(seen[0].px_per_mm))
    offsets = np.arange(-REACH_PX + 1, REACH_PX, 0.5)
    turns = np.arange(-TURN_PX, TURN_PX + 0.1, 0.5)
    sums = np.array([_along(s, offsets, turns, length) for s in seen])  # (edge, turn, offset)
    q = seen[0].normal
    apart = float((starts[1] - starts[0]) @ q) + (offsets - offsets[:, None]) / px_per_mm
    both = sums[0][:, :, None] + sums[1][:, None, :]
    both[:, ~_as_wide(apart, width_mm)] = -np.inf
    k, i, j = np.unravel_index(int(both.argmax()), both.shape)
    turn = q * turns[k] / px_per_mm
    moved = [a + q * offsets[o] / px_per_mm - turn / 2 for a, o in zip(starts, (i, j), strict=True)]
    return moved, run + turn


def _as_wide(apart_mm: F64 | float, width_mm: float) -> Bools:
    low, high = width_mm * (1 - WIDTH_LESS) - WIDTH_MM, width_mm * (1 + WIDTH_MORE) + WIDTH_MM
    return np.asarray((low < apart_mm) & (apart_mm < high))


def _along(s: Sampled, offsets: F64, turns: F64, length: float) -> F64:
    """(turns, offsets) sums, over all segments, of steps of brightness, each as a part of the segment's largest."""
    rise = np.abs(s.values[:, 2:] - s.values[:, :-2])
    rise = rise / np.maximum(rise.max(1), LEAST_GREY)[:, None]
    rise[~s.inside] = 0.0
    at = offsets + (turns[:, None] * (s.place / length - 0.5))[:, :, None] - s.across[1]  # (turn, segment, offset)
    low = np.clip(np.floor(at).astype(int), 0, rise.shape[1] - 2)
    part = np.clip(at - low, 0.0, 1.0)
    row = np.arange(len(rise))[None, :, None]
    return np.asarray(((1 - part) * rise[row, low] + part * rise[row, low + 1]).sum(1))


def _askew(plane: Plane, uv: F64, scale: float) -> F64:
    """(n,) pixels by which one standard deviation of its turn against the rib, about the upright, moves each point."""
    middle = uv.mean(0)
    point = plane.origin + middle[0] * plane.along_u + middle[1] * plane.along_v
    rise = float(point @ plane.along_v) / float(point @ plane.normal)
    along = (uv - middle) @ (uv[-1] - uv[0]) / np.linalg.norm(uv[-1] - uv[0])
    return np.asarray(math.radians(ASKEW_DEG) * rise * along * scale)


def _segment(run: F64) -> float:
    return max(6.0, float(np.linalg.norm(run)) / 70)


def _edge(rib: Rib, a: F64, run: F64, half_px: float) -> tuple[Sampled, F64, F64, Bools, F64]:
    """One edge from a along run: profiles, centre of each segment (pixels across), its deviation, fit or not, step."""
    s = sample(rib.photo.picture.gray, rib.plane, a, a + run, half_px, _segment(run))
    c, u, height, misfit = _steps(s.across, s.values, max(rib.blur, 0.6))
    typical = float(np.median(np.abs(height[s.inside]))) if s.inside.any() else math.inf
    ok = s.inside & (np.abs(height) > 0.3 * typical) & (np.abs(c) < 0.7 * half_px) & (u < 0.5) & (misfit < 0.35)
    m = s.centres
    for u0, v0, u1, v1 in rib.boxes:
        ok &= ~((m[:, 0] > u0) & (m[:, 0] < u1) & (m[:, 1] > v0 - 3) & (m[:, 1] < v1 + 3))
    return s, c, u, ok, height


def _steps(x: F64, values: F64, blur: float, rounds: int = 10) -> tuple[F64, F64, F64, F64]:
    """Batched fits of a blurred step A + B P((x - c) / s) to profiles (m, k), by Gauss-Newton with A and B projected out:
    centre, its standard deviation, B, residual rms over |B|, each (m,)."""
    c = np.zeros(len(values))
    b = np.zeros(len(values))
    rms, power = np.full(len(values), np.inf), np.ones(len(values))
    centred = values - values.mean(1, keepdims=True)
    for _ in range(rounds):
        z = (x - c[:, None]) / blur
        p = ndtr(z)
        p -= p.mean(1, keepdims=True)
        pp = np.maximum((p * p).sum(1), 1e-9)
        b = (p * centred).sum(1) / pp
        r = centred - b[:, None] * p
        slope = -b[:, None] * np.exp(-0.5 * z * z) / (blur * 2.5066282746)
        slope -= slope.mean(1, keepdims=True)
        slope -= ((slope * p).sum(1) / pp)[:, None] * p
        power = np.maximum((slope * slope).sum(1), 1e-9)
        rms = np.sqrt((r * r).sum(1) / max(len(x) - 3, 1))
        c = c + np.clip((slope * r).sum(1) / power, -1.0, 1.0)
    return c, rms / np.sqrt(power), b, rms / np.maximum(np.abs(b), 1e-9)


def _on_one_line(place: F64, centre: F64, ok: Bools) -> Bools:
    """Which segments agree with the straight line that most of them make."""
    good = ok.copy()
    if ok.sum() < 8:
        return good
    i, j = np.triu_indices(int(ok.sum()), 1)
    s, c = place[ok], centre[ok]
    far = s[j] - s[i] > 0.25 * np.ptp(s)
    slope = float(np.median((c[j] - c[i])[far] / (s[j] - s[i])[far]))  # Theil 1950, Sen 1968
    line = np.array([slope, float(np.median(c - slope * s))])
    for _ in range(6):
        off = np.abs(centre - np.polyval(line, place))
        good = ok & (off < max(0.08, 4 * 1.4826 * float(np.median(off[ok]))))
        if good.sum() < 6:
            break
        line = np.polyfit(place[good], centre[good], 1)
    return good
