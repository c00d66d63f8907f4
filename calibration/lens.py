"""Calibrating a lens from photos of a flat board: photos in, profile out."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from calibration import bundle
from calibration.bundle import Bundle, View
from calibration.corners import Chessboard, find_chessboard
from calibration.exif import ExifLike, PhotoLike
from calibration.profiles import FORMAT, LensProfile, PhotoUse
from shared.errors import UserError

FEWEST = 5
"""Fewest usable photos for a profile."""


@dataclass(frozen=True)
class LensCalibration:
    """A profile with what it was made from, for the report.

    names : photo of each view. views : corners used. fit : the least-squares solution.
    """

    profile: LensProfile
    names: tuple[str, ...]
    views: tuple[View, ...]
    fit: Bundle


def calibrate_lens(photos: Iterable[PhotoLike], board: Chessboard, model: str | None = None) -> LensCalibration:
    """Calibrate from photos of one chessboard.

    Raises UserError when fewer than FEWEST photos show the board whole, or when they do not belong to one
    camera, lens, focal length and size.
    """
    uses: list[PhotoUse] = []
    names, views, exifs, shapes = [], [], [], []
    for photo in photos:
        seen = find_chessboard(photo.gray, board)
        if seen is None:
            uses.append(PhotoUse(photo.name, photo.sha256, False, "no whole board found"))
            continue
        names.append(photo.name)
        views.append(View(seen.board, seen.pixels))
        exifs.append(photo.exif)
        shapes.append((photo.gray.shape[1], photo.gray.shape[0]))
        uses.append(PhotoUse(photo.name, photo.sha256, True))
    if len(views) < FEWEST:
        raise UserError(f"{len(views)} of {len(uses)} photos show the board",
                        f"at least {FEWEST} are needed, 12 are good",
                        "take more, the whole board in each, from all sides and in all corners of the picture")
    model = model or "f, c, k1, k2, p1, p2, k3"
    result = bundle.fit(views, shapes[0], model)
    rms = float(np.sqrt(np.mean(np.concatenate(result.residuals) ** 2) * 2))
    exif = exifs[0]
    profile = LensProfile(
        FORMAT, ident_of(exif, shapes[0]), exif.make or "", exif.model or "", exif.lens_model or "",
        exif.focal_mm, exif.focal35_mm, *shapes[0], tuple(result.theta.tolist()), tuple(map(tuple, result.covariance.tolist())),
        model, (exif.taken or datetime.date.today().isoformat())[:10], "photos of a chessboard",
        f"chessboard, {board.columns} x {board.rows} inner corners of {board.square_mm:g} mm", rms, None, None,
        tuple(uses))
    return LensCalibration(profile, tuple(names), tuple(views), result)


def ident_of(exif: ExifLike, size: tuple[int, int]) -> str:
    """A short name for a lens at one setting: "fieldcam-f1-4.6mm-4000x3000"."""
    parts = [exif.make, exif.model, exif.lens_model, f"{exif.focal_mm:g}mm" if exif.focal_mm else None,
             f"{size[0]}x{size[1]}"]
    return "-".join(re.sub(r"[^a-z0-9.]+", "-", p.casefold()).strip("-") for p in parts if p)
