"""A fit that a few pulled corners or a spoilt photo cannot bend: which corners and views count."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.lens.bundle import Bundle, View, fit
from shared.numerics.arrays import F64

RAYLEIGH_MEDIAN = float(np.sqrt(2 * np.log(2)))
"""Median length of a two-dimensional normal error of unit standard deviation."""
HUBER = 2.0
CUT = 4.5
"""A corner further off than this many standard deviations is left out (a normal one: 1 in 25 000)."""
WORST_VIEW = 3.0
"""A view whose typical residual exceeds the others' by this factor is left out."""
LOST = 0.1
DISTURBED_PX = 0.5
"""A view with more than this share of its corners left out, some by more than this, is left out whole."""
FLOOR_PX = 0.08
FLOOR_CORNER_PX = 0.02
"""No corner finder is better than this: smaller residuals are not taken for the scale of outliers."""


@dataclass(frozen=True)
class RobustFit:
    """A fit, its views with the final weights (0 or 1), and the views left out with the reason.

    used : indices of the views given that count. dropped : index -> reason.
    """

    fit: Bundle
    views: tuple[View, ...]
    used: tuple[int, ...]
    dropped: dict[int, str]


def scale_of(residuals: F64) -> float:
    """Standard deviation of one coordinate from residuals (n, 2), by the median length."""
    return float(np.median(np.linalg.norm(residuals, axis=1))) / RAYLEIGH_MEDIAN


def reweighted(
    views: list[View], size: tuple[int, int], model: str, half_mm: float | None = None, rounds: int = 4
) -> tuple[Bundle, list[View]]:
    """Fit with Huber weights, then with the corners beyond CUT left out."""
    result = fit(views, size, model, half_mm=half_mm)
    for last in [False] * rounds + [True, True]:
        s = max(scale_of(np.concatenate(result.residuals)), FLOOR_CORNER_PX)
        new = []
        for v, e in zip(views, result.residuals, strict=True):
            far = np.linalg.norm(e, axis=1) / s
            weight = (far <= CUT).astype(np.float64) if last else np.minimum(1.0, HUBER / np.maximum(far, 1e-12))
            new.append(View(v.board, v.pixels, weight))
        views = [v if v.weight.sum() >= 6 else View.of(v.board, v.pixels) for v in new]
        result = fit(views, size, model, start=result, half_mm=half_mm)
    return result, views


def robust_fit(views: list[View], size: tuple[int, int], model: str, fewest: int) -> RobustFit:
    """Fit, leaving out views that do not agree with the rest, the worst first.

    Raises numpy.linalg.LinAlgError when what is left does not determine the model.
    """
    used = list(range(len(views)))
    dropped: dict[int, str] = {}
    while True:
        result, weighted = reweighted([View.of(views[k].board, views[k].pixels) for k in used], size, model)
        typical = np.array([_level(e) for e in result.residuals])
        worst = int(np.argmax(typical))
        others = max(float(np.median(np.delete(typical, worst))), FLOOR_PX)
        lost = np.array([1 - float(v.weight.mean()) for v in weighted])
        if len(used) <= fewest:
            return RobustFit(result, tuple(weighted), tuple(used), dropped)
        if typical[worst] > WORST_VIEW * others:
            dropped[used[worst]] = (
                f"its corners lie {typical[worst]:.2f} px off what the other photos say "
                f"(they: "
                f"{others:.2f} px): moved, board bent, or corners disturbed"
            )
            del used[worst]
            continue
        worst = int(np.argmax(lost))
        far = float(np.linalg.norm(result.residuals[worst], axis=1).max())
        if lost[worst] > LOST and far > DISTURBED_PX:
            dropped[used[worst]] = (
                f"{100 * lost[worst]:.0f} % of its corners lie off what the other photos "
                f"say, up to "
                f"{far:.1f} px: something lies on the board, or corners disturbed"
            )
        else:
            return RobustFit(result, tuple(weighted), tuple(used), dropped)
        del used[worst]


def _level(residuals: F64) -> float:
    """Typical residual of a view, as an rms length; by the 80 % quantile, so that a few pulled corners, which
    are left out on their own, do not decide (lengths of normal errors: Rayleigh's distribution)."""
    length = np.linalg.norm(residuals, axis=1)
    return float(np.quantile(length, 0.8)) / float(np.sqrt(np.log(5.0)))
