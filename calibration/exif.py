"""What calibration needs to know of a photo, whoever loaded it."""

from __future__ import annotations

from typing import Protocol

from shared.numerics.arrays import U8


class ExifLike(Protocol):
    """The EXIF entries that tie a photo to a lens. Absent entries are None (orientation: 1)."""

    @property
    def make(self) -> str | None: ...  # noqa: D102 - the names are EXIF's own
    @property
    def model(self) -> str | None: ...  # noqa: D102
    @property
    def lens_model(self) -> str | None: ...  # noqa: D102
    @property
    def focal_mm(self) -> float | None: ...  # noqa: D102
    @property
    def focal35_mm(self) -> float | None: ...  # noqa: D102
    @property
    def digital_zoom(self) -> float | None: ...  # noqa: D102
    @property
    def taken(self) -> str | None: ...  # noqa: D102
    @property
    def orientation(self) -> int: ...  # noqa: D102


class PhotoLike(Protocol):
    """A loaded photo: gray is (h, w) uint8 after the EXIF orientation."""

    @property
    def name(self) -> str: ...  # noqa: D102
    @property
    def sha256(self) -> str: ...  # noqa: D102
    @property
    def gray(self) -> U8: ...  # noqa: D102
    @property
    def exif(self) -> ExifLike: ...  # noqa: D102


def turn_tag(exif: ExifLike) -> int:
    """The EXIF orientation, 1 to 8; 1 where the tag is missing or none of these (CIPA DC-008).

    exif : anything with Pillow's `get` by number of the tag.
    """
    return exif.orientation if exif.orientation in range(1, 9) else 1
