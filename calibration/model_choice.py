"""Which lens model the photos bear: by the error on photos left out of the fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.bundle import Bundle, View, fit, fit_pose
from calibration.models import MODELS

FOLDS = 10
WORTH = 1.01
"""A simpler model is taken when its held-out error exceeds the best by less than 1 %, and by less than one
standard error of the paired differences (the one-standard-error rule: Breiman et al., 1984)."""


@dataclass(frozen=True)
class Choice:
    """The model taken, and the held-out error of each, pixels (rms length over corners)."""

    model: str
    held_out: dict[str, float]


def choose_model(views: list[View], groups: list[int], size: tuple[int, int], full: Bundle,
                 models: tuple[str, ...] = tuple(MODELS), half_mm: float | None = None) -> Choice:
    """Cross-validate the models over photos.

    groups : photo of each view; a photo is left out as a whole. full : a fit of all views, to start from.
    In a left-out view only the pose is fitted, so the error shows what the lens model gets wrong.
    """
    photos = sorted(set(groups))
    folds = [photos[k::min(FOLDS, len(photos))] for k in range(min(FOLDS, len(photos)))]
    squares: dict[str, np.ndarray] = {}
    counts = np.array([float(v.weight.sum()) for v in views])
    for model in models:
        errors = np.full(len(views), np.nan)
        for fold in folds:
            keep = [k for k, g in enumerate(groups) if g not in fold]
            start = Bundle(full.theta, full.shape, full.covariance, full.shape_covariance,
                           tuple(full.rotations[k] for k in keep), tuple(full.shifts[k] for k in keep), (),
                           full.sigma, 1.0)
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
    for model in squares:
        gap = (squares[model] - squares[best]) / counts.mean()
        error = float(np.std(gap, ddof=1) / np.sqrt(len(gap))) if len(gap) > 1 else 0.0
        if model == best or (held[model] <= WORTH * held[best] and float(gap.mean()) <= error):
            return Choice(model, held)
    return Choice(best, held)
