"""The lens that belongs to a picture: from its profile, or guessed from its EXIF, never a wrong one.

A profile belongs to the sensor's own pixel layout (wide). Cameras store that layout and say in the EXIF
orientation how to show it; the lens is turned along. Some programs turn the pixels themselves. Where the
tag and the shape of the stored picture leave two ways open, the lens is their mean, and half their
difference goes into its covariance: the truth is one of them, one standard deviation away.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from calibration.exif import ExifLike, turn_tag
from calibration.lens.model import Lens, turned_size
from calibration.lens.profiles import LensProfile, same_focal, same_words
from shared.flags import Flag, FlagCode

FULL_FRAME_DIAGONAL_MM = math.hypot(36.0, 24.0)
ZOOM_TOLERANCE = 0.005


@dataclass(frozen=True)
class LensMatch:
    """The lens for a picture as shown, or none with the reason; and doubts about it."""

    lens: Lens | None
    reason: str | None = None
    flags: tuple[Flag, ...] = ()


def lens_for(profile: LensProfile, exif: ExifLike, size: tuple[int, int]) -> LensMatch:
    """The profile's lens for a picture after its EXIF orientation.

    size : width, height of the picture as shown, pixels.
    A picture of another camera, lens, focal length, crop, size or zoom gets no lens but a reason.
    """
    reason = mismatch(profile, exif, size)
    if reason is not None:
        return LensMatch(None, reason)
    tag = turn_tag(exif)
    ways = layouts(profile.size, size, tag)
    rough = (
        ()
        if profile.sound
        else (
            FlagCode.LENS_ROUGH.flag(
                "the lens profile comes from straight edges, its focal length is a guess and U is large"
            ),
        )
    )
    if len(ways) == 1:
        return LensMatch(profile.lens.turned(ways[0]), flags=rough)
    text = (
        f"EXIF orientation {tag} on a photo shown {size[0]} x {size[1]} leaves open which way up the sensor "
        "was; the lens' uncertainty covers both"
    )
    return LensMatch(
        _either(profile.lens.turned(ways[0]), profile.lens.turned(ways[1])),
        flags=(*rough, FlagCode.LENS_TURN.flag(text)),
    )


def mismatch(profile: LensProfile, exif: ExifLike, size: tuple[int, int]) -> str | None:
    """Why a profile does not belong to a picture, in one line; None when it does."""
    theirs = f"{exif.make or ''} {exif.model or ''}".strip() or "a camera that left no name"
    if not (same_words(profile.make, exif.make) and same_words(profile.model, exif.model)):
        return f"the lens profile is for {profile.camera}, the photo was taken with {theirs}"
    if not same_words(profile.lens_model, exif.lens_model):
        return (
            f"the lens profile is for the lens {profile.lens_model or 'without name'!r}, "
            f"the photo was taken through {exif.lens_model or 'one without name'!r}"
        )
    if exif.digital_zoom is not None and exif.digital_zoom > 1 + ZOOM_TOLERANCE:
        return (
            f"the photo has digital zoom {exif.digital_zoom:.3g}x, for which no lens profile holds: "
            "take it without zoom"
        )
    if profile.focal_mm is not None and not same_focal(exif.focal_mm, profile.focal_mm):
        seen = "no focal length" if exif.focal_mm is None else f"focal length {exif.focal_mm:g} mm"
        return f"the lens profile is for focal length {profile.focal_mm:g} mm, the photo says {seen}"
    if (
        profile.focal35_mm
        and exif.focal35_mm
        and abs(exif.focal35_mm - profile.focal35_mm) > max(1.0, 0.02 * profile.focal35_mm)
    ):
        return (
            f"the lens profile is for {profile.focal35_mm:g} mm (35 mm equivalent), the photo says "
            f"{exif.focal35_mm:g} mm: it was zoomed or cropped in the camera"
        )
    if sorted(size) != sorted(profile.size):
        return (
            f"the lens profile is for {profile.width} x {profile.height} pixels, the photo has "
            f"{size[0]} x {size[1]}: cropped, scaled or taken in another mode"
        )
    return None


def layouts(sensor: tuple[int, int], shown: tuple[int, int], tag: int) -> tuple[int, ...]:
    """Orientations that may take the sensor's layout to the picture as shown; one, or two where open.

    The sensor's layout may be what is stored (cameras do so) or, after a program turned the pixels and
    left or reset the tag, what is shown.
    """
    inverse = {6: 8, 8: 6}.get(tag, tag)
    stored = turned_size(shown, inverse)
    if sensor[0] == sensor[1]:
        return (tag,) if tag == 1 else (tag, 1)
    if stored == sensor and shown != sensor:
        return (tag,)
    if stored == sensor:
        return (1,) if tag == 1 else (tag, 1)
    if shown == sensor:
        return (1,)
    return (6, 8)


def _either(a: Lens, b: Lens) -> Lens:
    half = (a.theta - b.theta) / 2
    covariance = (a.covariance + b.covariance) / 2 + np.outer(half, half)
    # the mean of either way's axes is what this lens shares with other photos; the rest is its own
    basis = np.vstack([(a.axes() + b.axes()) / 2, (a.axes() - b.axes()) / 2, half[None]])
    return Lens(a.ident, a.size, (a.theta + b.theta) / 2, covariance, a.sound and b.sound, basis)


def guess_lens(exif: ExifLike, size: tuple[int, int]) -> Lens:
    """A lens for a picture without profile, from the EXIF 35 mm equivalent focal length; sound=False.

    size : of the picture as shown. The equivalent refers to the diagonal (CIPA DCG-001), yet makers round it
    to whole millimetres and some refer it to the width: together some 3 %. Principal point: the middle,
    1 % of the diagonal. Distortion: none, but 4 % and 3 % at the corner for k1 and k2 - what is left in the
    pictures of consumer cameras; common practice, no source. Without any focal length: 28 mm, +-30 %.
    """
    w, h = size
    diagonal = math.hypot(w, h)
    f35, u_f = exif.focal35_mm, 0.03
    if not f35 or f35 <= 0:
        f35, u_f = 28.0, 0.30
    else:
        u_f = math.hypot(u_f, 0.29 / f35)
    zoom = exif.digital_zoom or 1.0
    if zoom > 1 + ZOOM_TOLERANCE:  # some makers count the zoom in, some do not
        u_f = math.hypot(u_f, (zoom - 1) / (zoom + 1))
        f35 *= (1 + zoom) / 2
    f = f35 / FULL_FRAME_DIAGONAL_MM * diagonal
    corner = diagonal / 2 / f
    steps = np.zeros((7, 9))
    steps[0, :2] = u_f * f  # square pixels: fx and fy are one error
    steps[1, 2] = steps[2, 3] = 0.01 * diagonal
    steps[3, 4] = 0.04 / corner**2
    steps[4, 5] = 0.03 / corner**4
    steps[5, 6] = steps[6, 7] = 0.001
    theta = np.array([f, f, (w - 1) / 2, (h - 1) / 2, 0, 0, 0, 0, 0], dtype=np.float64)
    camera = f"{exif.make or ''} {exif.model or ''}".strip() or "unknown camera"
    return Lens(f"guess for {camera}, {f35:.4g} mm", size, theta, steps.T @ steps, sound=False)
