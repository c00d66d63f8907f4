"""Strokes on the overlay: rails beside a line, dashes, crosses, outlines, all with a halo.

A fitted line is drawn as two rails, one on either side of it, so that what was drawn on the rib stays
visible between them. Arrays of points are (n, 2) float64, pixels of the reduced picture, x right, y down.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from shared.numerics.arrays import F64, U8
from vision.overlay.lettering import Colour, halo

_SHIFT = 4  # cv2 takes integer points with this many fractional bits


def stroke(image: U8, points: F64, colour: Colour, width: int, closed: bool = False) -> None:
    """A polyline with a halo; does nothing with fewer than two points.

    image : (h, w, 3) BGR, changed in place. points : (n, 2) pixels. colour : BGR. width : pixels. closed : whether
    the last point is joined to the first.
    """
    if len(points) < 2:
        return
    path = [_fixed(points)]
    cv2.polylines(image, path, closed, halo(colour), width + 2 * max(1, width // 2), cv2.LINE_AA, _SHIFT)
    cv2.polylines(image, path, closed, colour, width, cv2.LINE_AA, _SHIFT)


def rails(image: U8, points: F64, colour: Colour, gap: float, width: int) -> None:
    """Two strokes, `gap` pixels either side of the line.

    image, points, colour, width : as for `stroke`.
    """
    if len(points) < 2:
        return
    along = np.gradient(points, axis=0)
    length = np.linalg.norm(along, axis=1, keepdims=True)
    normal = np.stack([-along[:, 1], along[:, 0]], axis=1) / np.where(length > 0, length, 1.0)
    for side in (-gap, gap):
        stroke(image, points + side * normal, colour, width)


def dashes(image: U8, points: F64, colour: Colour, width: int, on: float, off: float) -> None:
    """A dashed polyline: `on` pixels drawn, `off` left out.

    image, points, colour, width : as for `stroke`.
    """
    if len(points) < 2:
        return
    where = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    for start in np.arange(0.0, where[-1], on + off):
        at = np.linspace(start, min(start + on, where[-1]), 4)
        piece = np.stack([np.interp(at, where, points[:, k]) for k in (0, 1)], axis=1)
        stroke(image, piece, colour, width)


def crosses(image: U8, points: F64, colour: Colour, arm: float, width: int) -> None:
    """A diagonal cross at every point.

    image, points, colour, width : as for `stroke`. arm : from the middle to an end, pixels.
    """
    for x, y in points:
        for dx, dy in ((arm, arm), (arm, -arm)):
            stroke(image, np.array([[x - dx, y - dy], [x + dx, y + dy]]), colour, width)


def dots(image: U8, points: F64, colour: Colour, radius: float) -> None:
    """A small filled disc at every point.

    image, points, colour : as for `stroke`. radius : pixels.
    """
    for x, y in _fixed(points):
        cv2.circle(image, (int(x), int(y)), round(radius * 2**_SHIFT), colour, -1, cv2.LINE_AA, _SHIFT)


def ring(image: U8, at: F64, colour: Colour, radius: float, width: int) -> None:
    """A circle with a halo.

    image, colour, width : as for `stroke`. at : (2,) its middle, pixels. radius : pixels.
    """
    turn = np.linspace(0, 2 * np.pi, 33)[:-1]
    stroke(image, at + radius * np.stack([np.cos(turn), np.sin(turn)], axis=1), colour, width, closed=True)


def grid(image: U8, lines: list[F64], colour: Colour, strength: float) -> None:
    """Thin lines mixed into the picture at a strength of 0 to 1, so that they hide nothing.

    image, colour : as for `stroke`. lines : each (n, 2) pixels.
    """
    lines = [p for p in lines if len(p) > 1]
    if not lines:
        return
    ends = np.array([image.shape[1], image.shape[0]])
    low = np.clip(np.floor(np.min([p.min(axis=0) for p in lines], axis=0)) - 2, 0, ends).astype(int)
    high = np.clip(np.ceil(np.max([p.max(axis=0) for p in lines], axis=0)) + 3, low, ends).astype(int)
    part = image[low[1] : high[1], low[0] : high[0]]
    mask = np.zeros(part.shape[:2], dtype=np.uint8)
    cv2.polylines(mask, [_fixed(p - low) for p in lines], False, 255, 1, cv2.LINE_AA, _SHIFT)
    at = mask > 0
    weight = (mask[at].astype(np.float32) * (strength / 255.0))[:, None]
    part[at] = (part[at] * (1 - weight) + np.asarray(colour, dtype=np.float32) * weight).astype(np.uint8)


def _fixed(points: F64) -> NDArray[np.int32]:
    # far-off points (a line prolonged past the picture) must stay inside int32 and cv2's own limits
    return np.asarray(np.clip(np.round(points * 2**_SHIFT), -(2**24), 2**24), dtype=np.int32)
