"""Calibrating a lens from photos of a flat board: photos in, profile out."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from calibration.exif import PhotoLike, turn_tag
from calibration.lens.apart import COPY_PX, gap_px, poses_seen, two_lenses
from calibration.lens.board_shape import ShapeVerdict, check_shape
from calibration.lens.boards import Board, Chessboard
from calibration.lens.bundle import Bundle, View
from calibration.lens.coverage import Coverage, judge_coverage
from calibration.lens.model import turn_points
from calibration.lens.model_choice import Choice, choose_model
from calibration.lens.models import FULL, MODELS, free_columns
from calibration.lens.profiles import FORMAT, LensProfile, PhotoUse
from calibration.lens.robust import RobustFit, reweighted, robust_fit
from calibration.lens.sightings import Sighting, judge, look, one_camera
from shared.errors import UserError
from shared.numerics.arrays import F64

FEWEST = 5
"""Fewest usable photos for a profile."""
TOO_OBLIQUE_DEG = 65.0
WORST_RMS = 1 / 2500
"""Largest residual in parts of the picture's longer side."""
WORST_FOCAL = 0.02
"""Largest relative standard uncertainty of the focal length for a profile."""
REMEDY = "take a dozen: the whole board in each, sharp, in all corners of the picture, tilted 30 deg to all sides"


@dataclass(frozen=True)
class LensCalibration:
    """A profile with what it was made from, for the report.

    names : photo of each view. views : corners with weights 0 or 1. fit : the least-squares solution.
    """

    profile: LensProfile
    names: tuple[str, ...]
    views: tuple[View, ...]
    fit: Bundle
    choice: Choice
    coverage: Coverage
    shape: ShapeVerdict


def calibrate_lens(
    photos: Iterable[PhotoLike], board: Board | None = None, model: str | None = None
) -> LensCalibration:
    """Calibrate from photos of one board.

    photos : as loaded, one at a time (the pixels are not kept). board : None: a chessboard of any size.
    model : one of MODELS; None lets the held-out error choose.
    Raises UserError when too few photos are usable, when they do not belong to one camera, lens, focal length
    and size, when the board is another than the one given or is bent, or when the photos leave the lens open.
    """
    if model is not None and model not in MODELS:
        raise UserError(f"lens model {model!r}", "is not known", "take one of: " + "; ".join(MODELS))
    seen, board = look(photos, board or Chessboard())
    sightings = _no_copies(one_camera([judge(s, board) for s in _once(seen)]))
    sightings = _settle_turns(sightings)
    _enough_poses(sightings)
    sightings, robust, kept = _agreeing(sightings)
    size = next(s.size for s in sightings if s.reason is None)
    views, groups = list(robust.views), [k for k, _ in kept]
    _one_lens(sightings, robust, groups, size)
    shape = check_shape(robust, [sightings[k].views[i] for k, i in kept], board, size)
    half = shape.half_mm if shape.kept else None
    try:
        whole = robust.fit if half is None else shape.fit
        choice = choose_model(views, groups, size, whole, (model,) if model else tuple(MODELS), half)
        result, views = reweighted([View.of(v.board, v.pixels) for v in views], size, choice.model, half)
    except np.linalg.LinAlgError:
        raise UserError("the photos", "do not determine the lens", REMEDY) from None
    coverage = judge_coverage(
        [v.pixels[v.weight > 0] for v in views], result.rotations, result.shifts, size, result.theta[2:4]
    )
    _check_determined(result, size)
    names = tuple(sightings[k].name for k in groups)
    fitted = _Fitted(views, result, choice, coverage, shape)
    profile = _profile(sightings, groups, fitted, board, size)
    return LensCalibration(profile, names, tuple(views), result, choice, coverage, shape)


def _once(sightings: list[Sighting]) -> list[Sighting]:
    """The same file given twice counts once: it would make the lens look better known than it is."""
    first: dict[str, str] = {}
    out = []
    for s in sightings:
        twin = first.setdefault(s.sha256, s.name) if s.sha256 else s.name
        out.append(s if twin == s.name or s.reason is not None else s.without(f"the same photo as {twin}"))
    return out


def _no_copies(sightings: list[Sighting]) -> list[Sighting]:
    """A photo saved again, or taken again with nothing moved, is no second view: its errors are the first one's."""
    kept: list[Sighting] = []
    out = []
    for s in sightings:
        if s.reason is None:
            mine = np.concatenate([v.pixels for v in s.views])
            twin = next((k for k in kept if gap_px(mine, np.concatenate([v.pixels for v in k.views])) < COPY_PX), None)
            if twin is None:
                kept.append(s)
            else:
                s = s.without(f"shows the board just as {twin.name} does: a copy, or nothing was moved between them")
        out.append(s)
    return out


def _enough_poses(sightings: list[Sighting]) -> None:
    good = [s for s in sightings if s.reason is None]
    _enough(sightings)
    poses = poses_seen([np.concatenate([v.pixels for v in s.views]) for s in good], good[0].size)
    if poses < FEWEST:
        raise UserError(
            f"{len(good)} photos show the board in {poses} pose{'s' if poses > 1 else ''}",
            f"at least {FEWEST} that differ are needed, 12 are good",
            REMEDY,
        )


def _one_lens(sightings: list[Sighting], robust: RobustFit, groups: list[int], size: tuple[int, int]) -> None:
    """Refuse photos of two cameras, zooms or focus settings, which EXIF would tell but not all photos have."""
    try:
        two = two_lenses(robust.views, groups, size, robust.fit)
    except np.linalg.LinAlgError:
        return
    if two is not None:
        a, b = (", ".join(sightings[k].name for k in g[:4]) + (" ..." if len(g) > 4 else "") for g in two.groups)
        raise UserError(
            f"{a} and {b}",
            f"show two lenses, f {two.focal_px[0]:.0f} and {two.focal_px[1]:.0f} px: two cameras, or zoom or focus moved",
            "calibrate each from its own photos",
        )


def _agreeing(sightings: list[Sighting]) -> tuple[list[Sighting], RobustFit, list[tuple[int, int]]]:
    """A robust fit of the full model; sightings that disagree, or are too oblique, left out."""
    while True:
        kept = [(k, i) for k, s in enumerate(sightings) if s.reason is None for i in range(len(s.views))]
        _enough(sightings)
        size = next(s.size for s in sightings if s.reason is None)
        views = [View.of(sightings[k].views[i].board, sightings[k].views[i].pixels) for k, i in kept]
        try:
            robust = robust_fit(views, size, FULL, fewest=3)
        except np.linalg.LinAlgError:
            raise UserError("the photos", "do not determine the lens", REMEDY) from None
        if robust.dropped:
            for n, why in robust.dropped.items():
                k, i = kept[n]
                rest = tuple(v for j, v in enumerate(sightings[k].views) if j != i)
                if len(sightings[k].views) == 1 or not rest:
                    sightings[k] = sightings[k].without(why)
            lost = {kept[n] for n in robust.dropped}
            sightings = [
                s
                if s.reason is not None
                else replace(s, views=tuple(v for i, v in enumerate(s.views) if (k, i) not in lost))
                for k, s in enumerate(sightings)
            ]
            continue
        tilted = judge_coverage(
            [v.pixels for v in robust.views],
            robust.fit.rotations,
            robust.fit.shifts,
            size,
            robust.fit.theta[2:4],
        ).tilts_deg
        steep = {kept[n][0]: t for n, t in enumerate(tilted) if t > TOO_OBLIQUE_DEG}
        if not steep:
            return sightings, robust, kept
        for k, t in steep.items():
            sightings[k] = sightings[k].without(f"seen too obliquely, {t:.0f} deg from square: keep below 45")


def _enough(sightings: list[Sighting]) -> None:
    good = [s for s in sightings if s.reason is None]
    if len(good) >= FEWEST:
        return
    why = next((s for s in sightings if s.reason is not None), None)
    example = f" ({why.name}: {why.reason})" if why else ""
    raise UserError(
        f"{len(good)} of {len(sightings)} photos are usable{example}",
        f"at least {FEWEST} are needed, 12 are good",
        REMEDY,
    )


def _settle_turns(sightings: list[Sighting]) -> list[Sighting]:
    """Photos whose tag leaves the sensor's layout open: as stored or as shown, whichever fits better."""
    unsure = [k for k, s in enumerate(sightings) if s.reason is None and s.unsure]
    sure = [k for k, s in enumerate(sightings) if s.reason is None and not s.unsure]
    if not unsure or len(sure) < 3:
        return sightings
    shown = list(sightings)
    for k in unsure:
        s = sightings[k]
        shown[k] = replace(
            s,
            views=tuple(replace(v, pixels=turn_points(v.pixels, s.size, turn_tag(s.exif))) for v in s.views),
        )
    costs = []
    for way in (sightings, shown):
        views = [View.of(v.board, v.pixels) for k in sure + unsure for v in way[k].views]
        try:
            costs.append(reweighted(views, sightings[sure[0]].size, FULL)[0].sigma)
        except np.linalg.LinAlgError:
            return sightings
    return shown if costs[1] < costs[0] else sightings


def _check_determined(result: Bundle, size: tuple[int, int]) -> None:
    rms = rms_length(np.concatenate(result.residuals))
    limit = max(1.0, size[0] * WORST_RMS)
    if rms > limit:
        raise UserError(
            f"corners fit to {rms:.1f} px only",
            f"a profile must do so to {limit:.1f} px",
            "check that the board is flat and the right one, and that zoom and focus were not touched",
        )
    f, u = float(result.theta[0]), float(np.sqrt(result.covariance[0, 0]))
    if not (np.isfinite(u) and f > 0) or u > WORST_FOCAL * f:
        raise UserError(
            f"focal length {f:.0f} px, u {u:.0f} px",
            f"a profile must know it to {100 * WORST_FOCAL:.0f} %",
            "tilt the board some 30 deg to all sides; square-on photos do not show the focal length",
        )


@dataclass(frozen=True)
class _Fitted:
    """The fit, what it was chosen from and how well the photos bear it."""

    views: list[View]
    result: Bundle
    choice: Choice
    coverage: Coverage
    shape: ShapeVerdict


def _profile(
    sightings: list[Sighting], groups: list[int], fitted: _Fitted, board: Board, size: tuple[int, int]
) -> LensProfile:
    """groups : of each view, the index of its photo among the sightings. size : width, height, pixels."""
    views, result, choice, coverage = fitted.views, fitted.result, fitted.choice, fitted.coverage
    uses = []
    for k, s in enumerate(sightings):
        mine = [n for n, g in enumerate(groups) if g == k]
        errors = [result.residuals[n][views[n].weight > 0] for n in mine]
        rms = rms_length(np.concatenate(errors)) if errors else None
        uses.append(PhotoUse(s.name, s.sha256, not s.reason, s.reason, rms, sum(len(e) for e in errors)))
    exif = sightings[groups[0]].exif
    taken = sorted(s.exif.taken for s in sightings if s.reason is None and s.exif.taken)
    all_errors = np.concatenate([e[v.weight > 0] for e, v in zip(result.residuals, views, strict=True)])
    notes = list(coverage.advice) + list(fitted.shape.notes)
    if result.inflation > 1.5:
        notes.append(
            f"the lens scatters more between photos than their corners do: its variances were widened {result.inflation:.1f} "
            "times in the mean"
        )
    columns = free_columns(choice.model)
    return LensProfile(
        format=FORMAT,
        ident=ident_of((exif.make, exif.model, exif.lens_model), exif.focal_mm, size),
        make=exif.make or "",
        model=exif.model or "",
        lens_model=exif.lens_model or "",
        focal_mm=exif.focal_mm,
        focal35_mm=exif.focal35_mm,
        width=size[0],
        height=size[1],
        theta=tuple(result.theta.tolist()),
        covariance=tuple(tuple(row) for row in ((result.covariance + result.covariance.T) / 2).tolist()),
        free=choice.model,
        date=(taken[-1] if taken else datetime.date.today().isoformat())[:10],
        method=f"{len(set(groups))} photos of a {board}; {columns.shape[1]} parameters free, chosen by held-out error",
        board=str(board),
        rms_px=rms_length(all_errors),
        held_out_px=choice.held_out[choice.model],
        coverage=coverage.share,
        reach_px=coverage.reach_px,
        photos=tuple(uses),
        notes=tuple(notes),
    )


def rms_length(residuals: F64) -> float:
    """Root mean square of the lengths of residuals (n, 2): what OpenCV calls the reprojection error."""
    return float(np.sqrt(np.mean(np.sum(residuals**2, axis=1))))


def ident_of(words: tuple[str | None, ...], focal_mm: float | None, size: tuple[int, int]) -> str:
    """A short name for a lens at one setting: "fieldcam-f1-4.6mm-4000x3000"."""
    parts = [*words, f"{focal_mm:g}mm" if focal_mm else None, f"{size[0]}x{size[1]}"]
    return "-".join(re.sub(r"[^a-z0-9.]+", "-", p.casefold()).strip("-") for p in parts if p)
