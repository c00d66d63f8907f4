"""The rigid movement of a rib between two photos of a camera that stands still, from the shifts of its pieces.

Unknown: the rib's turn in its own plane, its tilts and slides (6); the camera's own turn and zoom (4), held to what
the background says; the turn of each card about its own middle, against the chord line.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shared.numerics.arrays import F64, U8, Bools
from vision.image.rectified import Plane
from vision.lines.waviness import estimate_waviness
from vision.live.pieces import Pieces, look_for, run
from vision.live.shifts import Shift, across
from vision.live.start import Start
from vision.live.stillness import Stillness
from vision.solution.scene import rotation_of

PLAY_DEG, HINGE_DEG = 0.02, 3.0
"""How far a rib on its jig tilts by itself, and how far the axis it turns about is from square to it (common
practice, no source)."""
TURN_OR_SHIFT = 0.5
"""Share of the camera's movement that may be a carry sideways instead of a turn (see `vision.live.stillness`). Nothing
in one background says which: half, as standard deviation, leaves either possible."""
LOOSE_DEG = 5.0
"""How far a card may have turned about its own middle against the chord line: wide, for a card that is out of sight has
nothing else to say so."""
LEAST_SEEN = 0.4
"""Share of the chord line's pieces that must be seen again. By judgement: hands and clamps may hide half; much lower,
one end of the line decides alone."""
FEWEST_PIECES = 8
"""Pieces of the cards' edges that must be seen again: as many as `vision.live.start.LEAST_EDGES` asks for at the
start."""
BISQUARE, AGREES, LEAST_SCALE = 4.7, 4.0, 0.3
"""Robust standard deviations at which a piece counts for nothing (5 % of efficiency for normal errors: Maronna, Martin
and Yohai 2006, table 2.2), up to which it is used, and the least that one is taken to be, in its own sigma."""
ENOUGH_RESIDUALS = 25
"""Residuals from which on their own scatter is believed where it is below 1: it is then known to 14 % (1 / sqrt(2
n))."""
MAX_ROUNDS, ROBUST_ROUNDS = 12, 4
"""Rounds at most, and those after which it stays settled which pieces count. By judgement."""
CONVERGED = np.array([1e-6, 5e-3, 5e-3, 5e-2])
"""A step of turn (rad), slide and distance (mm) that needs no further one. 1e-6 rad is 0.00006 degrees, far below any
change's u."""
RESTLESS, GROWING = 10.0, 100.0
"""How many such steps may be left at the end; and a step of how many that grows fourfold ends the search. Smaller ones
may grow: where nothing has moved the first is next to nothing, and weights that settle then make a larger one."""
DIFFERENCE_STEPS = np.array([1e-5, 1e-5, 1e-5, 1e-2, 1e-2, 1e-1, 1e-5, 1e-5, 1e-5, 1e-5])
"""For differences: radians, mm, and parts of the focal length. About the cube root of the numbers' precision times
their size, for which a central difference errs least."""


@dataclass(frozen=True)
class RigidFit:
    """The movement: x (6,), its parts' covariance by origin, and what was used. gain : (6, n) of the shifts."""

    x: F64
    seen: float
    inverse: F64
    noise: F64
    priors: F64
    loose: tuple[float, float]
    gain: F64
    px: F64


def fit(start: Start, gray: U8, camera: Stillness, x: F64) -> RigidFit | None:
    """Gauss-Newton on turn, tilts, slides (6), the camera's turn and zoom (4) and each card's own turn.

    start : the first photo. gray : the later one (h, w). camera : how it moved, by the background. x : (6,) movement
    to start from: turn and tilts rad, slides mm. None where too little is seen again or the search does not settle.
    """
    pieces = (start.chord, *start.cards)
    of = np.concatenate([np.full(len(p.a), k) for k, p in enumerate(pieces)])
    group, count = of > 0, 9 + len(pieces)
    c, last = np.r_[camera.turn, camera.zoom], np.inf
    prior_camera = np.linalg.inv(_camera_covariance(camera))
    total = np.r_[x, c]
    settled: Bools | None = None  # which pieces count; fixed after some rounds, or one on the verge would never rest
    for turn in range(MAX_ROUNDS):
        got = [look_for(gray, start.plane, placed(start, total), p) for p in pieces]
        shift = Shift(*(np.concatenate([getattr(g, f) for g in got]) for f in ("px", "sigma_px", "good")))
        n = len(start.chord.a)
        if shift.good[:n].mean() < LEAST_SEEN or shift.good[n:].sum() < FEWEST_PIECES:
            return None
        jac = np.zeros((len(of), count))
        jac[:, :10] = np.concatenate([jacobian(start, p, total) for p in pieces])
        for k, p in enumerate(start.cards, 1):
            u, v = _from_centre(start, p)
            m = of == k
            jac[m, 9 + k] = jac[m, 0] + v * jac[m, 3] - u * jac[m, 4]
        tilt = np.hypot(np.radians(PLAY_DEG), np.tan(np.radians(HINGE_DEG)) * abs(total[0]))
        prior = np.zeros((count, count))
        prior[1, 1] = prior[2, 2] = 1 / tilt**2
        prior[6:10, 6:10] = prior_camera
        prior[10:, 10:] = np.eye(count - 10) / np.radians(LOOSE_DEG) ** 2
        away = np.r_[np.zeros(6), c - total[6:], np.zeros(len(start.cards))]
        away[1:3] = -total[1:3]
        white = _whitened(start, shift, jac, group, prior, away, settled)
        if white is None:
            return None
        step, normal, root, used = white
        settled = used if turn >= ROBUST_ROUNDS else None
        total = total + step[:10]
        size = float(np.abs(step[[0, 3, 4, 5]] / CONVERGED).max())
        if size < 1:
            break
        if size > max(4 * last, GROWING):
            return None
        last = size
    if size > RESTLESS:
        return None
    inverse = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    a = root @ jac
    gain = inverse @ a.T @ root
    noise = inverse @ (a.T @ a) @ inverse
    priors = inverse @ np.linalg.cholesky(prior + 1e-12 * np.eye(count))
    own, u_own = np.degrees(step[10:]), np.degrees(np.sqrt(np.diag(inverse)[10:]))
    worst = int(np.argmax(np.abs(own) / u_own))
    return RigidFit(
        total[:6],
        float(used[:n].mean()),
        inverse,
        noise,
        priors,
        (float(own[worst]), float(u_own[worst])),
        gain,
        shift.px,
    )


def _from_centre(start: Start, p: Pieces) -> F64:
    """(2,) mm from mid chord to the middle of some pieces, along the sheet's axes."""
    axes = np.stack([start.plane.along_u, start.plane.along_v])
    return np.asarray((p.a + p.b).mean(0) / 2 - axes @ (start.centre - start.plane.origin), dtype=np.float64)


def _whitened(
    start: Start, shift: Shift, jac: F64, group: Bools, prior: F64, away: F64, settled: Bools | None
) -> tuple[F64, F64, F64, Bools] | None:
    """One robust step (unknowns,), the normal matrix, the whitener (n, n) and which pieces were used.

    Bisquare weights by group; then the covariance that the residuals show, slow waviness along the line included.
    """
    used = shift.good.copy()
    step: F64 = np.zeros(jac.shape[1])
    if settled is not None:
        used &= settled
        w = np.where(used, 1 / shift.sigma_px**2, 0.0)
        step = _solve((jac * w[:, None]).T @ jac + prior, (jac * w[:, None]).T @ shift.px + prior @ away)
    for _ in range(8 if settled is None else 0):
        w = np.where(used, 1 / shift.sigma_px**2, 0.0)
        r = shift.px - jac @ step
        for g in (False, True):
            m = shift.good & (group == g)
            z = r[m] / shift.sigma_px[m]
            s = 1.4826 * float(np.median(np.abs(z - np.median(z))))
            w[m] *= np.clip(1 - (z / (BISQUARE * max(s, LEAST_SCALE))) ** 2, 0, None) ** 2 / max(s, LEAST_SCALE) ** 2
            used[m] = np.abs(z) < AGREES * max(s, LEAST_SCALE)
        step = _solve((jac * w[:, None]).T @ jac + prior, (jac * w[:, None]).T @ shift.px + prior @ away)
    if used[~group].mean() < LEAST_SEEN or used[group].sum() < FEWEST_PIECES:
        return None
    r = shift.px - jac @ step
    root = np.zeros((len(group), len(group)))
    line = np.flatnonzero(used & ~group)
    wave = estimate_waviness(start.chord.place[line], r[line], shift.sigma_px[line])
    gap = np.abs(start.chord.place[line][:, None] - start.chord.place[line][None, :])
    cov = np.diag(shift.sigma_px[line] ** 2) + wave.size**2 * np.exp(-gap / wave.reach)
    white = np.linalg.inv(np.linalg.cholesky(cov))
    root[np.ix_(line, line)] = white / _scale(white @ r[line], 2)
    card = np.flatnonzero(used & group)
    root[card, card] = 1 / (shift.sigma_px[card] * _scale(r[card] / shift.sigma_px[card], 4))
    a = root @ jac
    normal = a.T @ a + prior
    step = _solve(normal, a.T @ (root @ shift.px) + prior @ away)
    return step, normal, root, used


def _solve(normal: F64, right: F64) -> F64:
    return np.asarray(np.linalg.solve(normal, right), dtype=np.float64)


def _scale(white: F64, free: int) -> float:
    """Root of chi-square over its degrees of freedom: the residuals' own size; never below 1 where they are few."""
    s = float(np.sqrt(white @ white / max(len(white) - free, 1)))
    return s if len(white) >= ENOUGH_RESIDUALS else max(1.0, s)


def turn_of(plane: Plane, x: F64) -> F64:
    """(3, 3) rotation of a movement (6,) of the rib: about the plane's normal, its u and its v axis, rad.

    plane : of the rib in the first photo. x : the first three are used.
    """
    return rotation_of(x[0] * plane.normal + x[1] * plane.along_u + x[2] * plane.along_v)


def placed(start: Start, total: F64) -> Plane:
    """The rib plane after a movement (6,) as the camera, moved itself by (4,), sees it.

    start : the first photo. total : (10,) the rib's movement, then the camera's turn (3, rad) and zoom.
    """
    plane, x = start.plane, total[:6]
    turn, seen = turn_of(plane, x), rotation_of(total[6:9])
    slide = x[3] * plane.along_u + x[4] * plane.along_v + x[5] * plane.normal
    theta = plane.theta.copy()
    theta[:2] *= 1 + total[9]
    origin = start.centre + turn @ (plane.origin - start.centre) + slide
    return Plane(seen @ origin, seen @ turn @ plane.along_u, seen @ turn @ plane.along_v, theta)


def jacobian(start: Start, p: Pieces, total: F64) -> F64:
    """(n, 10) shift across each piece, pixels, by movement and camera.

    start : the first photo. p : n pieces. total : (10,) as for `placed`; differences are central, with
    `DIFFERENCE_STEPS`.
    """
    middle = (p.a + p.b) / 2
    normal = across(run(placed(start, total), p.a, p.b, 2))
    out = []
    for e in np.diag(DIFFERENCE_STEPS):
        d = placed(start, total + e).to_pixels(middle) - placed(start, total - e).to_pixels(middle)
        out.append((d * normal).sum(1) / (2 * e.max()))
    return np.stack(out, axis=1)


def _camera_covariance(camera: Stillness) -> F64:
    """Of the camera's turn and zoom: the patches' noise, and that it may be a carry sideways in part: the rib, being nearer, then
    moves otherwise than the background."""
    pan = float(np.hypot(camera.turn[0], camera.turn[1]))
    return np.asarray(camera.covariance + camera.carry + np.diag([(TURN_OR_SHIFT * pan) ** 2] * 3 + [1e-14]))
