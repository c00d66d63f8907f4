"""Which lens model the photos bear: by the error on photos left out of the fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.lens.bundle import Bundle, View, fit, fit_pose
from calibration.lens.models import FULL, MODELS
from shared.numerics.arrays import F64

FOLDS = 10
RICHER, SIMPLER = 1.01, 1.05
"""FULL gives way to another model whose held-out error is lower by more than two standard errors of the
paired differences (one photo alone in a corner never decides), and by more than 1 % for a richer one (FULL
does not do), 5 % for a simpler one (FULL fits the noise of too few photos). On a tie FULL stays: a term left
out is a term claimed to be nought exactly, with no uncertainty."""


@dataclass(frozen=True)
class Choice:
    """The model taken, and the held-out error of each, pixels (rms length over corners)."""

    model: str
    held_out: dict[str, float]


def choose_model(
    views: list[View],
    groups: list[int],
    size: tuple[int, int],
    full: Bundle,
    models: tuple[str, ...] = tuple(MODELS),
    half_mm: float | None = None,
) -> Choice:
    """Cross-validate the models over photos.

    groups : photo of each view; a photo is left out as a whole. full : a fit of all views, to start from.
    In a left-out view only the pose is fitted, so the error shows what the lens model gets wrong.
    """
    photos = sorted(set(groups))
    folds = [photos[k :: min(FOLDS, len(photos))] for k in range(min(FOLDS, len(photos)))]
    squares: dict[str, F64] = {}
    counts = np.array([float(v.weight.sum()) for v in views])
    for model in models:
        errors = np.full(len(views), np.nan)
        for fold in folds:
            keep = [k for k, g in enumerate(groups) if g not in fold]
            start = Bundle(
                full.theta,
                full.shape,
                full.covariance,
                full.shape_covariance,
                tuple(full.rotations[k] for k in keep),
                tuple(full.shifts[k] for k in keep),
                (),
                full.sigma,
                1.0,
            )
            try:
                lens = fit([views[k] for k in keep], size, model, start=start, half_mm=half_mm)
            except np.linalg.LinAlgError:
                break
            for k in range(len(views)):
                if groups[k] in fold:
                    e = fit_pose(views[k], lens.theta, lens.shape, half_mm)[2]
                    errors[k] = float(np.sum(views[k].weight[:, None] * e * e))
        if np.all(np.isfinite(errors)):
            squares[model] = errors
    if not squares:
        raise np.linalg.LinAlgError("no model is determined without each of the photos in turn")
    held = {m: float(np.sqrt(e.sum() / counts.sum())) for m, e in squares.items()}
    best = min(held, key=lambda m: held[m])
    worth = SIMPLER if list(MODELS).index(best) < list(MODELS).index(FULL) else RICHER
    if FULL in held and held[FULL] > worth * held[best]:
        gap = (squares[FULL] - squares[best]) / counts.mean()
        error = float(np.std(gap, ddof=1) / np.sqrt(len(gap))) if len(gap) > 1 else 0.0
        if float(gap.mean()) <= 2 * error:
            best = FULL
    elif FULL in held:
        best = FULL
    return Choice(best, held)
