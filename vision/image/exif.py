"""What a photo's EXIF says about the camera, cleaned; odd or damaged entries become notes, never errors."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from PIL import ExifTags, Image

_TEXT_LIMIT = 80


@dataclass(frozen=True)
class Exif:
    """The tags of CIPA DC-008 (Exif) that matter here; None where the photo does not say.

    focal_mm : focal length, mm. focal35_mm : the focal length on 35 mm film that gives the same view.
    digital_zoom : ratio, None where not used or not stated. taken : ISO 8601 local time without zone.
    orientation : 1 to 8, as the camera wrote it; the pixels of a `Picture` are upright already. told : the file (or the
    caller, for pixels in memory) says which way up it is.
    """

    make: str | None = None
    model: str | None = None
    lens_model: str | None = None
    focal_mm: float | None = None
    focal35_mm: float | None = None
    digital_zoom: float | None = None
    taken: str | None = None
    orientation: int = 1
    told: bool = False

    @property
    def camera(self) -> str | None:
        """Make and model in one, or None."""
        words = [w for w in (self.make, self.model) if w]
        if len(words) == 2 and words[1].lower().startswith(words[0].lower()):
            words = words[1:]
        return " ".join(words) or None


def read_exif(image: Image.Image) -> tuple[Exif, tuple[str, ...]]:
    """The EXIF of a picture opened by Pillow, and notes on what was odd in it.

    image : opened; its pixels need not be loaded. A broken or missing EXIF gives an empty one and a note.
    """
    try:
        base = image.getexif()
        inner: dict[int, Any] = dict(base.get_ifd(ExifTags.IFD.Exif))
        tags: dict[int, Any] = {**base, **inner}
    except Exception:  # damaged EXIF raises many kinds; the pixels are still good
        return Exif(), ("its EXIF data are damaged and were not used",)
    notes: tuple[str, ...] = ()
    # a HEIC is turned by its own box, not by EXIF (ISO/IEC 23008-12, 6.5.10); pillow-heif sets the tag to 1 and keeps
    # what the camera wrote, which says how the sensor was held
    said = image.info.get("original_orientation") or tags.get(ExifTags.Base.Orientation)
    orientation = 1 if said is None else said
    if not isinstance(orientation, int) or not 1 <= orientation <= 8:
        notes = ("its EXIF orientation is not one of 1 to 8; taken as upright",)
        orientation, said = 1, None
    zoom = _number(tags.get(ExifTags.Base.DigitalZoomRatio))
    return Exif(
        make=_words(tags.get(ExifTags.Base.Make)),
        model=_words(tags.get(ExifTags.Base.Model)),
        lens_model=_words(tags.get(ExifTags.Base.LensModel)),
        focal_mm=_number(tags.get(ExifTags.Base.FocalLength)),
        focal35_mm=_number(tags.get(ExifTags.Base.FocalLengthIn35mmFilm)),
        digital_zoom=None if zoom == 1.0 else zoom,
        taken=_time(tags.get(ExifTags.Base.DateTimeOriginal) or tags.get(ExifTags.Base.DateTime)),
        orientation=orientation,
        told=said is not None,
    ), notes


def _words(value: Any) -> str | None:
    if isinstance(value, bytes):
        value = value.decode("utf-8", "replace")
    if not isinstance(value, str):
        return None
    clean = " ".join("".join(c if c.isprintable() else " " for c in value).split())
    return clean[:_TEXT_LIMIT] or None


def _number(value: Any) -> float | None:
    """A positive finite number; 0 stands for "unknown" in these tags (Exif 4.6.5)."""
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return None
    return number if math.isfinite(number) and number > 0 else None


def _time(value: Any) -> str | None:
    """ "2024:05:06 07:08:09" as ISO 8601; None where it is blank or no date."""
    text = _words(value)
    if text is None:
        return None
    try:
        return datetime.strptime(text[:19], "%Y:%m:%d %H:%M:%S").isoformat()
    except ValueError:
        return None
