"""Loading a photo: one read, one decode, upright, with what its EXIF says; or the reason why not.

JPEG, PNG, TIFF, WebP, HEIC and AVIF; 8 or 16 bits; colour, grey or CMYK. The size is taken from the
header and held against MAX_PIXELS before anything is decoded. A file that decodes only in part is
refused: a filled-in half of a picture must never be measured.
"""

from __future__ import annotations

import hashlib
import io
import os
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from shared.numerics.arrays import U8
from vision.image.exif import Exif, read_exif
from vision.image.photo_file import PhotoError, read_bytes, shown_name, text_of
from vision.image.pixels import (
    eight_bits,
    frozen,
    gray_and_small,
    halved,
    jpeg_colour,
    jpeg_gray,
    pillow_pixels,
    shrunk,
    upright,
)

MAX_PIXELS = 120_000_000
"""Largest picture decoded, pixels (10 times a 12-megapixel photo)."""

MIN_SIDE = 64
"""Smallest side of a picture in which anything could be measured, pixels. A card of 7 squares then has squares of 9
pixels at most."""

_JPEG = b"\xff\xd8"
_FORMATS = ("JPEG", "MPO", "PNG", "TIFF", "WEBP", "HEIF", "AVIF")


@dataclass(frozen=True, eq=False)
class Picture:
    """A decoded photo, upright (EXIF orientation applied).

    gray : (h, w) uint8, contiguous, read-only; JPEG's own luma (ITU-R BT.601) or the same weights.
    name : file name as it can be shown, or the name given to `from_array`. sha256 : of the file's bytes (of
    the array's bytes for `from_array`). notes : oddities of the file worth telling, in plain words.
    """

    gray: U8
    name: str
    sha256: str
    exif: Exif = field(default_factory=Exif)
    notes: tuple[str, ...] = ()
    _data: bytes | None = field(default=None, repr=False)
    _small: dict[str, U8] = field(default_factory=dict, repr=False)

    @property
    def width(self) -> int:
        """Width in pixels, upright."""
        return int(self.gray.shape[1])

    @property
    def height(self) -> int:
        """Height in pixels, upright."""
        return int(self.gray.shape[0])

    def half(self) -> U8:
        """(h // 2, w // 2) uint8, grey, read-only, each pixel the mean of 2 x 2; made when first asked for."""
        if "half" not in self._small:
            self._small["half"] = frozen(halved(self.gray))
        return self._small["half"]

    def small_colour(self) -> U8:
        """(ceil(h/4), ceil(w/4), 3) uint8, BGR, each pixel the mean of 4 x 4; decoded when first asked for.

        A small pixel s covers the full-size pixels 4 s to 4 s + 3, its centre lies at 4 s + 1.5. Where a
        side is no multiple of 4 and the orientation turns it round, the start is off by up to 3 pixels.
        """
        if "bgr" not in self._small:
            full = self._small.get("full")
            self._small["bgr"] = self._decode_small() if full is None else frozen(shrunk(full))
        return self._small["bgr"]

    def full_colour(self) -> U8 | None:
        """(h, w, 3) uint8, BGR, upright, decoded when first asked for; None where only the grey was kept.

        For the rare line that stands out in colour only: the first time it costs as much as the grey.
        """
        if "full" not in self._small and self._data is not None:
            colour = self._decode_full(self._data)
            if colour is None or colour.shape != (*self.gray.shape, 3):
                return None
            self._small["full"] = colour
        return self._small.get("full")

    def _decode_full(self, data: bytes) -> U8 | None:
        if data.startswith(_JPEG):
            bgr = jpeg_colour(data)
            return None if bgr is None else frozen(upright(bgr, self.exif.orientation))
        with _pillow_quiet(), _opened(data) as image:
            return frozen(pillow_pixels(image)[0])

    def _decode_small(self) -> U8:
        if self._data is None:
            return cv2.cvtColor(shrunk(self.gray), cv2.COLOR_GRAY2BGR).astype(np.uint8, copy=False)
        small = cv2.imdecode(
            np.frombuffer(self._data, np.uint8), cv2.IMREAD_REDUCED_COLOR_4 | cv2.IMREAD_IGNORE_ORIENTATION
        )
        if small is None:
            return cv2.cvtColor(shrunk(self.gray), cv2.COLOR_GRAY2BGR).astype(np.uint8, copy=False)
        return frozen(upright(np.asarray(small, np.uint8), self.exif.orientation))

    @staticmethod
    def from_array(array: NDArray[Any], name: str = "array", exif: Exif | None = None) -> Picture:
        """A picture of pixels already in memory, upright as they are.

        array : (h, w) or (h, w, 1) grey, (h, w, 3) BGR or (h, w, 4) BGRA (OpenCV's order); uint8 or uint16.
        Raises PhotoError for other shapes or types. The array is copied.

        name : for messages and records. exif : where there is one, for the choice of lens.
        """
        pixels = np.asarray(array)
        if (
            pixels.dtype not in (np.uint8, np.uint16)
            or pixels.ndim not in (2, 3)
            or (pixels.ndim == 3 and pixels.shape[2] not in (1, 3, 4))
        ):
            raise PhotoError(
                f"the array is {pixels.dtype} of shape {pixels.shape}; "
                "it must be uint8 or uint16, (h, w) grey or (h, w, 3) BGR"
            )
        _check_size(int(pixels.shape[1]), int(pixels.shape[0]))
        digest = hashlib.sha256(np.ascontiguousarray(pixels).tobytes()).hexdigest()
        notes: tuple[str, ...] = ()
        if pixels.dtype == np.uint16:
            pixels, notes = eight_bits(pixels)
        if pixels.ndim == 3 and pixels.shape[2] == 1:
            pixels = pixels[..., 0]
        own = np.array(pixels[..., :3] if pixels.ndim == 3 else pixels, np.uint8)
        gray, small = gray_and_small(own)
        if own.ndim == 3:
            small["full"] = frozen(own)
        return Picture(gray, name, digest, exif or Exif(told=True), notes, None, small)


def open_photo(path: str | os.PathLike[str]) -> Picture:
    """Read and decode one photo file.

    The bytes are read once; the hash, the EXIF and the pixels come from these same bytes.
    Raises PhotoError with the reason for anything that is not a whole picture of a known format.

    path : of a JPEG, PNG, TIFF, WebP, HEIC or AVIF file.

    >>> picture = open_photo("samples/trainer/photos/L1.jpg")
    >>> picture.width, picture.height, picture.exif.camera
    (4000, 3000, 'Fieldcam F1')
    """
    place = Path(path)
    return decode_photo(read_bytes(place), shown_name(place))


def decode_photo(data: bytes, name: str) -> Picture:
    """A picture from a file's bytes. Raises PhotoError, see `open_photo`.

    data : the file's bytes, whole. name : for messages and records.
    """
    digest = hashlib.sha256(data).hexdigest()
    size = [0, 0]
    try:
        return _decode(data, name, digest, size)
    except PhotoError as error:
        raise PhotoError(error.reason, sha256=digest, width=size[0], height=size[1]) from None
    except MemoryError:
        raise PhotoError("not enough memory to decode it", sha256=digest, width=size[0], height=size[1]) from None
    except Exception as error:  # decoders raise many kinds on damaged bytes; none may stop a batch
        raise PhotoError(_damage(error), sha256=digest, width=size[0], height=size[1]) from None


def _decode(data: bytes, name: str, digest: str, size: list[int]) -> Picture:
    if not data:
        raise PhotoError("the file is empty")
    with _pillow_quiet():
        try:
            image = _opened(data)
        except Image.DecompressionBombError:
            raise PhotoError(f"too large; pictures over {MAX_PIXELS / 1e6:.0f} megapixels are not decoded") from None
        except UnidentifiedImageError:
            raise PhotoError(_not_a_picture(data)) from None
        with image:
            size[:] = image.size
            _check_size(image.width, image.height)
            exif, notes = read_exif(image)
            if image.format in ("JPEG", "MPO") and image.mode in ("L", "RGB"):
                gray = jpeg_gray(data)
                if gray is not None:
                    pixels = frozen(upright(gray, exif.orientation))
                    size[:] = pixels.shape[1], pixels.shape[0]
                    return Picture(pixels, name, digest, exif, notes, data if image.mode == "RGB" else None)
            pixels, more = pillow_pixels(image)
    size[:] = pixels.shape[1], pixels.shape[0]
    gray, small = gray_and_small(pixels)
    return Picture(gray, name, digest, exif, notes + more, data if pixels.ndim == 3 else None, small)


@contextmanager
def _pillow_quiet() -> Iterator[None]:
    """Pillow warns of odd EXIF and of large pictures; both are judged here."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield


def _check_size(width: int, height: int) -> None:
    if width * height > MAX_PIXELS:
        raise PhotoError(f"{width} x {height} pixels; pictures over {MAX_PIXELS / 1e6:.0f} megapixels are not decoded")
    if min(width, height) < MIN_SIDE:
        raise PhotoError(f"{width} x {height} pixels; too small to measure anything in")


def _opened(data: bytes) -> Image.Image:
    """The picture with its header read, not decoded yet."""
    if data[4:8] == b"ftyp":
        import pillow_heif

        pillow_heif.register_heif_opener()
    Image.init()
    return Image.open(io.BytesIO(data), formats=[name for name in _FORMATS if name in Image.OPEN])


def _not_a_picture(data: bytes) -> str:
    if not data.strip(b"\0"):
        return "nothing but zeros in it (a copy that failed)"
    head = data[:512]
    if all(byte >= 9 for byte in head) and head.isascii():
        return "a text file, not a photo"
    return "not a photo of a known kind, or damaged at its start (JPEG, PNG, TIFF, WebP, HEIC, AVIF are known)"


def _damage(error: Exception) -> str:
    text = text_of(error)
    if any(word in text.lower() for word in ("truncated", "premature", "end of file", "corrupt", "broken")):
        return f"cut short or damaged ({text})"
    return f"cannot be decoded ({text})"
