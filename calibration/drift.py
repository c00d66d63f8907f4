"""Is what a batch was measured against still as calibrated? Age, residuals, focal length, squareness."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

import numpy as np

from calibration.lens.bundle import Bundle, View, fit, fit_pose, reduced
from calibration.lens.flat import apply_homography, homography
from calibration.lens.model import Lens
from calibration.lens.models import FULL, free_columns
from calibration.lens.profiles import LensProfile
from calibration.print.profile import KnownPrint, known_print
from shared.cards import CardKind
from shared.flags import Flag, FlagCode
from shared.job.model import CardPrint
from shared.numerics.arrays import F64
from shared.quantity import Quantity
from shared.reading import Reading, SeenCard
from shared.rounding import degrees

LENS_DAYS = 365.0
"""Age at which a lens profile is doubted (common practice, no source: phones are dropped and repaired)."""
GROWTH = 1.5
"""How much larger residuals must have become, beside being significant: with many photos the test alone finds changes
too small to matter. By judgement; near 1 the test decides alone, at 2 a lens that was smeared a little goes unnamed."""
FALSE_ALARM = 0.01
"""Rate of false alarms of each test for growth: one batch in a hundred that has not changed."""
HIGH_RMS = 4.0
"""Times the profile's own residual that a batch's median may reach. By judgement: taped cards are less flat than a lens
board; halved, ordinary cards would be flagged, doubled, a refocused lens would not."""
LEAST_RMS_PX = 0.4
"""Residual below which none is large, pixels: `vision.assess.gates` lets single cards pass up to 0.3 without a word."""
FOCAL_SHARE = 0.003
"""Least change of the focal length that counts: refocusing from near to far does about as much (common practice, no
source)."""
SQUARE_SHARE = 0.002
"""Least stretch that counts: 0.2 % turns a line by at most 0.057 degrees
(`calibration.print.scale.angle_error_deg`)."""
SIGMAS = 3.0
"""False alarms of each check: 0.27 % of batches, with the whole budget in u (normal errors)."""
FEWEST_FOR_DRIFT = 6
"""Fewest photos: of 6 Kendall's test reaches 1 % with one exchange of neighbours (6 of 720 orders), of 5 only with none
(1 of 120)."""
MOST_CARDS = 40
"""Cards that are solved together, spread over the batch: more tell little more and cost time."""
MATCH = 0.25
"""Part of a square within which a seen corner must lie of a drawn one: beyond half a square it would be another's; half
of that leaves room for a bent card."""


class CardShape(Protocol):
    """Geometry of a kind of card: its printed outline and inner corners, mm."""

    @property
    def square_mm(self) -> float: ...  # noqa: D102
    def outline(self) -> F64: ...  # noqa: D102
    def inner_corners(self) -> F64: ...  # noqa: D102


@dataclass(frozen=True)
class Drift:
    """What the cards of a batch say about the references.

    cards : cards used. focal, u_focal : focal length over that of the profile, and its u (the profile's
    own included). stretch, u_stretch, skew_deg, u_skew_deg : of the prints, as `print_scale`. NaN where the
    batch
    does not tell. rms_px : median residual of the cards. flags : doubts; empty when all is well.
    """

    cards: int
    focal: float
    u_focal: float
    stretch: float
    u_stretch: float
    skew_deg: float
    u_skew_deg: float
    rms_px: float
    flags: tuple[Flag, ...]


def check_batch(
    readings: Sequence[Reading],
    profile: LensProfile,
    shapes: Mapping[CardKind, CardShape],
    earlier: Sequence[Reading] = (),
    prints: KnownPrint | None = None,
) -> Drift:
    """Check a batch of readings against the lens profile they were measured with.

    shapes : kind of card -> its geometry. earlier : readings of former batches by the same lens, to compare
    with. prints : what is known of the cards' print; None: nothing, cards true as drawn.
    """
    mine = [r for r in readings if r.made.lens in (None, profile.ident)]
    views, kinds = _views(mine, profile, shapes)
    flags = list(age_flags(mine, profile)) + list(residual_flags(mine, profile, earlier))
    focal = stretch = skew = (math.nan, math.nan)
    if views:
        focal = _focal(views, prints or known_print(CardPrint(), Path()))
        stretch, skew = _square(views, kinds)
    if abs(focal[0] - 1) > max(SIGMAS * focal[1], FOCAL_SHARE):
        flags.append(
            FlagCode.LENS_FOCAL_MOVED.flag(
                f"the cards show a focal length {100 * (focal[0] - 1):+.1f} % from the lens profile's "
                f"(u {100 * focal[1]:.1f} %)"
            )
        )
    if _beyond(stretch, (prints.stretch, prints.u_stretch) if prints else (0.0, 0.0), SQUARE_SHARE) or _beyond(
        skew, (prints.skew_deg, prints.u_skew_deg) if prints else (0.0, 0.0), math.degrees(SQUARE_SHARE)
    ):
        flags.append(
            FlagCode.CARDS_NOT_SQUARE.flag(
                f"the cards look stretched by {100 * stretch[0]:+.2f} % (u {100 * stretch[1]:.2f} %) and "
                f"{skew[0]:+.2f} deg (u {skew[1]:.2f}) off square (damp or badly printed)"
            )
        )
    rms = [c.rms_px for r in mine for c in _cards(r)]
    return Drift(len(views), *focal, *stretch, *skew, float(np.median(rms)) if rms else math.nan, tuple(flags))


def _beyond(found: tuple[float, float], known: tuple[float, float], least: float) -> bool:
    """Whether a value and its u lie off a known one beyond what both allow; NaN never does."""
    return abs(found[0] - known[0]) > max(SIGMAS * math.hypot(found[1], known[1]), least)


def age_flags(readings: Sequence[Reading], profile: LensProfile, days: float = LENS_DAYS) -> tuple[Flag, ...]:
    """A lens profile older than it should be when the photos were taken.

    readings : of one batch, whose photos' dates count. profile : of their lens. days : age beyond which it is
    flagged.
    """
    taken = [r.photo.taken[:10] for r in readings if r.photo.taken]
    if not taken:
        return ()
    try:
        age = (datetime.date.fromisoformat(max(taken)) - datetime.date.fromisoformat(profile.date)).days
    except ValueError:
        return ()
    if age > days:
        return (
            FlagCode.LENS_PROFILE_OLD.flag(
                f"the lens profile of {profile.date} was {age} days old when the photos were taken"
            ),
        )
    return ()


def residual_flags(readings: Sequence[Reading], profile: LensProfile, earlier: Sequence[Reading] = ()) -> list[Flag]:
    """Card residuals that are large, grow through the batch, or have grown since former ones.

    Growth within a batch: Kendall's rank correlation with the time the photos were taken; against former
    batches: the Mann-Whitney test; both at 1 %, and half as large again at least.

    readings : of one batch. profile : of their lens, whose own residual is the measure of "large". earlier : readings
    of former batches with the same lens; empty: the batch is held against itself only.
    """
    timed = sorted(
        (r.photo.taken or "", k, float(np.median([c.rms_px for c in _cards(r)])))
        for k, r in enumerate(readings)
        if _cards(r)
    )
    rms = np.array([t[2] for t in timed])
    if len(rms) == 0:
        return []
    out = []
    limit = max(LEAST_RMS_PX, HIGH_RMS * (profile.rms_px or 0.0))
    if float(np.median(rms)) > limit:
        out.append(
            FlagCode.CARD_RESIDUALS_LARGE.flag(
                f"the cards' corners fit to {np.median(rms):.2f} px only, {limit:.2f} px is usual"
            )
        )
    if len(rms) >= FEWEST_FOR_DRIFT and all(t[0] for t in timed):
        third = len(rms) // 3
        if np.median(rms[-third:]) > GROWTH * np.median(rms[:third]) and _trend(rms) < FALSE_ALARM:
            out.append(
                FlagCode.CARD_RESIDUALS_GROW.flag(
                    f"the cards' residuals grew from {np.median(rms[:third]):.2f} to "
                    f"{np.median(rms[-third:]):.2f} px through the batch (a smeared lens, or focus that wandered)"
                )
            )
    before = np.array([float(np.median([c.rms_px for c in _cards(r)])) for r in earlier if _cards(r)])
    enough = len(before) >= FEWEST_FOR_DRIFT and len(rms) >= 3
    if enough and np.median(rms) > GROWTH * np.median(before) and _above(rms, before) < FALSE_ALARM:
        out.append(
            FlagCode.CARD_RESIDUALS_GROWN.flag(
                f"the cards' residuals are {np.median(rms):.2f} px, they were {np.median(before):.2f} px"
            )
        )
    return out


def _trend(values: F64) -> float:
    """Chance of values that grow along their order as much as these (Kendall's rank correlation)."""
    from scipy import stats  # a second to load, and seldom needed

    return float(stats.kendalltau(np.arange(len(values)), values, alternative="greater").pvalue)


def _above(values: F64, before: F64) -> float:
    """Chance of values that lie above former ones as much as these (Mann-Whitney)."""
    from scipy import stats

    return float(stats.mannwhitneyu(values, before, alternative="greater").pvalue)


def square_flags(angles: Mapping[str, Quantity]) -> tuple[Flag, ...]:
    """References that should measure 90 deg (name -> angle, degrees) and no longer do.

    angles : name of a reference -> its measured angle with u, degrees.
    """
    return tuple(
        FlagCode.REFERENCE_NOT_SQUARE.flag(f"{name} measures {degrees(q)}, not 90")
        for name, q in angles.items()
        if abs(q.value - 90) > q.U
    )


def _cards(r: Reading) -> tuple[SeenCard, ...]:
    return tuple(c for c in r.evidence.cards if math.isfinite(c.rms_px)) if r.evidence else ()


def _views(
    readings: Sequence[Reading],
    profile: LensProfile,
    shapes: Mapping[CardKind, CardShape],
) -> tuple[list[tuple[View, Lens]], list[CardKind]]:
    """Cards as views of flat boards, each with the lens of its photo; the kind of each."""
    views: list[tuple[View, Lens]] = []
    kinds: list[CardKind] = []
    for r in readings:
        shown = (r.photo.width, r.photo.height)
        if shown == profile.size:
            lens = profile.lens
        elif shown[::-1] == profile.size:
            lens = profile.lens.turned(6)
        else:
            continue
        for c in _cards(r):
            view = _view(c, shapes[c.kind]) if c.kind in shapes else None
            if view is not None:
                views.append((view, lens))
                kinds.append(c.kind)
    chosen = np.unique(np.linspace(0, len(views) - 1, MOST_CARDS).round().astype(int)) if views else ()
    return [views[k] for k in chosen], [kinds[k] for k in chosen]


def _view(card: SeenCard, shape: CardShape) -> View | None:
    """Which corner is which: the outline's homography tells, to a fraction of a square."""
    h = homography(shape.outline(), np.array(card.outline, np.float64))
    drawn = shape.inner_corners()
    expected, seen = apply_homography(h, drawn), np.array(card.corners, np.float64).reshape(-1, 2)
    if len(seen) < 8:
        return None
    gap = np.linalg.norm(expected[:, None] - seen[None], axis=2)
    step = float(np.linalg.norm(expected[1] - expected[0]))
    nearest = np.argmin(gap, axis=1)
    ok = gap[np.arange(len(drawn)), nearest] < MATCH * step
    if ok.sum() < 8 or len(set(nearest[ok].tolist())) != ok.sum():
        return None
    centre = shape.outline().mean(axis=0)
    return View.of(drawn[ok] - centre, seen[nearest[ok]])


def _poses(views: list[View], theta: F64) -> Bundle:
    poses = [fit_pose(v, theta) for v in views]
    return Bundle(
        theta.copy(),
        np.zeros(5),
        np.zeros((9, 9)),
        np.zeros((5, 5)),
        tuple(p[0] for p in poses),
        tuple(p[1] for p in poses),
        (),
        1.0,
        1.0,
    )


def _groups(views: list[tuple[View, Lens]]) -> list[tuple[list[View], Lens]]:
    """Views by lens: those of photos held upright have a turned one."""
    sizes = {lens.size for _, lens in views}
    return [
        ([v for v, lens in views if lens.size == s], next(lens for _, lens in views if lens.size == s))
        for s in sorted(sizes)
    ]


def _focal(views: list[tuple[View, Lens]], prints: KnownPrint) -> tuple[float, float]:
    """Focal length over the profile's, all else as in the profile; u with the whole budget.

    With the other parameters o held at the profile's, their errors move the focal length found by
    -N_fo e_o / N_ff (N: normal matrix), and it is compared with the profile's own, which errs along with them.
    """
    found, shared = [], 0.0
    print_ = np.array([[1.0, math.radians(prints.skew_deg)], [0.0, 1.0 + prints.stretch]])
    for bare, lens in _groups(views):
        some = [replace(v, board=v.board @ print_.T) for v in bare]
        half = max(float(np.abs(v.board).max()) for v in some)
        columns = free_columns(FULL)
        try:
            result = fit(some, lens.size, FULL, start=_poses(some, lens.theta), columns=columns[:, :1])
            poses = list(zip(result.rotations, result.shifts, strict=True))
            parts, _ = reduced(some, result.theta, poses, columns, half, np.eye(5)[:, :2])
        except np.linalg.LinAlgError:
            continue
        normal = np.sum(parts, axis=0)
        by = normal[0] / normal[0, 0]
        back = np.linalg.pinv(columns)
        u_print = np.array([half * prints.u_stretch, half * math.radians(prints.u_skew_deg)])
        m = columns.shape[1]
        systematic = by[:m] @ back @ lens.covariance @ back.T @ by[:m] + float(np.sum((by[m:] * u_print) ** 2))
        shared = max(shared, math.sqrt(max(float(systematic), 0.0)) / lens.theta[0])
        found.append((float(result.theta[0] / lens.theta[0]), float(np.sqrt(result.covariance[0, 0]) / lens.theta[0])))
    return _mean(found, shared)


def _square(views: list[tuple[View, Lens]], kinds: list[CardKind]) -> tuple[tuple[float, float], tuple[float, float]]:
    """Stretch (relative) and skew (degrees) of the prints, all kinds together, the lens as in the profile, its u in u."""
    stretch, skew, shared = [], [], np.zeros(2)
    for kind in sorted(set(kinds)):
        for some, lens in _groups([v for v, k in zip(views, kinds, strict=True) if k == kind]):
            half = max(float(np.abs(v.board).max()) for v in some)
            shapes = np.eye(5)[:, :2]
            try:
                result = fit(
                    some,
                    lens.size,
                    FULL,
                    start=_poses(some, lens.theta),
                    half_mm=half,
                    columns=np.zeros((9, 0)),
                    shapes=shapes,
                )
                poses = list(zip(result.rotations, result.shifts, strict=True))
                parts, _ = reduced(some, lens.theta, poses, np.eye(9), half, shapes)
                normal = np.sum(parts, axis=0)
                by = np.linalg.solve(normal[9:, 9:], normal[9:, :9])
            except np.linalg.LinAlgError:
                continue
            u = np.sqrt(np.diag(result.shape_covariance))
            shared = np.maximum(shared, np.sqrt(np.maximum(np.diag(by @ lens.covariance @ by.T), 0)) / half)
            stretch.append((float(result.shape[0] / half), float(u[0] / half)))
            skew.append((math.degrees(result.shape[1] / half), math.degrees(u[1] / half)))
    return _mean(stretch, float(shared[0])), _mean(skew, math.degrees(shared[1]))


def _mean(found: list[tuple[float, float]], shared: float) -> tuple[float, float]:
    """Weighted mean and its u, with a part that all share."""
    good = [(v, u) for v, u in found if math.isfinite(u) and u > 0]
    if not good:
        return math.nan, math.nan
    w = np.array([1 / u**2 for _, u in good])
    return float(np.average([v for v, _ in good], weights=w)), math.hypot(1 / math.sqrt(float(w.sum())), shared)
