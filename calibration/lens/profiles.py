"""The lens profile: what a calibration leaves behind, kept in one JSON file, and found again by EXIF."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import msgspec
import numpy as np

from calibration.lens.model import PARAMETERS, Lens
from shared.errors import UserError
from shared.files import write_whole

FORMAT: Literal["ribangle lens profile 1"] = "ribangle lens profile 1"

FROM_CARDS = "station cards of the job's own photos"
"""The board of a profile that was solved from the job's own photos."""


@dataclass(frozen=True)
class PhotoUse:
    """One calibration photo: used, or left out for a reason. rms_px : residual of its corners."""

    name: str
    sha256: str
    used: bool
    reason: str | None = None
    rms_px: float | None = None
    corners: int = 0


@dataclass(frozen=True)
class LensProfile:
    """A calibrated lens, tied to one camera, lens, focal length and picture size.

    width, height : of the sensor's own pixel layout, the one `theta` belongs to; a picture turned by its
        EXIF orientation gets the lens turned with it (`calibration.lens.match.lens_for`).
    focal_mm : EXIF focal length the profile holds for; None where the photos do not tell.
    theta : fx fy cx cy k1 k2 p1 p2 k3, pixels and OpenCV's distortion. covariance : 9 x 9.
    free : parameters that were free, in words ("f, c, k1, k2, p1, p2"); one f ties fx to fy.
    rms_px : residual over all used corners (None: imported, not told); held_out_px : the same on photos left
    out of the fit.
    coverage : share of the picture that the boards lay over, 0 to 1. reach_px : furthest corner used from the
        principal point; beyond it the distortion is extrapolated.
    date : ISO 8601 day the photos were taken, or, failing that, calibrated.
    method : how it was made, in words. sound : False where the focal length is only a guess.
    """

    format: Literal["ribangle lens profile 1"]
    ident: str
    make: str
    model: str
    lens_model: str
    focal_mm: float | None
    focal35_mm: float | None
    width: int
    height: int
    theta: tuple[float, float, float, float, float, float, float, float, float]
    covariance: tuple[tuple[float, ...], ...]
    free: str
    date: str
    method: str
    board: str
    rms_px: float | None
    held_out_px: float | None
    coverage: float | None
    reach_px: float | None = None
    photos: tuple[PhotoUse, ...] = ()
    notes: tuple[str, ...] = ()
    sound: bool = True

    @property
    def lens(self) -> Lens:
        """The lens in the sensor's own pixel layout."""
        return Lens(self.ident, self.size, np.array(self.theta), np.array(self.covariance), self.sound)

    @property
    def size(self) -> tuple[int, int]:
        """Width and height, pixels."""
        return self.width, self.height

    @property
    def from_cards(self) -> bool:
        """Whether it was solved from the job's own station cards, for want of a lens board."""
        return self.board == FROM_CARDS

    @property
    def camera(self) -> str:
        """Make and model for people."""
        return f"{self.make} {self.model}".strip() or "unknown camera"


def save_lens(path: Path, profile: LensProfile) -> None:
    """Write a profile as JSON, whole or not at all. Raises OSError."""
    write_whole(path, msgspec.json.format(msgspec.json.encode(profile), indent=1) + b"\n")


def load_lens(path: Path) -> LensProfile:
    """Read a profile. Raises UserError for a missing, broken or doctored file."""
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise UserError(
            f"lens profile {path}",
            f"cannot be read ({error.strerror})",
            "give the path of a profile made by `ribangle calibrate lens`",
        ) from None
    try:
        profile = msgspec.json.decode(raw, type=LensProfile)
        keys = msgspec.json.decode(raw)
    except (msgspec.MsgspecError, UnicodeDecodeError, RecursionError) as error:
        raise UserError(
            f"lens profile {path}",
            f"is not a lens profile ({error})",
            "calibrate again with `ribangle calibrate lens`",
        ) from None
    # msgspec passes over unknown keys in dataclasses; a mistyped key must not be lost in silence
    unknown = sorted(set(keys) - set(LensProfile.__dataclass_fields__))
    unknown += sorted({k for use in keys.get("photos", ()) for k in use} - set(PhotoUse.__dataclass_fields__))
    if unknown:
        raise UserError(f"lens profile {path}", f"has the unknown key {unknown[0]!r}", "remove it")
    check_lens(f"lens profile {path}", profile)
    return profile


def check_lens(thing: str, profile: LensProfile) -> None:
    """Refuse values no lens can have. Raises UserError naming `thing`."""
    remedy = "calibrate again with `ribangle calibrate lens`"
    c = profile.covariance
    if len(c) != 9 or any(len(row) != 9 for row in c):
        raise UserError(thing, "covariance must be 9 x 9", remedy)
    m = np.array(c)
    if not (np.all(np.isfinite(m)) and np.allclose(m, m.T, rtol=1e-6, atol=0)):
        raise UserError(thing, "covariance must be finite and symmetric", remedy)
    if not np.any(np.diag(m) > 0):
        raise UserError(thing, "covariance is all zero: no lens is known exactly", remedy)
    d = np.sqrt(np.where(np.diag(m) > 0, np.diag(m), 1.0))
    if np.any(np.diag(m) < 0) or float(np.linalg.eigvalsh(m / np.outer(d, d)).min()) < -1e-6:
        raise UserError(thing, "covariance must not be negative along any direction", remedy)
    values = dict(zip(PARAMETERS, profile.theta, strict=True))
    if not all(math.isfinite(v) for v in values.values()) or min(values["fx"], values["fy"]) <= 0:
        raise UserError(thing, "fx and fy must be positive, all parameters finite", remedy)
    if profile.width <= 0 or profile.height <= 0:
        raise UserError(thing, "width and height must be positive", remedy)


def profiles_in(folder: Path) -> Iterator[tuple[Path, LensProfile]]:
    """All lens profiles of a folder, by file name; other JSON files are passed over. Raises UserError."""
    for path in sorted(folder.glob("*.json")):
        if FORMAT.encode() in path.read_bytes()[:4096]:
            yield path, load_lens(path)


def same_words(a: str | None, b: str | None) -> bool:
    """Whether two EXIF strings name the same thing: case, padding and NULs do not count."""

    def plain(s: str | None) -> str:
        return " ".join((s or "").replace("\0", " ").split()).casefold()

    return plain(a) == plain(b)


def same_focal(a: float | None, b: float | None) -> bool:
    """Whether two EXIF focal lengths are the same setting, to 1 % (EXIF rounds)."""
    return a is not None and b is not None and abs(a - b) <= 0.01 * abs(b)


def find_lens(
    folder: Path,
    make: str | None,
    model: str | None,
    lens_model: str | None,
    size: tuple[int, int],
    focal_mm: float | None,
) -> LensProfile | None:
    """The best profile in a folder for this camera, lens, focal length and size, or None.

    Sound goes before rough, one from a board before one from the job's own cards, then the newest.

    size : of the picture, either way up. Raises UserError when a profile there is broken.
    """
    best: LensProfile | None = None
    for _, p in profiles_in(folder) if folder.is_dir() else ():
        fits = (
            same_words(p.make, make)
            and same_words(p.model, model)
            and same_words(p.lens_model, lens_model)
            and sorted(p.size) == sorted(size)
            and ((p.focal_mm is None and focal_mm is None) or same_focal(focal_mm, p.focal_mm))
        )
        if fits and (best is None or _worth(p) > _worth(best)):
            best = p
    return best


def _worth(p: LensProfile) -> tuple[bool, bool, str]:
    return p.sound, not p.from_cards, p.date
