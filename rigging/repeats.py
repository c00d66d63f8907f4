"""Repeat photos of one line combined into one angle, with a test whether they agree.

Weights by generalised least squares on the full covariance (what photos share does not shrink);
consistency by chi-square and the Birge ratio (R. T. Birge, Phys. Rev. 40, 207, 1932; the ratio used
by CODATA and, as "scale factor", by the Particle Data Group). See docs/decisions.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from shared.quantity import Quantity
from shared.reading import Flag

Standing = Literal["used", "outlying", "set aside", "refused"]


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
