"""A rough lens from straight things in the photos themselves, where there is no board.

Straight strings, bench edges and battens are straight in the picture once the distortion is taken off
(plumb-line method: Brown, Photogrammetric Engineering 37 (1971) 855; Devernay and Faugeras, Machine Vision
and Applications 13 (2001) 14). Lines do not show the focal length: that stays the EXIF guess. Each edge
votes for the one radial term that would straighten it; those that agree then give two. Ribs and cables are
curved, and must not be believed.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares

from calibration.edges import Edge, find_edges
from calibration.exif import ExifLike, PhotoLike
from calibration.lens.calibrate import ident_of
from calibration.lens.match import guess_lens
from calibration.lens.model import Lens, undistort
from calibration.lens.profiles import FORMAT, LensProfile, PhotoUse
from shared.errors import UserError
from shared.numerics.arrays import F64, Bools

LEAST_LENGTH = 0.15
FEWEST_EDGES = 8
UNMODELLED = 0.003
"""What k3, the true focal length and the true principal point add to either term: displacement at the corner,
relative. Found on photos with known lenses."""
KNOTS = 40
FLOOR = 1.5e-4
"""Straight things are straight to about this share of their length: 0.15 mm per metre (common practice, no
source)."""
NOISE_PX = 0.15
MODEL = 0.015
"""How far the votes of straight edges may lie apart, since one term is not all of a lens: displacement at the
corner, relative."""
SEARCH = 0.45
"""Distortions tried, as displacement at the picture's corner relative to its distance."""


@dataclass(frozen=True)
class LineLens:
    """A lens from straight edges.

    lens : sound=False. terms : k1 and k2 for the guessed focal length, with their (2, 2) covariance. edges,
    agreeing : edges that tell, and those of them that agree. exif : of the first photo.
    """

    lens: Lens
    terms: tuple[float, ...]
    covariance: F64
    edges: int
    agreeing: int
    photos: tuple[PhotoUse, ...]
    exif: ExifLike


def lens_from_lines(photos: Iterable[PhotoLike]) -> LineLens:
    """The lens most straight edges in photos of one camera agree on.

    Raises UserError when the photos differ in camera or size, or show too few straight edges away from the
    middle.
    """
    exif: ExifLike | None = None
    size = (0, 0)
    edges: list[tuple[int, Edge]] = []
    uses: list[PhotoUse] = []
    for n, photo in enumerate(photos):
        here = (int(photo.gray.shape[1]), int(photo.gray.shape[0]))
        if here[0] < here[1]:
            raise UserError(photo.name, "is held upright", "give photos held wide, the way the profile is kept")
        if exif is None:
            exif, size = photo.exif, here
        elif here != size or (photo.exif.make, photo.exif.model, photo.exif.focal_mm) != (
            exif.make,
            exif.model,
            exif.focal_mm,
        ):
            raise UserError(
                photo.name,
                "differs from the first photo in camera, focal length, size or the way it was held",
                "give photos of one camera, all held the same way",
            )
        edges += [(n, Edge(_thinned(e.points), e.length, e.strength)) for e in find_edges(photo.gray, LEAST_LENGTH)]
        uses.append(PhotoUse(photo.name, photo.sha256, True))
    if exif is None:
        raise UserError("no photo", "at least one is needed", "give photos with straight strings and edges in them")
    guess = guess_lens(exif, size)
    return _solve(guess, edges, uses, exif)


def rough_profile(found: LineLens) -> LensProfile:
    """A profile, marked as not sound, of a lens from straight edges."""
    lens, exif = found.lens, found.exif
    taken = exif.taken or datetime.date.today().isoformat()
    note = "no board: the focal length is guessed from the EXIF, only the distortion is measured; U stays large"
    return LensProfile(
        format=FORMAT,
        ident=ident_of((exif.make, exif.model, exif.lens_model), exif.focal_mm, lens.size) + "-lines",
        make=exif.make or "",
        model=exif.model or "",
        lens_model=exif.lens_model or "",
        focal_mm=exif.focal_mm,
        focal35_mm=exif.focal35_mm,
        width=lens.size[0],
        height=lens.size[1],
        theta=tuple(lens.theta.tolist()),
        covariance=tuple(tuple(r) for r in ((lens.covariance + lens.covariance.T) / 2).tolist()),
        free="k1, k2",
        date=taken[:10],
        method=f"{found.agreeing} of {found.edges} straight edges in {len(found.photos)} photos",
        board="straight edges",
        rms_px=None,
        held_out_px=None,
        coverage=None,
        photos=found.photos,
        notes=(note,),
        sound=False,
    )


def _thinned(points: F64) -> F64:
    """Means of neighbouring points: as many as a smooth arc needs."""
    parts = np.array_split(points, min(KNOTS, len(points)))
    return np.array([p.mean(axis=0) for p in parts])


def _solve(guess: Lens, edges: list[tuple[int, Edge]], photos: list[PhotoUse], exif: ExifLike) -> LineLens:
    corner = math.hypot(*guess.size) / 2 / float(guess.theta[0])
    votes = [(n, e, v) for n, e in edges if (v := vote(e.points, guess, corner)) is not None]
    remedy = "photograph straight edges near all four sides, or print a board: ribangle calibrate lens"
    if len(votes) < FEWEST_EDGES:
        raise UserError(
            f"{len(votes)} straight edges in {len(photos)} photos",
            f"at least {FEWEST_EDGES} are needed",
            remedy,
        )
    k = np.array([v[0] for _, _, v in votes])
    u = np.hypot(np.array([v[1] for _, _, v in votes]), MODEL / corner**2)
    inside = _consensus(k, u)
    rest = _consensus(k[~inside], u[~inside]) if (~inside).any() else np.zeros(0, dtype=bool)
    if inside.sum() < max(FEWEST_EDGES, 0.35 * len(k)) or (
        np.sum(1 / u[~inside][rest] ** 2) > 0.7 * np.sum(1 / u[inside] ** 2)
    ):
        raise UserError(
            f"{len(k)} edges in {len(photos)} photos", "do not agree on a distortion: many are curved", remedy
        )
    arcs = [e.points for (_, e, _), i in zip(votes, inside, strict=True) if i]
    pair, covariance = _two_terms(arcs, guess, float(np.average(k[inside], weights=1 / u[inside] ** 2)))
    theta = guess.theta.copy()
    theta[4:6] = pair
    lens = Lens(
        guess.ident.replace("guess", "straight edges", 1),
        guess.size,
        theta,
        _covariance(guess, pair, covariance),
        sound=False,
    )
    return LineLens(lens, tuple(pair.tolist()), covariance, len(k), len(arcs), tuple(photos), exif)


def _two_terms(arcs: list[F64], guess: Lens, start: float) -> tuple[F64, F64]:
    """k1 and k2 that straighten all arcs best, with their covariance; the guess's own spread is the prior."""
    u = np.array([_u_bow(p) for p in arcs])
    prior = np.sqrt(np.diag(guess.covariance)[4:6])

    def errors(q: F64) -> F64:
        return np.concatenate([[_bow(p, guess, q[0], q[1]) for p in arcs] / u, q / prior])

    fitted = least_squares(errors, [start, 0.0], x_scale=prior, loss="soft_l1", diff_step=1e-4)
    e = errors(fitted.x)[:-2]
    # both rims of a string are one string: edges count for half; what they leave over widens the rest
    excess = max(1.0, float(np.median(np.abs(e))) / 0.6745) * math.sqrt(2)
    steps = 1e-3 * np.diag(prior)
    slopes = [(errors(fitted.x + d)[:-2] - errors(fitted.x - d)[:-2]) / (2 * d.max() * excess) for d in steps]
    jacobian = np.vstack([np.stack(slopes, axis=1), np.diag(1 / prior)])
    corner = math.hypot(*guess.size) / 2 / float(guess.theta[0])
    more = np.diag([UNMODELLED / corner**2, UNMODELLED / corner**4]) ** 2
    return np.asarray(fitted.x), np.asarray(np.linalg.inv(jacobian.T @ jacobian) + more)


def _covariance(guess: Lens, pair: F64, covariance: F64) -> F64:
    """That of the guess, with k1 and k2 known as the edges tell; with f go k1 by f^2 and k2 by f^4."""
    out = guess.covariance.copy()
    out[4:6, :] = out[:, 4:6] = 0
    out[4:6, 4:6] = covariance
    out[:2, :2] = 0
    f, u_f = float(guess.theta[0]), math.sqrt(guess.covariance[0, 0])
    step = np.zeros(9)
    step[:2], step[4], step[5] = u_f, 2 * pair[0] * u_f / f, 4 * pair[1] * u_f / f
    return np.asarray(out + np.outer(step, step))


def vote(points: F64, guess: Lens, corner: float) -> tuple[float, float] | None:
    """The k1 that straightens one edge, and its u; None for one that tells nothing (through the middle)."""
    f = float(guess.theta[0])
    span = SEARCH / corner**2
    rise = (_bow(points, guess, 0.01 * span) - _bow(points, guess, -0.01 * span)) / (0.02 * span)
    u_bow = _u_bow(points)
    if abs(rise) * span < 8 * u_bow:
        return None
    k = -_bow(points, guess, 0.0) / rise
    for _ in range(8):
        k = float(np.clip(k, -span, span))
        slope = (_bow(points, guess, k + 0.005 * span) - _bow(points, guess, k - 0.005 * span)) / (0.01 * span)
        if slope == 0 or not math.isfinite(slope):
            return None
        step = -_bow(points, guess, k) / slope
        k += step
        if abs(step) < 1e-7 * f:
            break
    if abs(k) > span:
        return None
    return k, u_bow / abs(slope)


def _u_bow(points: F64) -> float:
    """Standard uncertainty of an arc's height: noise of its points, and that straight things are not."""
    length = float(np.linalg.norm(points[-1] - points[0]))
    return math.hypot(3 * NOISE_PX / math.sqrt(KNOTS), FLOOR * length)


def _bow(points: F64, guess: Lens, k1: float, k2: float = 0.0) -> float:
    """Height of the undistorted edge's arc over its chord, pixels, signed."""
    theta = guess.theta.copy()
    theta[4], theta[5] = k1, k2
    p = undistort(points, theta, steps=15) * theta[0]
    chord = p[-1] - p[0]
    along = chord / np.linalg.norm(chord)
    t = (p - p[0]) @ along / np.linalg.norm(chord)
    d = (p - p[0]) @ np.array([-along[1], along[0]])
    return float(-np.polynomial.polynomial.polyfit(t, d, 2)[2] / 4)


def _consensus(k: F64, u: F64) -> Bools:
    """Which votes belong to the value that most weight stands by."""
    wide = np.maximum(u, float(np.median(u)))
    best = np.zeros(len(k), dtype=bool)
    score = -1.0
    for centre in k:
        inside = np.abs(k - centre) <= 2.5 * wide
        total = float(np.sum(1 / wide[inside] ** 2))
        if total > score:
            best, score = inside, total
    for _ in range(5):
        centre = float(np.average(k[best], weights=1 / wide[best] ** 2))
        best = np.abs(k - centre) <= 2.5 * wide
    return best
