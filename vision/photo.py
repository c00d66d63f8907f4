"""Loading a photo: one read, one decode, upright, with what its EXIF says; or the reason why not.

JPEG, PNG, TIFF, WebP, HEIC and AVIF; 8 or 16 bits; colour, grey or CMYK. The size is taken from the
header and held against MAX_PIXELS before anything is decoded. A file that decodes only in part is
refused: a filled-in half of a picture must never be measured.
"""

from __future__ import annotations

import hashlib
import io
import os
import stat
import struct
import warnings
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import simplejpeg
from numpy.typing import NDArray
from PIL import Image, ImageOps, UnidentifiedImageError

from vision.photo_exif import Exif, read_exif

U8 = NDArray[np.uint8]

MAX_PIXELS = 120_000_000
"""Largest picture decoded, pixels (10 times a 12-megapixel photo)."""

MAX_BYTES = 400_000_000
"""Largest file read, bytes (an uncompressed 16-bit colour picture of 60 megapixels)."""

MIN_SIDE = 64
"""Smallest side of a picture in which anything could be measured, pixels."""

SUFFIXES = frozenset({".jpg", ".jpeg", ".jpe", ".jfif", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif",
                      ".hif", ".avif"})
"""File name endings taken for photos when a folder is searched (lower case)."""

REDUCTION = 4
"""Full-size pixels to one pixel of `Picture.small_colour`."""

_FORMATS = ("JPEG", "MPO", "PNG", "TIFF", "WEBP", "HEIF", "AVIF")


class PhotoError(Exception):
    """A photo that cannot be used, and why, in one line.

    sha256 : of the file's bytes, "" where they could not be read. width, height : 0 where unknown.
    """

    def __init__(self, reason: str, *, sha256: str = "", width: int = 0, height: int = 0) -> None:
        self.reason, self.sha256, self.width, self.height = reason, sha256, width, height
        super().__init__(reason)

    def __reduce__(self) -> tuple[Any, ...]:
        """Keep the facts when the error crosses from a worker process."""
        facts = {"sha256": self.sha256, "width": self.width, "height": self.height}
        return _photo_error, (self.reason, facts)


def _photo_error(reason: str, facts: Mapping[str, Any]) -> PhotoError:
    return PhotoError(reason, **facts)


@dataclass(frozen=True, eq=False)
class Picture:
    """A decoded photo, upright (EXIF orientation applied).

    gray : (h, w) uint8, contiguous, read-only; JPEG's own luma (ITU-R BT.601) or the same weights.
    name : file name, or what `from_array` was told. sha256 : of the file's bytes (of the array's bytes
    for `from_array`). notes : oddities of the file worth telling, in plain words.
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

    def small_colour(self) -> U8:
        """(ceil(h/4), ceil(w/4), 3) uint8, BGR, each pixel the mean of 4 x 4; decoded when first asked for.

        A small pixel s covers the full-size pixels 4 s to 4 s + 3, its centre lies at 4 s + 1.5. Where a
        side is no multiple of 4 and the orientation turns it round, the start is off by up to 3 pixels.
        """
        if "bgr" not in self._small:
            self._small["bgr"] = self._decode_small()
        return self._small["bgr"]

    def _decode_small(self) -> U8:
        if self._data is None:
            return cv2.cvtColor(_shrunk(self.gray), cv2.COLOR_GRAY2BGR).astype(np.uint8, copy=False)
        small = cv2.imdecode(np.frombuffer(self._data, np.uint8),
                             cv2.IMREAD_REDUCED_COLOR_4 | cv2.IMREAD_IGNORE_ORIENTATION)
        if small is None:
            return cv2.cvtColor(_shrunk(self.gray), cv2.COLOR_GRAY2BGR).astype(np.uint8, copy=False)
        return _frozen(_upright(np.asarray(small, np.uint8), self.exif.orientation))

    @staticmethod
    def from_array(array: NDArray[Any], name: str = "array", exif: Exif | None = None) -> Picture:
        """A picture of pixels already in memory, upright as they are.

        array : (h, w) or (h, w, 1) grey, (h, w, 3) BGR or (h, w, 4) BGRA (OpenCV's order); uint8 or uint16.
        Raises PhotoError for other shapes or types. The array is copied.
        """
        pixels = np.asarray(array)
        if pixels.dtype not in (np.uint8, np.uint16) or pixels.ndim not in (2, 3) or (
                pixels.ndim == 3 and pixels.shape[2] not in (1, 3, 4)):
            raise PhotoError(f"the array is {pixels.dtype} of shape {pixels.shape}; "
                             "it must be uint8 or uint16, (h, w) grey or (h, w, 3) BGR")
        _check_size(int(pixels.shape[1]), int(pixels.shape[0]))
        digest = hashlib.sha256(np.ascontiguousarray(pixels).tobytes()).hexdigest()
        notes: tuple[str, ...] = ()
        if pixels.dtype == np.uint16:
            pixels, notes = _eight_bits(pixels)
        if pixels.ndim == 3 and pixels.shape[2] == 1:
            pixels = pixels[..., 0]
        gray, small = _gray_and_small(np.array(pixels[..., :3] if pixels.ndim == 3 else pixels, np.uint8))
        return Picture(gray, name, digest, exif or Exif(), notes, None, small)


def open_photo(path: str | os.PathLike[str]) -> Picture:
    """Read and decode one photo file.

    The bytes are read once; the hash, the EXIF and the pixels come from these same bytes.
    Raises PhotoError with the reason for anything that is not a whole picture of a known format.
    """
    place = Path(path)
    return decode_photo(read_bytes(place), place.name)


def decode_photo(data: bytes, name: str) -> Picture:
    """A picture from a file's bytes. Raises PhotoError, see `open_photo`."""
    digest = hashlib.sha256(data).hexdigest()
    size = [0, 0]
    try:
        return _decode(data, name, digest, size)
    except PhotoError as error:
        raise PhotoError(error.reason, sha256=digest, width=size[0], height=size[1]) from None
    except MemoryError:
        raise PhotoError("not enough memory to decode it", sha256=digest,
                         width=size[0], height=size[1]) from None
    except Exception as error:  # decoders raise many kinds on damaged bytes; none may stop a batch
        raise PhotoError(_damage(error), sha256=digest, width=size[0], height=size[1]) from None


def read_bytes(path: Path) -> bytes:
    """The whole content of a regular file. Raises PhotoError with the reason.

    Opened without waiting, so that a pipe standing in the folder cannot hang a batch.
    """
    flags = os.O_RDONLY
    for name in ("O_NONBLOCK", "O_BINARY", "O_CLOEXEC"):  # whichever this system has
        flags |= getattr(os, name, 0)
    try:
        handle = os.open(path, flags)
    except FileNotFoundError:
        lost = path.is_symlink()
        raise PhotoError("a link that points to nothing" if lost else "there is no such file") from None
    except IsADirectoryError:
        raise PhotoError("a folder, not a photo") from None
    except PermissionError:
        raise PhotoError("a folder, not a photo" if path.is_dir() else "no permission to read it") from None
    except (OSError, ValueError) as error:
        raise PhotoError(f"cannot be opened ({_text(error)})") from None
    try:
        with os.fdopen(handle, "rb") as stream:
            facts = os.fstat(stream.fileno())
            if stat.S_ISDIR(facts.st_mode):
                raise PhotoError("a folder, not a photo")
            if not stat.S_ISREG(facts.st_mode):
                raise PhotoError("not a regular file (a pipe, socket or device)")
            if facts.st_size > MAX_BYTES:
                raise PhotoError(f"{facts.st_size / 1e6:.0f} MB; "
                                 f"files over {MAX_BYTES / 1e6:.0f} MB are not read")
            return stream.read(MAX_BYTES)
    except OSError as error:
        raise PhotoError(f"cannot be read ({_text(error)})") from None


def _decode(data: bytes, name: str, digest: str, size: list[int]) -> Picture:
    if not data:
        raise PhotoError("the file is empty")
    if data[4:8] == b"ftyp":
        _register_heif()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # Pillow's, on odd EXIF and large pictures: both are judged here
        try:
            image = Image.open(io.BytesIO(data), formats=_known_formats())
        except Image.DecompressionBombError:
            raise PhotoError(f"too large; pictures over {MAX_PIXELS / 1e6:.0f} megapixels "
                             "are not decoded") from None
        except UnidentifiedImageError:
            raise PhotoError(_not_a_picture(data)) from None
        with image:
            size[:] = image.size
            _check_size(image.width, image.height)
            exif, notes = read_exif(image)
            if image.format in ("JPEG", "MPO") and image.mode in ("L", "RGB"):
                gray = _jpeg_gray(data)
                if gray is not None:
                    upright = _frozen(_upright(gray, exif.orientation))
                    size[:] = upright.shape[1], upright.shape[0]
                    return Picture(upright, name, digest, exif, notes, data if image.mode == "RGB" else None)
            pixels, more = _pillow_pixels(image)
    size[:] = pixels.shape[1], pixels.shape[0]
    gray, small = _gray_and_small(pixels)
    return Picture(gray, name, digest, exif, notes + more, None, small)


def _check_size(width: int, height: int) -> None:
    if width * height > MAX_PIXELS:
        raise PhotoError(f"{width} x {height} pixels; "
                         f"pictures over {MAX_PIXELS / 1e6:.0f} megapixels are not decoded")
    if min(width, height) < MIN_SIDE:
        raise PhotoError(f"{width} x {height} pixels; too small to measure anything in")


def _jpeg_gray(data: bytes) -> U8 | None:
    """Luma of a JPEG, (h, w), unturned; None where the fast decoder does not know its colours.

    The decoder is strict: what libjpeg would fill in with grey and merely warn about is refused.
    """
    colours = simplejpeg.decode_jpeg_header(data, strict=False)[2]
    if colours not in ("Gray", "GRAY", "YCbCr"):
        return None
    try:
        gray = simplejpeg.decode_jpeg(data, "GRAY", strict=True)
    except ValueError as error:
        if "extraneous bytes before marker 0xd9" in str(error):  # padding after the last block: harmless
            gray = simplejpeg.decode_jpeg(data, "GRAY", strict=False)
        elif "Invalid SOS parameters" in str(error):  # written by some phones; mended, then strict again
            gray = simplejpeg.decode_jpeg(_mend_scan_header(data), "GRAY", strict=True)
        else:
            raise
    return np.asarray(gray[..., 0], np.uint8)


def _mend_scan_header(data: bytes) -> bytes:
    """The JPEG with the spectral selection of its first scan as ITU-T T.81 table B.3 wants it (0, 63, 0)."""
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        length = struct.unpack_from(">H", data, at + 2)[0]
        if data[at + 1] == 0xDA:
            end = at + 2 + length
            return data[:end - 3] + bytes((0, 63, 0)) + data[end:]
        at += 2 + length
    return data


def _pillow_pixels(image: Image.Image) -> tuple[U8, tuple[str, ...]]:
    """Upright (h, w) grey or (h, w, 3) BGR pixels of any other picture, 8 bits."""
    notes: tuple[str, ...] = ()
    if getattr(image, "n_frames", 1) > 1 and image.format not in ("MPO", "JPEG"):
        notes = (f"holds {image.n_frames} pictures; the first was used",)  # type: ignore[attr-defined]
    if image.mode == "F":
        raise PhotoError("floating-point pixels; save it with 8 or 16 bits a channel")
    image.load()
    image = ImageOps.exif_transpose(image)
    if image.mode.startswith("I"):
        deep = np.asarray(image)
        if deep.min() < 0 or deep.max() > 65535:
            raise PhotoError("more than 16 bits a channel; save it with 8 or 16")
        shallow, more = _eight_bits(deep.astype(np.uint16))
        return shallow, notes + more
    if image.mode in ("L", "LA", "1"):
        return np.asarray(image.convert("L"), np.uint8), notes
    rgb = np.asarray(image.convert("RGB"), np.uint8)
    return np.ascontiguousarray(rgb[..., ::-1]), notes


def _eight_bits(deep: NDArray[Any]) -> tuple[U8, tuple[str, ...]]:
    """16-bit pixels as 8 bits; where less than a quarter of the range is used, stretched to what is."""
    top = int(deep.max(initial=0))
    notes: tuple[str, ...] = ()
    if 0 < top < 16384:
        bits = top.bit_length()
        factor, notes = 255.0 / (2 ** bits - 1), (f"16-bit pixels that use {bits} bits; stretched to 8",)
    else:
        factor = 1.0 / 257.0
    table = np.rint(np.arange(65536) * factor).clip(0, 255).astype(np.uint8)
    return table[deep], notes


def _gray_and_small(pixels: U8) -> tuple[U8, dict[str, U8]]:
    if pixels.ndim == 2:
        return _frozen(pixels), {}
    gray = np.asarray(cv2.cvtColor(pixels, cv2.COLOR_BGR2GRAY), np.uint8)
    return _frozen(gray), {"bgr": _frozen(_shrunk(pixels))}


def _shrunk(pixels: U8) -> U8:
    """Mean of every 4 x 4 pixels; the last, partial blocks are padded with their own edge."""
    down, right = -pixels.shape[0] % REDUCTION, -pixels.shape[1] % REDUCTION
    if down or right:
        pixels = np.asarray(cv2.copyMakeBorder(pixels, 0, down, 0, right, cv2.BORDER_REPLICATE), np.uint8)
    size = (pixels.shape[1] // REDUCTION, pixels.shape[0] // REDUCTION)
    return np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), np.uint8)


def _upright(pixels: U8, orientation: int) -> U8:
    """Turn stored pixels upright, by the Orientation tag of CIPA DC-008 (Exif), section 4.6.4 A.

    The tag says where row 0 and column 0 of the stored picture belong: 1 top left, 2 top right,
    3 bottom right, 4 bottom left, 5 left top, 6 right top, 7 right bottom, 8 left bottom.
    """
    if orientation in (5, 6, 7, 8):
        pixels = np.asarray(cv2.transpose(pixels), np.uint8)
    if orientation in (2, 6):
        return np.asarray(cv2.flip(pixels, 1), np.uint8)
    if orientation in (4, 8):
        return np.asarray(cv2.flip(pixels, 0), np.uint8)
    if orientation in (3, 7):
        return np.asarray(cv2.flip(pixels, -1), np.uint8)
    return pixels


def _frozen(pixels: U8) -> U8:
    whole = np.ascontiguousarray(pixels)
    whole.setflags(write=False)
    return whole


def _register_heif() -> None:
    import pillow_heif

    pillow_heif.register_heif_opener()


def _known_formats() -> list[str]:
    Image.init()
    return [name for name in _FORMATS if name in Image.OPEN]


def _not_a_picture(data: bytes) -> str:
    if not data.strip(b"\0"):
        return "nothing but zeros in it (a copy that failed)"
    head = data[:512]
    if all(byte >= 9 for byte in head) and head.isascii():
        return "a text file, not a photo"
    return ("not a photo of a known kind, or damaged at its start "
            "(JPEG, PNG, TIFF, WebP, HEIC, AVIF are known)")


def _damage(error: Exception) -> str:
    text = _text(error)
    if any(word in text.lower() for word in ("truncated", "premature", "end of file", "corrupt", "broken")):
        return f"cut short or damaged ({text})"
    return f"cannot be decoded ({text})"


def _text(error: BaseException) -> str:
    words = (error.strerror or str(error)) if isinstance(error, OSError) else str(error)
    return " ".join(words.split())[:120] or type(error).__name__
