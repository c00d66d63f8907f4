"""Printed things on the rib: station cards, quartered marks, posters; sampled 21 times in each pixel."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np

from shared.numerics.arrays import F32, F64
from shop.canvas import Canvas
from shop.planes import Plane

CARDS = {"panel": (7, 5, 25.0, 18.0), "strip": (9, 3, 15.0, 11.0)}
CARD_TEXELS = 20
MARK_MM = 16.0
_SAMPLES = 21
_EDGE, _FOOT = 6.0, 14.0


def lay_sheet(canvas: Canvas, plane: Plane, image: F32, width_mm: float, height_mm: float) -> None:
    """Lay an image (h, w) or (h, w, 3), linear light, on a plane about its origin, x along ex, top along ez.

    The pixel's square is sampled at a rank-1 lattice of 21 points (Fibonacci: all rows and all columns
    differ), its picture on the plane taken as a parallelogram.
    """
    w, h = width_mm / 2, height_mm / 2
    box = canvas.box(plane.pixels(canvas.pose, canvas.camera, np.array([[-w, -h], [w, -h], [w, h], [-w, h]])), 3)
    if box is None:
        return
    x0, y0, x1, y1 = box
    x, z = plane.from_rays(canvas.pose, canvas.rays.grid((x0 - 1, y0 - 1, x1 + 1, y1 + 1)))
    column = (x + w) / width_mm * image.shape[1] - 0.5
    row = (h - z) / height_mm * image.shape[0] - 0.5
    grads = (
        [(g[2:, 1:-1] - g[:-2, 1:-1]) / 2 for g in (column, row)],
        [(g[1:-1, 2:] - g[1:-1, :-2]) / 2 for g in (column, row)],
    )
    column, row = column[1:-1, 1:-1], row[1:-1, 1:-1]
    light = np.zeros((y1 - y0, x1 - x0, *image.shape[2:]), np.float32)
    inside = np.zeros((y1 - y0, x1 - x0), np.float32)
    for k in range(_SAMPLES):
        dx, dy = (k + 0.5) / _SAMPLES - 0.5, (13 * k % _SAMPLES + 0.5) / _SAMPLES - 0.5
        c = (column + dx * grads[1][0] + dy * grads[0][0]).astype(np.float32)
        r = (row + dx * grads[1][1] + dy * grads[0][1]).astype(np.float32)
        light += cv2.remap(image, c, r, cv2.INTER_NEAREST, borderMode=cv2.BORDER_CONSTANT, borderValue=0)
        inside += (c > -0.5) & (r > -0.5) & (c < image.shape[1] - 0.5) & (r < image.shape[0] - 0.5)
    part = canvas.light[y0:y1, x0:x1]
    part *= 1 - inside[..., None] / _SAMPLES
    part += (light if light.ndim == 3 else light[..., None]) / _SAMPLES


@cache
def card_sheet(kind: str, number: int) -> tuple[F32, float, float]:
    """The printed card: image (h, w) in linear light, width and height in mm. The board's first corner lies
    6 mm from the sheet's left and top edge; below it, 14 mm for the arrow."""
    columns, rows, square, marker = CARDS[kind]
    k = CARD_TEXELS
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_1000)
    edge, foot, s, m = int(_EDGE * k), int(_FOOT * k), int(square * k), int(marker * k)
    sheet = np.full((rows * s + edge + foot, columns * s + 2 * edge), 255, np.uint8)
    ident = 32 * number
    for r in range(rows):
        for c in range(columns):
            y, x = edge + r * s, edge + c * s
            if (r + c) % 2 == 0:
                sheet[y : y + s, x : x + s] = 0
                continue
            inset = (s - m) // 2
            bits = cv2.aruco.generateImageMarker(dictionary, ident, 7)
            sheet[y + inset : y + inset + m, x + inset : x + inset + m] = cv2.resize(
                bits, (m, m), interpolation=cv2.INTER_NEAREST
            )
            ident += 1
    base = edge + rows * s + foot // 2
    cv2.arrowedLine(sheet, (edge, base), (edge + columns * s // 3, base), 0, k, tipLength=0.15)
    cv2.putText(
        sheet,
        f"LE  {number}",
        (edge + columns * s // 3 + 3 * k, base + 3 * k),
        cv2.FONT_HERSHEY_SIMPLEX,
        k / 3.2,
        0,
        k // 2,
    )
    linear = (0.03 + 0.87 * (sheet.astype(np.float32) / 255)).astype(np.float32)
    return linear, columns * square + 2 * _EDGE, rows * square + _EDGE + _FOOT


def card_corners(kind: str) -> F64:
    """(n, 2) inner chessboard corners on the sheet's plane (origin at the sheet's middle), row by row."""
    columns, rows, square, _ = CARDS[kind]
    width, height = columns * square + 2 * _EDGE, rows * square + _EDGE + _FOOT
    x, y = np.meshgrid(np.arange(1, columns) * square, np.arange(1, rows) * square)
    return np.stack([x.ravel() + _EDGE - width / 2, height / 2 - _EDGE - y.ravel()], axis=1)


@cache
def mark_sheet() -> F32:
    """A quartered circle of 16 mm, linear light."""
    n = int(MARK_MM * 24)
    y, x = np.mgrid[:n, :n] + 0.5 - n / 2
    dark = (x * y > 0) & (np.hypot(x, y) < n / 2 - 24)
    return np.where(dark, 0.04, 0.9).astype(np.float32)
