"""Two parallel edges a known width apart: a straightedge's, a bolt's, those of any straight part; found and measured.

Edges are looked for in a rectified picture along whose rows they run, as pairs as far apart as stated. The line measured is
the middle between both: unequal ground or light moves the two opposite ways. A round bar's edges are where rays graze it;
both planes through the camera hold its direction, so that their middle has it wherever the bar stands before the face.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from shared.numerics.arrays import F32, F64, U8, Bools
from vision.image.line_sums import line_sums
from vision.image.rectified import Plane, Sheet
from vision.lines.measure import CENTRE_FLOOR_PX, Sampled, Stroke, sample
from vision.lines.steps import fit_steps, on_one_line
from vision.lines.waviness import estimate_waviness

FULL_STEP, LEAST_STEP, DOUBT = 0.10, 0.025, 0.3
"""Relative step of brightness that counts in full as an edge; that counts as none; what a column without one takes off."""
TILT = math.tan(math.radians(9.0))
"""Largest |slope| in the sheet: a hand's roll of the camera."""
WIDTH_LESS, WIDTH_MORE, WIDTH_MM = 0.005, 0.04, 0.5
"""How much narrower and wider than stated it may seem, relative (it stands before the rib, nearer to the camera), and mm."""
REACH_PX, TURN_PX, NEAR_PX = 10.0, 5.0, 4.0
"""How far off its place and, over its length, its direction an edge may be found; how far about it is then measured."""
LEAST_GREY = 12.0
"""A segment's largest step of brightness counts in full from here: less is noise."""
PARALLEL_DEG, PARALLEL_U = 0.12, 4.0
"""Turn between the two edges beyond which they do not belong to one thing, and the same in its standard deviations."""


@dataclass(frozen=True)
class Pair:
    """Two parallel edges: rows at column 0 of the upper and the lower one, rows a column; the lesser one's votes."""

    upper: float
    lower: float
    slope: float
    votes: float


def edge_votes(sheet: Sheet, covers: tuple[F64, ...]) -> F32:
    """(h, w) votes for an edge along the rows here, of either sign. covers : rings (n, 2) sheet mm that are left out."""
    soft = cv2.blur(sheet.image, (max(1, round(6 / sheet.mm_u)), 1)).astype(np.float32)
    reach = max(1, round(1.2 / sheet.mm_v))
    step = np.zeros_like(soft)
    up, down = soft[: -2 * reach], soft[2 * reach :]
    step[reach:-reach] = np.abs(down - up) / (np.maximum(up, down) + 12.0)
    out: F32 = np.clip((step - LEAST_STEP) / (FULL_STEP - LEAST_STEP), -DOUBT, 1.0).astype(np.float32)
    out[step <= LEAST_STEP] = -DOUBT
    out[~sheet.valid] = 0.0
    for ring in covers:
        out[sheet.within(ring, 4.0)] = 0.0
    return out


def edge_pairs(sheet: Sheet, votes: F32, width_mm: float, most: int = 16) -> list[Pair]:
    """Pairs of parallel lines as far apart as stated, by the lesser of the two lines' votes; most votes first.

    sheet : the rectified picture that the votes are of. width_mm : between both edges.
    """
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
        found.append(Pair(float(i), float(i + gap[k, i]), float(slopes[k]), float(score[k, i])))
        # what lies on the same two edges is the same find
        middle = i + slopes[k] * votes.shape[1] / 2
        at = np.arange(h)[None, :] + slopes[:, None] * votes.shape[1] / 2
        score[np.abs(at - middle) < max(3.0, 6.0 / sheet.mm_v)] = -np.inf
    return found


SLACK = 2
"""How many rows off its line an edge may lie."""


def seen_along(votes: F32, row: float, slope: float) -> Bools:
    """(w,) where an edge shows.

    votes : (h, w). row : of the edge at column 0. slope : rows a column.
    """
    h, w = votes.shape
    rows = np.rint(row + slope * np.arange(w)).astype(int) + np.arange(-SLACK, SLACK + 1)[:, None]
    inside = (rows >= 0) & (rows < h)
    own = np.where(inside, votes[np.clip(rows, 0, h - 1), np.arange(w)], -1.0).max(axis=0)
    return np.asarray(np.convolve(own, np.ones(5) / 5, mode="same") > 0.15)


@dataclass(frozen=True)
class EdgeLook:
    """What a pair's edges are measured in. plane : whose sheet it is. covers : rings (n, 2) sheet mm that are left out.
    width_mm : between the edges. blur : of the picture, pixels. segment_mm : least length of a segment."""

    gray: U8
    plane: Plane
    covers: tuple[F64, ...]
    width_mm: float
    blur: float
    segment_mm: float = 6.0

    def segment(self, run: F64) -> float:
        """Length of a segment of edges along `run`."""
        return max(self.segment_mm, float(np.linalg.norm(run)) / 70)


@dataclass(frozen=True)
class Measured:
    """The middle line as measured. both : (m,) segments that show both edges. centres : (m, 2) sheet mm of all segments."""

    stroke: Stroke
    both: Bools
    centres: F64


def measure_pair(look: EdgeLook, sheet: Sheet, votes: F32, p: Pair) -> Measured | None:
    """Measure a pair of edges; None where they are not clear, or not parallel and as far apart as stated.

    look : the photo and what is known of the thing. sheet, votes : as for `edge_pairs`. p : the pair as found.
    """
    gray, plane, width_mm = look.gray, look.plane, look.width_mm
    both = np.flatnonzero(seen_along(votes, p.upper, p.slope) & seen_along(votes, p.lower, p.slope))
    if len(both) < 2:
        return None
    first, last = float(both[0]), float(both[-1])
    starts = [sheet.uv(np.array([[first, row + p.slope * first]]))[0] for row in (p.upper, p.lower)]
    run = sheet.uv(np.array([[last, p.upper + p.slope * last]]))[0] - starts[0]
    far = [sample(gray, plane, a, a + run, REACH_PX, look.segment(run)) for a in starts]
    starts, run = _together(far, starts, run, width_mm)
    seen, centre, sigma, ok, step = [], [], [], [], []
    for a in starts:
        s, c, u, fits, height = _edge(look, a, run)
        seen.append(s)
        centre.append(c / s.px_per_mm)
        sigma.append(u)
        ok.append(fits)
        step.append(height)
    place = seen[0].place
    fine = [on_one_line(place, c, k) for c, k in zip(centre, ok, strict=True)]
    if min(f.sum() for f in fine) < max(8, 0.3 * len(place)) or (fine[0] | fine[1]).sum() < 0.5 * len(place):
        return None
    lines = [np.polyfit(place[f], c[f], 1) for f, c in zip(fine, centre, strict=True)]
    q = seen[0].normal
    apart = float((starts[1] - starts[0]) @ q + np.polyval(lines[1] - lines[0], place.mean()))
    turn = abs(math.degrees(math.atan(lines[1][0] - lines[0][0])))
    if turn > max(PARALLEL_DEG, PARALLEL_U * _turn_u(place, sigma, seen[0].px_per_mm)) or not _as_wide(apart, width_mm):
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
    stroke = Stroke(
        plane.to_pixels(uv),
        uv,
        noise,
        apart,
        look.blur,
        np.mean(step, axis=0)[kept],
        kept,
        seen[0].place,
        _everywhere(kept, scale * off),
        estimate_waviness(place, scale * off, noise),
        scale,
    )
    return Measured(stroke, fine[0] & fine[1], seen[0].centres)


def _turn_u(place: F64, sigma: list[F64], px_per_mm: F64) -> float:
    """Standard deviation of the turn between two fitted edges, degrees, from their segments' own."""
    noise = np.hypot(np.hypot(sigma[0], sigma[1]), CENTRE_FLOOR_PX) / px_per_mm
    spread = float(np.median(noise)) / (float(np.std(place)) * math.sqrt(len(place)))
    return math.degrees(spread)


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


def _edge(look: EdgeLook, a: F64, run: F64) -> tuple[Sampled, F64, F64, Bools, F64]:
    """One edge from a along run: profiles, centre of each segment (pixels across), its deviation, fit or not, step."""
    s = sample(look.gray, look.plane, a, a + run, NEAR_PX, look.segment(run))
    c, u, height, misfit = fit_steps(s.across, s.values, max(look.blur, 0.6))
    typical = float(np.median(np.abs(height[s.inside]))) if s.inside.any() else math.inf
    ok = s.inside & (np.abs(height) > 0.3 * typical) & (np.abs(c) < 0.7 * NEAR_PX) & (u < 0.5) & (misfit < 0.35)
    for ring in look.covers:
        ok &= ~_within(ring, s.centres)
    return s, c, u, ok, height


def _within(ring: F64, points: F64) -> Bools:
    """(n,) which points (n, 2) lie inside a convex ring (m, 2), or within 3 mm of it."""
    side = np.roll(ring, -1, axis=0) - ring
    length = np.linalg.norm(side, axis=1)
    way = np.sign(float(side[0, 0] * side[1, 1] - side[0, 1] * side[1, 0]))
    off = (
        way * (side[:, 0] * (points[:, None, 1] - ring[:, 1]) - side[:, 1] * (points[:, None, 0] - ring[:, 0])) / length
    )
    return np.asarray((off > -3.0).all(1))
