"""From a picture of a display to ink: how much each pixel differs from the ground around it, as digits do."""

from __future__ import annotations

import cv2
import numpy as np

from vision.display.types import F32, F64, U8

HIGH = 240
"""Height that the window is brought to, pixels."""
SOFT = 0.55
"""Blur against noise, pixels of the photo, where the window is seen small."""
BLACK, WHITE = 4.0, 246.0
"""Greys from which a picture shows nothing: too dark for dark digits, too bright for any."""
STROKE = 0.24
"""Strokes are thinner than this share of the window's height; what is thicker is ground, bezel or glare."""


def window(image: U8, corners: F64 | None) -> tuple[F32, F64]:
    """The window squared up, HIGH rows, and the homography (3, 3) from it back to the image.

    corners : (4, 2) pixels, upper left first and clockwise as the digits read; None: the whole image.
    """
    rows, columns = image.shape[:2]
    if corners is None:
        corners = np.array([[0, 0], [columns - 1, 0], [columns - 1, rows - 1], [0, rows - 1]], dtype=np.float64)
    sides = np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1)
    across, down = (sides[0] + sides[2]) / 2, (sides[1] + sides[3]) / 2
    wide = int(np.clip(HIGH * across / down, HIGH / 4, HIGH * 12))
    square = np.array([[0, 0], [wide - 1, 0], [wide - 1, HIGH - 1], [0, HIGH - 1]], dtype=np.float32)
    back = cv2.getPerspectiveTransform(square, corners.astype(np.float32))
    shrink = down / HIGH
    # where the photo has few pixels, its noise is finer than any stroke
    source = cv2.GaussianBlur(image, (0, 0), max(0.45 * shrink, SOFT * min(1.0, 0.5 / shrink)))
    flat = cv2.warpPerspective(source, back, (wide, HIGH), flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
                               borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
    return flat.astype(np.float32), np.asarray(back, dtype=np.float64)


def ink(flat: F32, light: bool, widest: float = STROKE) -> F32:
    """Ink (rows, columns), 0 where there is none: top-hat of the picture (Serra; any textbook of morphology).

    light : digits lighter than the ground. Dark digits are taken relative to the ground, so that a shadow across
    the window leaves their ink as it is. widest : what is thicker than this share of the window's height is ground.
    """
    k = int(widest * flat.shape[0]) | 1
    soft = cv2.GaussianBlur(flat, (0, 0), 1.2)
    padded = cv2.copyMakeBorder(soft, k, k, k, k, cv2.BORDER_REPLICATE)
    brick = cv2.getStructuringElement(cv2.MORPH_RECT, (k, k))
    if light:
        ground = cv2.morphologyEx(padded, cv2.MORPH_OPEN, brick)
        found = padded - ground
    else:
        ground = cv2.morphologyEx(padded, cv2.MORPH_CLOSE, brick)
        found = (ground - padded) / (ground + 0.15 * float(ground.max()) + 1.0)
    return np.asarray(found[k:-k, k:-k], dtype=np.float32)


def blind(flat: F32, light: bool) -> F32:
    """1 where a window is so bright, or so dark for dark digits, that a stroke there would not be seen; else 0."""
    return np.asarray((flat > WHITE) | ((flat < BLACK) & (not light)), dtype=np.float32)


def full_level(found: F32) -> float:
    """Ink of a fully lit segment: mean of what lies above Otsu's threshold (Otsu 1979), 0 for an empty window."""
    top = float(found.max())
    if top <= 0:
        return 0.0
    scaled = np.clip(found / top * 255, 0, 255).astype(np.uint8)
    cut, _ = cv2.threshold(scaled, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    above = found[scaled > cut]
    return float(np.median(above)) if len(above) else 0.0


def without_frame(found: F32, cut: float) -> F32:
    """The ink without what frames the window in a crop: strokes that span most of it, or run along its border.

    found : ink; cut : ink from which a pixel counts. What only touches the border at one place may be a digit that
    is cut, and stays.
    """
    mask = (found > cut).astype(np.uint8)
    rows, columns = mask.shape
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    frame = np.zeros(count, dtype=bool)
    for i in range(1, count):
        x, y, w, h, _area = stats[i]
        edges = (x == 0) + (y == 0) + (x + w == columns) + (y + h == rows)
        frame[i] = (w > 0.7 * columns and h > 0.45 * rows) or h > 0.9 * rows or w > 0.8 * columns or edges >= 2
    if not frame.any():
        return found
    whole = frame[labels].astype(np.uint8)
    # a minus may run into the frame: only the frame's long lines go, and what stands out of them stays
    lines = cv2.morphologyEx(whole, cv2.MORPH_OPEN, np.ones((rows // 5, 1), np.uint8))
    lines = np.maximum(lines, cv2.morphologyEx(whole, cv2.MORPH_OPEN, np.ones((1, rows // 2), np.uint8)))
    lined = np.bincount(labels.ravel(), weights=lines.ravel(), minlength=count) > 0
    gone = np.where(lined[labels], lines, whole)
    spread = cv2.dilate(gone, np.ones((5, 5), np.uint8)) > 0
    return np.where(spread, np.float32(0), found).astype(np.float32)


def off_border(found: F32, cut: float) -> F32:
    """The ink without what touches the window's border: a strip of bezel there is stronger than any figure.

    For taking levels only: a figure that is cut by the border must stay in what is read.
    """
    _count, labels, stats, _ = cv2.connectedComponentsWithStats((found > cut).astype(np.uint8), connectivity=8)
    rows, columns = found.shape
    x, y, w, h = stats[:, 0], stats[:, 1], stats[:, 2], stats[:, 3]
    touches = (x == 0) | (y == 0) | (x + w == columns) | (y + h == rows)
    touches[0] = False
    spread = cv2.dilate(touches[labels].astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    return np.where(spread, np.float32(0), found).astype(np.float32)


def evened(found: F32, level: float) -> F32:
    """Ink relative to the full ink about it, for glare and shade that take contrast from a part of the window.

    The level about a place is the ink's mean weighted by ink itself, over about a digit; it is held to between
    0.4 and 2.5 times `level`, so that unlit segments and noise are not raised to full ink where nothing is lit.
    """
    # the top-hat takes the noise's peaks for ground, so bare ground has ink too: the median, as most of it is bare
    found = found - np.float32(np.median(found))
    wide = 0.2 * found.shape[0]
    inner = off_border(found, 0.4 * level).clip(0.0)
    weight = cv2.GaussianBlur(inner, (0, 0), wide)
    about = cv2.GaussianBlur(inner * inner, (0, 0), wide) / np.maximum(weight, 1e-6)
    return np.asarray(found / np.clip(about, 0.4 * level, 2.5 * level), dtype=np.float32)
