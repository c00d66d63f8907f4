"""Repeat photos of one line combined into one angle, with a test whether they agree.

Weights by generalised least squares on the full covariance (what photos share does not shrink);
consistency by chi-square and the Birge ratio (R. T. Birge, Phys. Rev. 40, 207, 1932; the ratio used
by CODATA and, as "scale factor", by the Particle Data Group). See docs/decisions.md.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from rigging.survey.consistency import SIGNIFICANCE, consistency, inflated, outlying
from rigging.survey.least_squares import F64, covariance_matrix, mean_weights
from shared.quantity import Quantity, combine
from shared.reading import Angle, Flag, Reading
from shared.rounding import number

Standing = Literal["used", "outlying", "set aside", "refused"]

ONLY_FLAGGED = "only-flagged-photos"
DISAGREE = "photos-disagree"


@dataclass(frozen=True)
class PhotoUse:
    """What became of one photo's angle.

    standing : "used"; "outlying" (used, but far from the others); "set aside" (flagged while sound
        photos exist, or by the user); "refused" (no value).
    weight : its share in the combined value, 0 to 1. off_deg, z : its distance from the combined
        value, degrees and in standard uncertainties of that difference (None without a value).
    why : reason of a refusal or of setting aside.
    """

    photo: str
    sha256: str
    quantity: Quantity | None
    standing: Standing
    weight: float
    off_deg: float | None = None
    z: float | None = None
    why: str | None = None
    flags: tuple[Flag, ...] = ()


@dataclass(frozen=True)
class Combined:
    """One line's angle from all its photos.

    quantity : degrees, inflation included; None when no photo gave a value (then `reason`).
    chi2, dof, p, birge : consistency of the photos used (NaN, 0, NaN, NaN with fewer than two).
    inflation : factor put on u because the photos disagree (1.0: none).
    """

    quantity: Quantity | None
    photos: tuple[PhotoUse, ...]
    chi2: float
    dof: int
    p: float
    birge: float
    inflation: float = 1.0
    flags: tuple[Flag, ...] = ()
    reason: str | None = None

    @property
    def used(self) -> int:
        """How many photos weigh in."""
        return sum(1 for p in self.photos if p.weight > 0)

    @property
    def doubtful(self) -> bool:
        """Whether only flagged photos were there, so that the value must not be trusted alone."""
        return any(f.code == ONLY_FLAGGED for f in self.flags)


def combine_photos(
    readings: Sequence[Reading],
    line: Literal["chord", "spar"],
    *,
    set_aside: Mapping[str, str] | None = None,
    benign: Collection[str] = (),
) -> Combined:
    """One line's angle from all photos of one station.

    Sound photos weigh in by `mean_weights`. Flagged ones are set aside while a sound one exists, and
    shown; when all are flagged they are combined and the result is `doubtful`. The same file twice
    counts once.

    Parameters
    ----------
    set_aside : photo name or SHA-256 -> the user's reason for leaving it out.
    benign : flag codes whose doubt is already in the budget: they do not set a photo aside.
    """
    uses = _sort_out([(r, getattr(r, line)) for r in readings], set_aside or {}, benign)
    only_flagged = not any(u.standing == "used" for u in uses)
    if only_flagged:
        uses = [replace(u, standing="used", why=None) if u.why == _FLAGGED else u for u in uses]
    chosen = [u for u in uses if u.standing == "used"]
    if not chosen:
        reasons = "; ".join(f"{u.photo}: {u.why}" for u in uses) or "no photo of this station"
        return Combined(None, tuple(uses), math.nan, 0, math.nan, math.nan, reason=reasons)
    result = _combine(uses, f"{readings[0].station} {line}")
    if only_flagged:
        own = [f for u in chosen for f in u.flags]
        texts = "; ".join(dict.fromkeys(f.text for f in own))
        doubt = Flag(ONLY_FLAGGED, f"every photo is doubtful: {texts}")
        result = replace(result, flags=(doubt, *result.flags, *dict.fromkeys(own)))
    return result


_FLAGGED = "doubtful, and sound photos exist"


def _sort_out(
    angles: Sequence[tuple[Reading, Angle]], set_aside: Mapping[str, str], benign: Collection[str]
) -> list[PhotoUse]:
    """Each photo's standing before any weighing."""
    seen: set[str] = set()
    uses: list[PhotoUse] = []
    for reading, angle in angles:
        flags = tuple(dict.fromkeys(reading.flags + angle.flags))
        name, sha = reading.photo.name, reading.photo.sha256
        doubts = [f for f in flags if f.code not in benign]
        use = PhotoUse(name, sha, angle.quantity, "used", 0.0, flags=flags)
        if angle.quantity is None or not math.isfinite(angle.quantity.value):
            use = replace(use, quantity=None, standing="refused", why=angle.reason or "no value")
        elif name in set_aside or sha in set_aside:
            use = replace(use, standing="set aside", why=set_aside.get(name) or set_aside[sha])
        elif sha in seen:
            use = replace(use, standing="set aside", why="the same file as another photo")
        elif not math.isfinite(angle.quantity.u):
            use = replace(
                use,
                standing="set aside",
                why=_FLAGGED,
                flags=(*flags, Flag("uncertainty-unknown", "its uncertainty is unknown")),
            )
        elif doubts:
            use = replace(use, standing="set aside", why=_FLAGGED)
        seen.add(sha)
        uses.append(use)
    return uses


def _combine(uses: Sequence[PhotoUse], what: str) -> Combined:
    """Weigh the used photos, test them, inflate, and tell every photo's distance."""
    chosen = [u for u in uses if u.standing == "used"]
    quantities = [u.quantity for u in chosen if u.quantity is not None]
    if not all(math.isfinite(q.u) for q in quantities):
        w = np.full(len(chosen), 1.0 / len(chosen))
        return Combined(combine(list(w), quantities), _placed(uses, w, None, set()), math.nan, 0, math.nan, math.nan)
    cov = covariance_matrix(quantities)
    w = mean_weights(cov)
    mean = combine([float(x) for x in w], quantities)
    chi2, dof, p = consistency(quantities)
    birge = math.sqrt(chi2 / dof) if dof else math.nan
    flags: tuple[Flag, ...] = ()
    inflation = 1.0
    off = outlying(quantities) if dof else set[int]()
    if dof and birge > 1:
        mean, inflation = inflated(mean, quantities, birge, what, [u.sha256 for u in chosen])
    if dof and p < SIGNIFICANCE:
        flags = (_disagreement(chosen, chi2, dof, p, inflation, off),)
    return Combined(mean, _placed(uses, w, mean, off), chi2, dof, p, birge, inflation, flags)


def _disagreement(chosen: Sequence[PhotoUse], chi2: float, dof: int, p: float, inflation: float, off: set[int]) -> Flag:
    who = ", ".join(chosen[i].photo for i in sorted(off))
    values = [u.quantity.value for u in chosen if u.quantity is not None]
    text = (
        f"the {len(chosen)} photos disagree by up to {number(max(values) - min(values), 3)}° "
        f"(chi-square {chi2:.1f} on {dof}, p {p:.2g}); U is widened {inflation:.1f} times"
    )
    return Flag(DISAGREE, text + (f"; standing off: {who}" if who else ""))


def _placed(uses: Sequence[PhotoUse], w: F64, mean: Quantity | None, off: set[int]) -> tuple[PhotoUse, ...]:
    """Every photo with its weight and its distance from the combined value."""
    placed: list[PhotoUse] = []
    k = 0
    for use in uses:
        if use.standing == "used":
            use = replace(use, weight=float(w[k]), standing="outlying" if k in off else "used")
            k += 1
        if mean is not None and use.quantity is not None:
            gap = use.quantity - mean
            z = gap.value / gap.u if gap.u > 0 else None
            use = replace(use, off_deg=gap.value, z=z)
        placed.append(use)
    return tuple(placed)
