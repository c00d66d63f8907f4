"""From a picture file's bytes to upright 8-bit pixels: the fast way for JPEG, Pillow's for all else."""

from __future__ import annotations

import struct
from typing import Any

import cv2
import numpy as np
import simplejpeg
from numpy.typing import NDArray
from PIL import Image, ImageOps

from shared.numerics.arrays import U8
from vision.image.photo_file import PhotoError

REDUCTION = 4
"""Full-size pixels to one pixel of `Picture.small_colour`."""

_DNG_VERSION = 50706


def jpeg_gray(data: bytes) -> U8 | None:
    """Luma of a JPEG, (h, w), unturned; None where the fast decoder does not know its colours.

    The decoder is strict: what libjpeg would fill in with grey and merely warn about is refused.

    data : the file's bytes. Raises PhotoError for a JPEG that is not whole.
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


def jpeg_colour(data: bytes) -> U8 | None:
    """(h, w, 3) BGR, unturned, of a JPEG whose luma came through `jpeg_gray`; None where that cannot be.

    data : the file's bytes.
    """
    try:
        return np.asarray(simplejpeg.decode_jpeg(data, "BGR", strict=False), np.uint8)
    except ValueError:
        bgr = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)
        return None if bgr is None else np.asarray(bgr, np.uint8)


def _mend_scan_header(data: bytes) -> bytes:
    """The JPEG with the spectral selection of its first scan as ITU-T T.81 table B.3 wants it (0, 63, 0)."""
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        length = struct.unpack_from(">H", data, at + 2)[0]
        if data[at + 1] == 0xDA:
            end = at + 2 + length
            return data[: end - 3] + bytes((0, 63, 0)) + data[end:]
        at += 2 + length
    return data


def pillow_pixels(image: Image.Image) -> tuple[U8, tuple[str, ...]]:
    """Upright (h, w) grey or (h, w, 3) BGR pixels of any other picture, 8 bits.

    image : opened by Pillow. Also notes on what was done to the pixels.
    """
    notes: tuple[str, ...] = ()
    if getattr(image, "n_frames", 1) > 1 and image.format not in ("MPO", "JPEG"):
        notes = (f"holds {image.n_frames} pictures; the first was used",)  # type: ignore[attr-defined]
    if image.mode == "F":
        raise PhotoError("floating-point pixels; save it with 8 or 16 bits a channel")
    if _DNG_VERSION in getattr(image, "tag_v2", ()):
        raise PhotoError("a raw (DNG) file; export it as JPEG, TIFF or PNG")
    image.load()
    image = ImageOps.exif_transpose(image)
    if image.mode.startswith("I"):
        deep = np.asarray(image)
        if deep.min() < 0 or deep.max() > 65535:
            raise PhotoError("more than 16 bits a channel; save it with 8 or 16")
        shallow, more = eight_bits(deep.astype(np.uint16))
        return shallow, notes + more
    if image.mode in ("L", "LA", "1"):
        return np.asarray(image.convert("L"), np.uint8), notes
    rgb = np.asarray(image.convert("RGB"), np.uint8)
    return np.ascontiguousarray(rgb[..., ::-1]), notes


def eight_bits(deep: NDArray[Any]) -> tuple[U8, tuple[str, ...]]:
    """16-bit pixels as 8 bits; where less than a quarter of the range is used, stretched to what is.

    deep : (h, w) or (h, w, 3) uint16. Also a note where they were stretched.
    """
    top = int(deep.max(initial=0))
    notes: tuple[str, ...] = ()
    if 0 < top < 16384:
        bits = top.bit_length()
        factor, notes = 255.0 / (2**bits - 1), (f"16-bit pixels that use {bits} bits; stretched to 8",)
    else:
        factor = 1.0 / 257.0
    table = np.rint(np.arange(65536) * factor).clip(0, 255).astype(np.uint8)
    return table[deep], notes


def gray_and_small(pixels: U8) -> tuple[U8, dict[str, U8]]:
    """Grey of (h, w) or (h, w, 3) BGR pixels; and {"bgr": small colour} where there is colour."""
    if pixels.ndim == 2:
        return frozen(pixels), {}
    gray = np.asarray(cv2.cvtColor(pixels, cv2.COLOR_BGR2GRAY), np.uint8)
    return frozen(gray), {"bgr": frozen(shrunk(pixels))}


def halved(pixels: U8) -> U8:
    """Mean of every 2 x 2 pixels; an odd last row or column, which would make it slow, is left out."""
    down, across = pixels.shape[0] // 2, pixels.shape[1] // 2
    return np.asarray(
        cv2.resize(pixels[: 2 * down, : 2 * across], (across, down), interpolation=cv2.INTER_AREA), np.uint8
    )


def shrunk(pixels: U8) -> U8:
    """Mean of every 4 x 4 pixels; the last, partial blocks are padded with their own edge."""
    down, right = -pixels.shape[0] % REDUCTION, -pixels.shape[1] % REDUCTION
    if down or right:
        pixels = np.asarray(cv2.copyMakeBorder(pixels, 0, down, 0, right, cv2.BORDER_REPLICATE), np.uint8)
    return halved(halved(pixels))  # several times as quick as by four at once


def upright(pixels: U8, orientation: int) -> U8:
    """Turn stored pixels upright, by the Orientation tag of CIPA DC-008 (Exif), section 4.6.4 A.

    The tag says where row 0 and column 0 of the stored picture belong: 1 top left, 2 top right,
    3 bottom right, 4 bottom left, 5 left top, 6 right top, 7 right bottom, 8 left bottom.

    pixels : (h, w) or (h, w, 3) as stored. orientation : 1 to 8.
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


def frozen(pixels: U8) -> U8:
    """The pixels contiguous and read-only."""
    whole = np.ascontiguousarray(pixels)
    whole.setflags(write=False)
    return whole
