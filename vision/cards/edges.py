"""The long straight edges between a card's squares: each placed across itself to a few thousandths of a pixel.

Between two corners an edge runs for a whole square, white margin on one side and black on the other. Its
mean profile is a blurred step; some forty pixels of it weigh far more than the corner's few. Tone curve,
blur and ink make black grow or shrink by a hair; that growth has opposite signs on opposite edges and is
fitted once per card.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from scipy.special import ndtr

from shared.numerics.arrays import F32, F64, U8, Bools
from shared.numerics.small_sums import row_means
from vision.cards.spec import CardSpec

TRIM = 0.16
"""Part of an edge left out at either end, where the next squares' corners reach in. By judgement: 2 pixels of the
smallest squares that are read."""
EDGE_FLOOR_PX = 0.02
"""What print, paper and the lens leave in an edge beyond the fit's own noise. By judgement, less than a corner's, for
many pixels share it."""
LEAST_STEP = 0.6
"""Least step across an edge over the median of all: less is an edge half covered. By judgement."""
MOST_OFF_PX, MOST_SIGMA_PX = 1.0, 0.2
"""Distance from where the corners put an edge, and its standard deviation, beyond which it is something else. By
judgement."""
MISFIT_TIMES = 3.0
"""Residual of an edge's fit, in medians of all, beyond which something crosses it. By judgement."""
FEWEST_LEFT = 8
"""Edges that must be left: fewer show no growth of the print. By judgement."""
OFF_PX, OFF_TIMES = 0.25, 5.0
"""Distance from the others, and in robust standard deviations, beyond which an edge is dropped. By judgement."""


def _none(width: int) -> F64:
    return np.empty((0, width)) if width else np.empty(0)


@dataclass(frozen=True)
class Edges:
    """Edges as seen. board : (m, 2) middles, mm in the board frame. pixels : (m, 2) points on the edge beside
    them. normal : (m, 2) unit, across the edge in the photo. sigma_px : (m,) across. blur_px : (m,) standard
    deviation of the blur across it."""

    board: F64 = field(default_factory=lambda: _none(2))
    pixels: F64 = field(default_factory=lambda: _none(2))
    normal: F64 = field(default_factory=lambda: _none(2))
    sigma_px: F64 = field(default_factory=lambda: _none(0))
    blur_px: F64 = field(default_factory=lambda: _none(0))


def find_edges(gray: U8, spec: CardSpec, homography: F64, scale: float, blur_px: float) -> Edges:
    """Locate all inner edges of a card whose homography (board mm to pixels) is good to 0.2 px.

    gray : (h, w). spec : what the card should look like. scale : pixels a mm. blur_px : standard deviation of the
    picture's blur.
    """
    a, b, black = inner_edges(spec)
    steps = np.linspace(TRIM, 1 - TRIM, max(8, int(spec.square_mm * scale * (1 - 2 * TRIM))))
    run = a[:, None, :] + steps[None, :, None] * (b - a)[:, None, :]
    path = _apply(homography, run.reshape(-1, 2)).reshape(run.shape)
    along = path[:, -1] - path[:, 0]
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    normal = np.stack([-along[:, 1], along[:, 0]], axis=1)
    half = float(np.clip(0.9 * spec.margin_mm * scale, 2.5, 7.0))
    across = np.arange(-np.floor(half), np.floor(half) + 1)
    h, w = gray.shape
    rim = across[-1] * np.abs(normal)
    ends = path[:, [0, -1]]
    inside = (ends.min(1) - rim > 1).all(1) & (ends.max(1) + rim < [w - 2, h - 2]).all(1)
    mx, my = (
        (path[:, :, i, None] + normal[:, None, i, None] * across).astype(np.float32).reshape(len(path), -1)
        for i in (0, 1)
    )
    values = cv2.remap(gray, mx, my, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE).astype(np.float32)
    off, sigma, step, misfit, blur = _steps(across, values.reshape(*path.shape[:2], -1), blur_px)
    typical = float(np.median(np.abs(step)))
    ok = (
        inside
        & (np.abs(step) > LEAST_STEP * typical)
        & (np.abs(off) < MOST_OFF_PX)
        & np.isfinite(sigma)
        & (sigma < MOST_SIGMA_PX)
        & (misfit < MISFIT_TIMES * float(np.median(misfit)) + 1e-9)
    )
    middle = (a + b) / 2
    # black's growth: positive offsets where black lies on the normal's side are shrinkage there
    side = np.where(_side(homography, middle, black, normal), 1.0, -1.0)
    for _ in range(4):
        if ok.sum() < FEWEST_LEFT:
            return Edges()
        growth = float(np.median(off[ok] * side[ok]))
        left = off - growth * side
        left = left - float(np.median(left[ok]))
        spread = 1.4826 * float(np.median(np.abs(left[ok])))
        ok &= np.abs(left) < max(OFF_PX, OFF_TIMES * spread)
    place = off - float(np.mean(off[ok] * side[ok])) * side
    points = _apply(homography, middle) + place[:, None] * normal
    return Edges(middle[ok], points[ok], normal[ok], np.hypot(sigma, EDGE_FLOOR_PX)[ok], blur[ok])


def inner_edges(spec: CardSpec) -> tuple[F64, F64, F64]:
    """Start, end and the middle of the black square beside each inner edge, mm in the board frame.

    spec : of the card. Three arrays (m, 2).
    """
    a, b, black = [], [], []
    q = spec.square_mm
    for r in range(spec.rows):
        for c in range(1, spec.columns):  # upright edges between columns c - 1 and c
            a.append((c, r))
            b.append((c, r + 1))
            black.append((c + (0.5 if (r + c) % 2 == 0 else -0.5), r + 0.5))
    for r in range(1, spec.rows):
        for c in range(spec.columns):
            a.append((c, r))
            b.append((c + 1, r))
            black.append((c + 0.5, r + (0.5 if (r + c) % 2 == 0 else -0.5)))
    return np.array(a) * q, np.array(b) * q, np.array(black) * q


def _side(h: F64, middle: F64, black: F64, normal: F64) -> Bools:
    toward = _apply(h, black) - _apply(h, middle)
    return np.asarray((toward * normal).sum(1) > 0)


def _apply(h: F64, points: F64) -> F64:
    q = np.c_[points, np.ones(len(points))] @ h.T
    return np.asarray(q[:, :2] / q[:, 2:], dtype=np.float64)


def _steps(x: F64, values: F32, blur_px: float) -> tuple[F64, F64, F64, F64, F64]:
    """Batched step fits on the mean profiles of (m, n, k) samples: offset, its standard deviation, step height,
    residual rms and blur, each (m,). The deviation comes from the scatter along the edge."""
    mean = row_means(values)
    m = len(mean)
    c = np.zeros(m)
    s = np.full(m, blur_px)
    coef = np.zeros((m, 2))
    r = mean
    for _ in range(8):
        z = (x - c[:, None]) / s[:, None]
        p = ndtr(z)
        g = np.exp(-0.5 * z * z) / 2.5066282746
        pm, vm = p.mean(1, keepdims=True), mean.mean(1, keepdims=True)
        rise = ((p - pm) * (mean - vm)).sum(1) / np.maximum(((p - pm) ** 2).sum(1), 1e-9)
        coef = np.stack([vm[:, 0] - rise * pm[:, 0], rise], axis=1)
        r = mean - coef[:, :1] - rise[:, None] * p
        jc, js = -rise[:, None] * g / s[:, None], -rise[:, None] * g * z / s[:, None]
        jac = np.stack([jc, js, np.ones_like(p), p], axis=-1)
        normal = np.einsum("mki,mkj->mij", jac, jac) + 1e-6 * np.eye(4)
        step = np.linalg.solve(normal, np.einsum("mki,mk->mi", jac, r)[..., None])[..., 0]
        c = c + np.clip(step[:, 0], -0.5, 0.5)
        s = np.clip(s + np.clip(step[:, 1], -0.3, 0.3), 0.4, 4.0)
    # one row's offset in first order, so that the scatter of rows gives the mean's deviation
    weight = jc / np.maximum((jc * jc).sum(1, keepdims=True), 1e-9)
    sigma = (values @ weight.astype(np.float32)[:, :, None])[:, :, 0].std(1) / np.sqrt(max(values.shape[1] / 2.0, 1.0))
    return c, sigma, coef[:, 1], np.sqrt((r * r).mean(1)) / np.maximum(np.abs(coef[:, 1]), 1e-9), s
