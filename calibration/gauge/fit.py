"""Fits zero error, scale error and hysteresis of an inclinometer to its calibration log.

Reading i on spot s: shown = zero + (1 + scale) * f(angle_s) + approach * hysteresis / 2 + noise, where f is
the angle itself, or for the gauge turned end for end its mirror image (-angle near level, 180 - angle near
plumb). Known angles enter as observations with their own u; unknown ones are free, so a reversal pair
alone gives the zero error as half the sum of its two readings. Weighted non-linear
least squares (GUM H.3 generalised).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares
from scipy.special import stdtrit

from calibration.gauge.log import Log, Observation
from calibration.gauge.profile import GaugeProfile
from shared.errors import UserError
from shared.flags import Flag, FlagCode
from shared.job.model import Sense
from shared.numerics.arrays import F64, I64, Bools

U_SCALE_UNMEASURED = 0.001
"""Scale error allowed where no known angles tell: 0.1 deg in 90, as shop gauges claim (common practice)."""
PRIOR_REPEAT = 0.5
"""Repeatability taken before any data, in display steps, worth PRIOR_DOF degrees of freedom (a judgement)."""
PRIOR_DOF = 2.0
MIN_SPAN = 5.0
"""Known angles must spread this far, degrees, before they tell the scale error."""


@dataclass(frozen=True)
class GaugeFit:
    """The profile and how well it fits.

    angle : (n,) fitted true angle as the gauge faced it, degrees. residual : (n,) shown - fitted. row : (n,)
    lines of the log. approach : (n,). u_reading : standard uncertainty of one reading, resolution and all.
    """

    profile: GaugeProfile
    angle: F64
    residual: F64
    row: I64
    approach: I64
    u_reading: float
    flags: tuple[Flag, ...]


def fit_gauge(log: Log, resolution_deg: float, ident: str, made: str, sense: Sense = "nose-up",
              valid_days: float = 90.0) -> GaugeFit:  # fmt: skip
    """Fit a calibration log. Raises UserError where neither a reversal nor a known angle tells the zero."""
    seen = log.observations
    spot = np.array([o.spot for o in seen])
    facing = np.array([o.facing for o in seen])
    approach = np.array([o.approach for o in seen])
    shown = _signed(log, sense)
    plumb = np.array([_is_plumb(shown[(spot == s) & (facing == 1)]) for s in range(len(log.spots))])
    known = np.array([s.known_deg if s.known_deg is not None else math.nan for s in log.spots])
    u_known = np.array([s.u_deg for s in log.spots])
    told = _told(known, plumb, spot, facing, approach)
    if "zero" not in told:
        raise UserError("calibration log", "neither a reversal pair nor a known angle in it",
                        "read one spot, turn the gauge end for end, read it again")  # fmt: skip
    start = np.array([known[s] if np.isfinite(known[s]) else float(np.median(
        np.where(facing == 1, shown, np.where(plumb[spot], 180 - shown, -shown))[spot == s]))
        for s in range(len(log.spots))])  # fmt: skip
    free = np.array([True, True, "hysteresis" in told])
    guess = math.inf if "scale" in told else U_SCALE_UNMEASURED
    has = np.isfinite(known)
    cell, systematic, random = _noise(seen, resolution_deg, PRIOR_REPEAT * resolution_deg)

    def model(p: F64) -> F64:
        three = np.zeros(3)
        three[free] = p[: free.sum()]
        theta = p[free.sum() :][spot]
        seen_as = np.where(facing == 1, theta, np.where(plumb[spot], 180.0 - theta, -theta))
        return np.asarray(three[0] + (1 + three[1]) * seen_as + approach * three[2] / 2)

    def solve(weights: F64) -> tuple[F64, F64]:
        def errors(p: F64) -> F64:
            prior = (p[free.sum() :][has] - known[has]) / np.maximum(u_known[has], 1e-6)
            return np.concatenate([weights @ (model(p) - shown), prior, [p[1] / guess]])

        found = least_squares(errors, np.concatenate([np.zeros(free.sum()), start]), x_scale="jac",
                              xtol=1e-14, ftol=1e-14, gtol=1e-14)  # fmt: skip
        return np.asarray(found.x), np.asarray(np.linalg.inv(found.jac.T @ found.jac))

    p, _ = solve(_whiten(cell, systematic, random))
    dof = len(shown) + int(has.sum()) - len(p) + ("scale" not in told)
    repeat, dof_all = _repeatability(shown - model(p), dof, resolution_deg)
    cell, systematic, random = _noise(seen, resolution_deg, repeat)
    # few degrees of freedom: the readings' part of u grows until 2u is Student's 95 % (GUM G.3.2)
    widen = max(float(stdtrit(dof_all, 0.975)) / 2.0, 1.0)
    p, covariance = solve(_whiten(cell, systematic, random) / widen)
    k = int(free.sum())
    three, full = np.zeros(3), np.zeros((3, 3))
    three[free] = p[:k]
    where = np.flatnonzero(free)
    full[np.ix_(where, where)] = covariance[:k, :k]
    full = (full + full.T) / 2
    residual = shown - model(p)
    u_reading = math.sqrt(systematic + random)
    theta = p[k:][spot]
    profile = GaugeProfile(
        ident=ident, made=made, zero_deg=float(three[0]), scale=float(three[1]),
        hysteresis_deg=float(three[2]),
        covariance=tuple((float(a), float(b), float(c)) for a, b, c in full),
        measured=told, repeatability_deg=repeat * widen, resolution_deg=resolution_deg, sense=sense,
        valid_days=valid_days, n=len(shown), rms_deg=float(np.sqrt(np.mean(residual**2))),
        method=_method(log, facing),
    )  # fmt: skip
    return GaugeFit(
        profile, np.where(facing == 1, theta, np.where(plumb[spot], 180.0 - theta, -theta)), residual,
        np.array([o.row for o in seen]), approach, u_reading,
        _doubts(residual, u_reading, dof, log, told, resolution_deg),
    )  # fmt: skip


def _is_plumb(shown: F64) -> bool:
    """Whether a spot is nearer to plumb than to level, by its unturned readings."""
    return len(shown) > 0 and 45 < abs(float(np.median(shown))) < 135


def _signed(log: Log, sense: Sense) -> F64:
    """Readings with their sign: a gauge that shows none is taken to show the turned angle's size."""
    shown = np.array([o.shown_deg for o in log.observations])
    if sense not in ("unsigned", "0-90"):
        return np.where((shown > 135) & (sense == "0-180"), shown - 180, shown)
    turned = np.array([o.facing < 0 for o in log.observations])
    return np.where(turned & (shown < 45), -shown, np.where(turned & (sense == "0-90"), 180 - shown, shown))


def _told(known: F64, plumb: Bools, spot: I64, facing: I64,
          approach: I64) -> tuple[str, ...]:  # fmt: skip
    """Which of zero, scale and hysteresis the log can tell."""
    spots = range(len(known))
    both = [s for s in spots if {1, -1} <= set(facing[spot == s].tolist())]
    level = [s for s in both if not plumb[s]]
    told = []
    used = known[np.isfinite(known)]
    if level or len(used):
        told.append("zero")
    anchors = [*used.tolist(), *([0.0] if level else [])]
    # a plumb pair sums to 180 whatever the spot: it tells zero + 90 * scale
    anchors += [90.0] if any(plumb[s] for s in both) and anchors else []
    if anchors and max(anchors) - min(anchors) >= MIN_SPAN:
        told.append("scale")
    ways = [(spot == s) & (facing == f) for s in spots for f in (1, -1)]
    if any({1, -1} <= set(approach[way].tolist()) for way in ways):
        told.append("hysteresis")
    return tuple(told)


def _noise(seen: tuple[Observation, ...], resolution: float, repeat: float) -> tuple[I64, float, float]:
    """Cell of each reading (same spot, facing, approach); a reading's variance shared in a cell, and its own.

    Rounding to a step r errs by r^2 / 12 (GUM F.2.2.1). Repeats in one place share the part that noise s does
    not dither away, exp(-(2 pi s / r)^2) of it (first harmonic of the rounding error under Gaussian noise).
    """
    keys: dict[tuple[int, int, int], int] = {}
    cell = np.array([keys.setdefault((o.spot, o.facing, o.approach), len(keys)) for o in seen])
    quantum = resolution**2 / 12
    stays = quantum * math.exp(-((2 * math.pi * repeat / resolution) ** 2)) if resolution > 0 else 0.0
    return cell, stays, quantum - stays + repeat**2


def _whiten(cell: I64, systematic: float, random: float) -> F64:
    """(n, n) matrix W with W^T W the inverse covariance of the readings."""
    covariance = systematic * (cell[:, None] == cell[None, :]) + random * np.eye(len(cell))
    return np.asarray(np.linalg.inv(np.linalg.cholesky(covariance)))


def _repeatability(residual: F64, dof: int, resolution: float) -> tuple[float, float]:
    """Repeatability (the residuals' scatter less the resolution's) and its degrees of freedom.

    A prior keeps few readings that happen to agree from looking exact; it does not make a scatter that is there
    smaller, nor better known: 2u covers 95 % from three pairs on at any noise (`benchmarks/gauge_zero.py`).
    """
    prior = (PRIOR_REPEAT * resolution) ** 2 + resolution**2 / 12
    squares = float(residual @ residual)
    pooled = (PRIOR_DOF * prior + squares) / (PRIOR_DOF + max(dof, 0))
    variance = max(pooled, squares / dof) if dof > 0 else pooled
    return math.sqrt(max(variance - resolution**2 / 12, (0.1 * resolution) ** 2)), max(float(dof), PRIOR_DOF)


def _method(log: Log, facing: I64) -> str:
    pairs = int((facing == -1).sum())
    known = sum(s.known_deg is not None for s in log.spots)
    where = f"{len(log.observations)} readings on {len(log.spots)} spots"
    return f"{where}, {pairs} end for end, {known} known angles"


def _doubts(residual: F64, u: float, dof: int, log: Log, told: tuple[str, ...], resolution: float) -> tuple[Flag, ...]:
    flags = []
    usual = 1.4826 * float(np.median(np.abs(residual))) * math.sqrt(len(residual) / max(dof, 1))
    limit = max(4 * min(usual, u), 2.5 * resolution)
    for o, e in zip(log.observations, residual, strict=True):
        if abs(e) > limit:
            text = f"row {o.row}: {o.shown_deg:g} is {e:+.2f} deg off the fit"
            flags.append(FlagCode.GAUGE_SLIP.flag(text))
    steps = np.array([o.shown_deg for o in log.observations]) / resolution
    if np.abs(steps - np.round(steps)).max() > 0.01:
        text = f"readings are finer than the stated resolution of {resolution:g} deg"
        flags.append(FlagCode.GAUGE_RESOLUTION.flag(text))
    if "scale" not in told:
        text = ("no known angles (or level and plumb reversals): the scale error is taken as 0 with u "
                f"{U_SCALE_UNMEASURED * 90:.2f} deg at 90")  # fmt: skip
        flags.append(FlagCode.GAUGE_SCALE_UNKNOWN.flag(text))
    return tuple(flags)
