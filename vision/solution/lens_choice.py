"""Which lens belongs to a photo: the one given, the job's profile, one matched by EXIF, or an honest guess."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from calibration.lens.match import guess_lens, lens_for
from calibration.lens.model import Lens
from calibration.lens.profiles import LensProfile, find_lens, load_lens
from shared.errors import UserError
from shared.flags import Flag, FlagCode
from shared.job.model import Job
from vision.image.photo import Picture


@dataclass(frozen=True)
class ChosenLens:
    """A lens, or None with the reason; doubts."""

    lens: Lens | None
    reason: str | None = None
    flags: tuple[Flag, ...] = ()


@lru_cache(maxsize=32)
def _loaded(path: Path, _stamp: tuple[int, int]) -> LensProfile:
    return load_lens(path)


def load_cached(path: Path) -> LensProfile:
    """A profile, read again only when the file changed. Raises UserError.

    path : of a lens profile.
    """
    try:
        stat = path.stat()
    except OSError as error:
        raise UserError(
            f"lens profile {path}",
            f"cannot be read ({error.strerror})",
            'name an existing profile in the job, or lens = "auto"',
        ) from None
    return _loaded(path, (stat.st_mtime_ns, stat.st_size))


def choose_lens(given: Lens | LensProfile | None, job: Job, picture: Picture) -> ChosenLens:
    """The lens for a picture as shown.

    A profile that the job names must fit the photo; a folder of profiles may hold none that fits, and then
    the lens is guessed from the EXIF focal length, with the uncertainty that such a guess has.

    given : overrides the job's choice. job : names a profile, or leaves it to the EXIF. picture : whose size and EXIF
    the lens must fit; where it does not, the reason stands in the result. Raises UserError for a named profile that
    cannot be read.
    """
    size = (picture.width, picture.height)
    if isinstance(given, Lens):
        if given.size != size:
            return ChosenLens(
                None,
                f"the lens given is for {given.size[0]} x {given.size[1]} pixels, the photo has {size[0]} x {size[1]}",
            )
        return ChosenLens(given)
    profile = given
    if profile is None:
        if job.lens != "auto":
            profile = load_cached(job.folder / job.lens)
        else:
            e = picture.exif
            profile = find_lens(job.folder / job.lens_folder, e.make, e.model, e.lens_model, size, e.focal_mm)
    if profile is not None:
        match = lens_for(profile, picture.exif, size)
        if match.lens is None:
            return ChosenLens(None, match.reason)
        return ChosenLens(match.lens, None, match.flags)
    guess = guess_lens(picture.exif, size)
    text = (
        "no lens profile for this camera: the lens is guessed"
        + (" from the EXIF focal length" if picture.exif.focal35_mm else "")
        + ", so U is large"
    )
    return ChosenLens(guess, None, (FlagCode.NO_LENS_PROFILE.flag(text),))
