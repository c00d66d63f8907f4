"""Writing drawn photos: JPEG with the camera's EXIF, turned as a camera would store them."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
from PIL import Image

from shared.numerics.arrays import U8
from shop.camera import Camera

_TURN = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_90,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_270,
}


def exif_of(camera: Camera, taken: str, orientation: int = 1) -> Image.Exif:
    """The camera's EXIF. taken : "YYYY:MM:DD HH:MM:SS". orientation : 1 to 8 (CIPA DC-008)."""
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x0112], exif[0x0132] = camera.make, camera.model, orientation, taken
    sub = exif.get_ifd(0x8769)
    sub[0x9003], sub[0x920A], sub[0xA405] = taken, camera.focal_mm, camera.focal35_mm
    return exif


def jpeg_bytes(
    bgr: U8, camera: Camera, quality: int = 92, orientation: int = 1, taken: str = "2026:05:16 09:00:00"
) -> bytes:
    """A JPEG of an upright picture (h, w, 3) BGR, stored so that the orientation tag turns it upright."""
    image = Image.fromarray(np.ascontiguousarray(bgr[..., ::-1]))
    if orientation != 1:
        image = image.transpose(_TURN[orientation])
    stream = io.BytesIO()
    image.save(stream, "JPEG", quality=quality, exif=exif_of(camera, taken, orientation))
    return stream.getvalue()


def save_jpeg(
    path: Path,
    bgr: U8,
    camera: Camera,
    quality: int = 92,
    orientation: int = 1,
    taken: str = "2026:05:16 09:00:00",
) -> None:
    """Write `jpeg_bytes` to a file."""
    path.write_bytes(jpeg_bytes(bgr, camera, quality, orientation, taken))
