"""Long, nearly straight edges in a photo, to sub-pixel: what a lens bends, and a level bar's rim."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from scipy.ndimage import map_coordinates

from shared.numerics.arrays import F64, I64, U8

WORK_SIDE = 1600
"""Edges are traced in the picture shrunk to about this length, pixels. An edge needs no more, and Canny's thresholds
then mean the same for cameras of all sizes."""
SECTOR_DEG = 24.0
"""Breadth of the sectors of gradient direction; each overlaps the next by half, so that an edge that turns by half of
it lies whole in one. By judgement: an edge bowed by b turns by 8 b rad, 18 degrees at `BOW`; much wider, corners no
longer part."""
BOW = 0.04
"""Most an edge may bow, in parts of its length. Barrel distortion of wide phone lenses bows an edge at the rim by 1 to
2 % (from memory, no source); twice that is a curved thing."""
RIM = 0.02
"""An edge that keeps this near to the picture's rim may be the rim itself, which no lens bends. By judgement: at half
of this the border of a vignette or a frame would count; at twice, edges where lenses bend them most would be lost."""
ROUGH_PX = 0.6
"""Most its points may stray from a smooth curve, pixels of the small picture (rms). Canny's points lie on whole pixels,
which alone scatters by 0.29 (1 / sqrt 12); at twice this, wood grain passes."""
STRAY_TIMES, STRAY_PX, LEAST_KEPT = 3.0, 0.3, 0.6
"""Robust standard deviations, and pixels at least, beyond which a point is led astray by what crosses the edge; share
of the points that must be left. By judgement."""


@dataclass(frozen=True)
class Edge:
    """One edge. points : (n, 2) pixels in order along it. length : between its ends, pixels.

    strength : steepest slope across it, grey steps a pixel.
    """

    points: F64
    length: float
    strength: float


def find_edges(gray: U8, least: float) -> list[Edge]:
    """Edges of at least this length (in parts of the picture's diagonal), longest first.

    Traced by gradient direction, so that a bent edge holds together and a corner parts two.

    gray : (h, w) picture. least : 0 to 1. Pixels as elsewhere: x right, y down.
    """
    factor = max(1.0, max(gray.shape) / WORK_SIDE)
    small = (
        gray
        if factor == 1
        else np.asarray(cv2.resize(gray, None, fx=1 / factor, fy=1 / factor, interpolation=cv2.INTER_AREA), np.uint8)
    )
    small = np.asarray(cv2.GaussianBlur(small, (0, 0), 1.0), np.uint8)
    gx, gy = (cv2.Sobel(small, cv2.CV_32F, *d).astype(np.float64) for d in ((1, 0), (0, 1)))
    edges = cv2.Canny(small, 20, 50) > 0
    angle = np.degrees(np.arctan2(gy, gx)) % 360
    need = least * float(np.hypot(*small.shape))
    found: list[tuple[float, I64]] = []
    for centre in np.arange(0, 360, SECTOR_DEG / 2):
        inside = edges & (np.abs((angle - centre + 180) % 360 - 180) <= SECTOR_DEG / 2)
        count, labels, stats, _ = cv2.connectedComponentsWithStats(inside.astype(np.uint8), connectivity=8)
        spans = np.hypot(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT])
        yy, xx = np.nonzero(inside)
        mine = labels[yy, xx]
        order = np.argsort(mine, kind="stable")
        starts = np.searchsorted(mine[order], np.arange(count + 1))
        for k in range(1, count):
            if spans[k] >= need:
                part = order[starts[k] : starts[k + 1]]
                found.append((float(spans[k]), np.stack([xx[part], yy[part]], axis=1).astype(np.int64)))
    h, w = small.shape
    rim = RIM * max(w, h)
    taken = np.zeros(small.shape, dtype=bool)
    out = []
    for _, p in sorted(found, key=lambda item: -item[0]):
        if taken[p[:, 1], p[:, 0]].mean() > 0.3:  # seen already in the neighbouring sector
            continue
        taken[p[:, 1], p[:, 0]] = True
        if min(p[:, 0].max(), p[:, 1].max(), w - 1 - p[:, 0].min(), h - 1 - p[:, 1].min()) < rim:
            continue
        edge = _smooth(gray, p.astype(np.float64), factor)
        if edge is not None and edge.length >= need * factor:
            out.append(edge)
    return sorted(out, key=lambda e: -e.length)


def _smooth(gray: U8, p: F64, factor: float) -> Edge | None:
    """Order along the edge, refine, and keep it if it is one smooth line."""
    along, across = _axes(p)
    t, d = (p - p.mean(axis=0)) @ along, (p - p.mean(axis=0)) @ across
    order = np.argsort(t)
    t, d = t[order], d[order]
    curve = np.polynomial.Polynomial.fit(t, d, 3)
    if float(np.sqrt(np.mean((d - curve(t)) ** 2))) > ROUGH_PX:
        return None
    length = float(t[-1] - t[0])
    steps = np.linspace(t[0], t[-1], max(12, int(length * factor / 6)))
    ends = np.array([curve(steps[0]), curve(steps[-1])])
    bow = float(np.abs(curve(steps) - np.interp(steps, [steps[0], steps[-1]], ends)).max())
    if bow > BOW * length:
        return None
    start = (p.mean(axis=0) + steps[:, None] * along + curve(steps)[:, None] * across + 0.5) * factor - 0.5
    return _refined(gray, start, across, max(3.0, 1.5 * factor))


def _axes(p: F64) -> tuple[F64, F64]:
    along = np.linalg.svd(p - p.mean(axis=0), full_matrices=False)[2][0]
    if along[np.argmax(np.abs(along))] < 0:
        along = -along
    return along, np.array([-along[1], along[0]])


def _refined(gray: U8, start: F64, across: F64, reach: float) -> Edge | None:
    """Sub-pixel places where the grey value changes most along the normal, by the parabola of its slope."""
    s = np.arange(-reach - 1, reach + 1.01, 0.5)
    places = start[:, None, :] + s[None, :, None] * across
    values = map_coordinates(gray, [places[..., 1], places[..., 0]], output=np.float64, order=1, mode="nearest")
    slope = np.abs(values[:, 4:] - values[:, :-4]) / 2.0
    at = s[2:-2]
    k = np.clip(np.argmax(slope, axis=1), 1, len(at) - 2)
    rows = np.arange(len(k))
    a, b, c = slope[rows, k - 1], slope[rows, k], slope[rows, k + 1]
    bend = a - 2 * b + c
    shift = np.where(bend < 0, 0.5 * (a - c) / np.where(bend < 0, bend, -1.0), 0.0)
    points = start + (at[k] + 0.5 * np.clip(shift, -1, 1))[:, None] * across
    along = np.array([across[1], -across[0]])
    t, d = (points - points.mean(axis=0)) @ along, (points - points.mean(axis=0)) @ across
    keep = np.ones(len(t), dtype=bool)
    for _ in range(4):  # points led astray by what crosses the edge
        curve = np.polynomial.Polynomial.fit(t[keep], d[keep], 3)
        e = np.abs(d - curve(t))
        keep = e <= max(STRAY_TIMES * float(np.median(e[keep])) / 0.6745, STRAY_PX)
        if keep.sum() < max(8, LEAST_KEPT * len(t)):
            return None
    points = points[keep]
    points = points[np.argsort(t[keep])]
    return Edge(points, float(np.linalg.norm(points[-1] - points[0])), float(np.median(b[keep])))
