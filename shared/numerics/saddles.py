"""Sub-pixel saddle points: where two black and two white quadrants meet.

Each corner is fitted with the even model

    I(p) = a + g . (p - c) + b tanh(n1 . (p - c) / s) tanh(n2 . (p - c) / s)

by Gauss-Newton, all corners at once. Blur, sharpening and the camera's tone curve keep the picture
symmetric under a half turn about the saddle point; the model is even about c apart from the linear
shading, so they widen or square off its flanks without moving c.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shared.numerics.arrays import F64, U8

STILL_PX = 2e-3
"""A round that moves no corner further than this is the last: each moves them by a fifth of the one before, or less."""


@dataclass(frozen=True)
class Saddles:
    """Refined corners.

    points : (n, 2) pixels. sigma_px : (n,) standard deviation of each coordinate from the fit's own residuals.
    contrast : (n,) half the grey step between quadrants (negative: the other two quadrants are bright).
    misfit : (n,) residual rms over |contrast|. moved : (n,) distance from the start, pixels.
    blur_px : (n,) flank width s.
    """

    points: F64
    sigma_px: F64
    contrast: F64
    misfit: F64
    moved: F64
    blur_px: F64


def refine(gray: U8, start: F64, along_x: F64, along_y: F64, half: F64, rounds: int = 6) -> Saddles:
    """Refine saddle points.

    Parameters
    ----------
    gray : (h, w) picture. start : (n, 2) pixels, good to about 2 px.
    along_x, along_y : (n, 2) unit directions of the two edges through each corner, pixels.
    half : (n,) half side of each window, pixels; keep it inside the white margin round the markers.

    Corners whose window leaves the picture come back with NaN, and so do those whose start, directions or
    window are no finite numbers, or whose direction is none (two neighbours in one place).

    rounds : of Gauss-Newton, at most; fewer where no corner moves by more than `STILL_PX`.
    """
    n = len(start)
    h, w = gray.shape
    bad = ~np.all(np.isfinite(np.column_stack([start, along_x, along_y, half])), axis=1)
    bad |= ~(along_x.any(axis=1) & along_y.any(axis=1))
    if bad.any():
        half, along_x, along_y = half.copy(), along_x.copy(), along_y.copy()
        half[bad], along_x[bad], along_y[bad] = 2.0, (1.0, 0.0), (0.0, 1.0)
    size = int(np.ceil(half.max(initial=2.0)))
    if n == 0 or min(h, w) <= 2 * size:  # no room for one window
        nothing = np.full(n, np.nan)
        return Saddles(np.full((n, 2), np.nan), nothing, nothing, nothing, nothing, nothing)
    dy, dx = np.mgrid[-size : size + 1, -size : size + 1]
    n1 = np.stack([-along_x[:, 1], along_x[:, 0]], axis=1)
    n2 = np.stack([-along_y[:, 1], along_y[:, 0]], axis=1)
    c = start.astype(np.float64).copy()
    c[bad] = size
    a, b, s = np.zeros(n), np.zeros(n), np.full(n, 1.2)
    cov = np.full((n, 2, 2), np.nan)
    rms = np.full(n, np.nan)
    jac = np.ones((n, 7, *dx.shape))  # by the centre (2), a, b, shading (2) and blur
    for step in range(rounds):
        base = np.rint(c).astype(int)
        inside = (base[:, 0] >= size) & (base[:, 0] < w - size) & (base[:, 1] >= size) & (base[:, 1] < h - size)
        bad |= ~inside | (np.hypot(*(c - start).T) > 4.0)
        base[bad] = size
        c[bad] = size  # any place inside: these come back as NaN
        patch = gray[base[:, 1, None, None] + dy, base[:, 0, None, None] + dx].astype(np.float64)
        px = np.broadcast_to((base[:, 0] - c[:, 0])[:, None, None] + dx[:1], (n, *dx.shape))
        py = np.broadcast_to((base[:, 1] - c[:, 1])[:, None, None] + dy[:, :1], (n, *dy.shape))
        # a round window with a soft rim, centred on the corner itself so that symmetry holds
        weight = np.clip(half[:, None, None] + 0.5 - np.hypot(px, py), 0, 1)
        q1 = n1[:, 0, None, None] * px + n1[:, 1, None, None] * py
        q2 = n2[:, 0, None, None] * px + n2[:, 1, None, None] * py
        t1, t2 = np.tanh(q1 / s[:, None, None]), np.tanh(q2 / s[:, None, None])
        d1, d2 = (1 - t1 * t1) / s[:, None, None], (1 - t2 * t2) / s[:, None, None]
        prod = t1 * t2
        if step == 0:
            wsum = weight.sum((1, 2))
            mean = (patch * weight).sum((1, 2)) / wsum
            a = mean
            b = ((patch - mean[:, None, None]) * prod * weight).sum((1, 2)) / (prod * prod * weight).sum((1, 2))
        B = b[:, None, None]
        along1, along2 = d1 * t2, t1 * d2
        along1 *= -B
        along2 *= -B
        jac[:, 0] = along1 * n1[:, 0, None, None] + along2 * n2[:, 0, None, None]
        jac[:, 1] = along1 * n1[:, 1, None, None] + along2 * n2[:, 1, None, None]
        jac[:, 3], jac[:, 4], jac[:, 5] = prod, px, py
        jac[:, 6] = (along1 * q1 + along2 * q2) / s[:, None, None]
        wt = weight.reshape(n, -1)
        # shading is linear: refitted afresh each round, so it needs no state
        model = a[:, None, None] + B * prod
        r = (patch - model).reshape(n, -1)
        rows = jac.reshape(n, 7, -1)
        jwt = rows * wt[:, None]
        normal = jwt @ rows.transpose(0, 2, 1) + np.eye(7) * 1e-6
        delta = np.linalg.solve(normal, jwt @ r[..., None])[..., 0]
        left = r - (delta[:, None] @ rows)[:, 0]
        dof = np.maximum(wt.sum(1) - 7, 1)
        rms = np.sqrt((wt * left * left).sum(1) / dof)
        cov = np.linalg.inv(normal)[:, :2, :2] * (rms**2)[:, None, None]
        moved = np.clip(delta[:, :2], -1.0, 1.0)
        c += moved
        a, b = a + delta[:, 2], b + delta[:, 3]
        s = np.clip(s + np.clip(delta[:, 6], -0.4, 0.4), 0.4, 6.0)
        if np.abs(moved[~bad]).max(initial=0.0) < STILL_PX:
            break
    points = np.where(bad[:, None], np.nan, c)
    with np.errstate(invalid="ignore"):
        sigma = np.sqrt(np.trace(cov, axis1=1, axis2=2) / 2)
    return Saddles(
        points, np.where(bad, np.nan, sigma), b, rms / np.maximum(np.abs(b), 1e-9), np.hypot(*(c - start).T), s
    )
