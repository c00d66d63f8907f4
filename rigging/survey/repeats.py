"""Repeat photos of one line combined into one angle, with a test whether they agree.

Weights by generalised least squares on the full covariance (what photos share does not shrink);
consistency by chi-square and the Birge ratio (R. T. Birge, Phys. Rev. 40, 207, 1932; the ratio used
by CODATA and, as "scale factor", by the Particle Data Group). Photos that contradict each other give a
value whose U spans them all, and which nothing may be concluded from. See docs/decisions.md.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Literal

import numpy as np

from rigging.survey.consistency import SIGNIFICANCE, consistency, inflated, outlying
from rigging.survey.contradiction import Line, Witness, likely_cause, spanning, told
from rigging.survey.least_squares import covariance_matrix, mean_weights
from rigging.survey.same_picture import same_picture
from shared.flags import Flag, FlagCode, Scope, in_doubt
from shared.numerics.arrays import F64
from shared.quantity import Quantity, combine, u_of_difference
from shared.reading import Angle, Reading
from shared.rounding import degrees

Standing = Literal["used", "outlying", "set aside", "refused"]

DOUBTFUL = tuple(code for code in FlagCode if code.scope is Scope.REPEATS)
"""Flags of a combined angle that must not be trusted alone."""


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
        """Whether the value must not be trusted: only flagged photos, or photos that contradict each other."""
        return self.doubt is not None

    @property
    def doubt(self) -> str | None:
        """Why the value must not be trusted, in words; None when it may."""
        return next((f.text for code in DOUBTFUL for f in self.flags if f.code == code), None)


def combine_photos(
    readings: Sequence[Reading],
    line: Line,
    *,
    set_aside: Mapping[str, str] | None = None,
    u_lean_deg: float | None = None,
) -> Combined:
    """One line's angle from all photos of one station; the rest as of `combine_angles`."""
    angles = [(r, getattr(r, line)) for r in readings]
    what = f"{readings[0].station} {line}" if readings else line
    return combine_angles(angles, what, line, set_aside=set_aside, u_lean_deg=u_lean_deg)


def combine_angles(
    angles: Sequence[tuple[Reading, Angle]],
    what: str,
    line: Line | None = None,
    *,
    set_aside: Mapping[str, str] | None = None,
    u_lean_deg: float | None = None,
    say: Callable[[Quantity], str] | None = None,
) -> Combined:
    """One angle from all photos that show it.

    Sound photos weigh in by `mean_weights`. Doubtful ones (a flag of severity DOUBT) are set aside while a sound one exists, and
    shown; when all are flagged they are combined and the result is `doubtful`. The same file twice, or the
    same picture saved anew, counts once.

    Parameters
    ----------
    angles : each photo's reading with its word on the angle. what : names the angle's own sources. line : whether it is a
        rib's chord or spar line, whose other line then helps to explain a contradiction.
    set_aside : photo name (all its ribs) or `Reading.key` -> the user's reason for leaving it out.
    u_lean_deg : standard uncertainty of the rib's lean as the job states it, to size a lean that would explain
        a contradiction.
    say : a value in words; None: degrees.
    """
    uses = _sort_out(angles, set_aside or {})
    only_flagged = not any(u.standing == "used" for u in uses)
    if only_flagged:
        uses = [replace(u, standing="used", why=None) if u.why == _FLAGGED else u for u in uses]
    chosen = [u for u in uses if u.standing == "used"]
    if not chosen:
        reasons = "; ".join(f"{u.photo}: {u.why}" for u in uses) or "no photo of this station"
        return Combined(None, tuple(uses), math.nan, 0, math.nan, math.nan, reason=reasons)
    result = _combine(uses, what, say or partial(degrees, sign=True))
    if any(f.code is FlagCode.PHOTOS_CONTRADICT for f in result.flags):
        result = _explained(result, [r for r, _ in angles], line, u_lean_deg)
    if only_flagged:
        own = [f for u in chosen for f in u.flags]
        texts = "; ".join(dict.fromkeys(f.text for f in own))
        doubt = Flag(FlagCode.ONLY_FLAGGED_PHOTOS, f"every photo is doubtful: {texts}")
        result = replace(result, flags=(doubt, *result.flags, *dict.fromkeys(own)))
    return result


_FLAGGED = "doubtful, and sound photos exist"


def _sort_out(angles: Sequence[tuple[Reading, Angle]], set_aside: Mapping[str, str]) -> list[PhotoUse]:
    """Each photo's standing before any weighing."""
    seen: set[str] = set()
    weighed: list[Reading] = []
    uses: list[PhotoUse] = []
    for reading, angle in angles:
        flags = tuple(dict.fromkeys(reading.flags + angle.flags))
        name, sha = reading.photo.name, reading.photo.sha256
        use = PhotoUse(name, sha, angle.quantity, "used", 0.0, flags=flags)
        if angle.quantity is None or not math.isfinite(angle.quantity.value):
            use = replace(use, quantity=None, standing="refused", why=angle.reason or "no value")
        elif (why := set_aside.get(name) or set_aside.get(reading.key)) is not None:
            use = replace(use, standing="set aside", why=why)
        elif sha in seen:
            use = replace(use, standing="set aside", why="the same file as another photo")
        elif (copy := next((other.photo.name for other in weighed if same_picture(reading, other)), None)) is not None:
            use = replace(use, standing="set aside", why=f"the same picture as {copy}, saved anew: no second witness")
        elif not math.isfinite(angle.quantity.u):
            use = replace(
                use,
                standing="set aside",
                why=_FLAGGED,
                flags=(*flags, FlagCode.UNCERTAINTY_UNKNOWN.flag("its uncertainty is unknown")),
            )
        elif in_doubt(flags):
            use = replace(use, standing="set aside", why=_FLAGGED)
        if use.standing == "used":
            weighed.append(reading)
        seen.add(sha)
        uses.append(use)
    return uses


def _combine(uses: Sequence[PhotoUse], what: str, say: Callable[[Quantity], str]) -> Combined:
    """Weigh the used photos, test them, inflate, and tell every photo's distance."""
    chosen = [u for u in uses if u.standing == "used"]
    quantities = [u.quantity for u in chosen if u.quantity is not None]
    if not all(math.isfinite(q.u) for q in quantities):
        w = np.full(len(chosen), 1.0 / len(chosen))
        return Combined(combine(list(w), quantities), _placed(uses, w, None, set()), math.nan, 0, math.nan, math.nan)
    w = mean_weights(covariance_matrix(quantities))
    mean = combine([float(x) for x in w], quantities)
    chi2, dof, p = consistency(quantities)
    if not dof:
        return Combined(mean, _placed(uses, w, mean, set()), chi2, dof, p, math.nan)
    birge, plain_u = math.sqrt(chi2 / dof), mean.u
    flags: tuple[Flag, ...] = ()
    if p < SIGNIFICANCE:
        mean = spanning(mean, quantities, f"repeats {what} {'+'.join(u.sha256[:8] for u in chosen)}")
        flags = (Flag(FlagCode.PHOTOS_CONTRADICT, told(quantities, [u.photo for u in chosen], p, say)),)
    elif birge > 1:
        mean = inflated(mean, quantities, birge, what, [u.sha256 for u in chosen])
    inflation = mean.u / plain_u if plain_u > 0 else 1.0
    return Combined(mean, _placed(uses, w, mean, outlying(quantities)), chi2, dof, p, birge, inflation, flags)


def _explained(result: Combined, readings: Sequence[Reading], line: Line | None, u_lean_deg: float | None) -> Combined:
    """The same, with the likely cause of the contradiction in its flag."""
    by_photo = {(r.photo.sha256, r.photo.name): r for r in readings}
    witnesses = [
        Witness(by_photo[p.sha256, p.photo], p.quantity)
        for p in result.photos
        if p.weight > 0 and p.quantity is not None
    ]
    cause = likely_cause(witnesses, line, u_lean_deg)
    flags = [
        replace(f, text=f"{f.text}; likely cause: {cause}. Nothing is concluded from it")
        if f.code is FlagCode.PHOTOS_CONTRADICT
        else f
        for f in result.flags
    ]
    return replace(result, flags=tuple(flags))


def _placed(uses: Sequence[PhotoUse], w: F64, mean: Quantity | None, off: set[int]) -> tuple[PhotoUse, ...]:
    """Every photo with its weight and its distance from the combined value."""
    placed: list[PhotoUse] = []
    k = 0
    for use in uses:
        if use.standing == "used":
            use = replace(use, weight=float(w[k]), standing="outlying" if k in off else "used")
            k += 1
        if mean is not None and use.quantity is not None:
            gap, u = use.quantity.value - mean.value, u_of_difference(use.quantity, mean)
            use = replace(use, off_deg=gap, z=gap / u if u > 0 else None)
        placed.append(use)
    return tuple(placed)
