"""General line detectors at several settings, and the joining of their pieces into longer segments.

A segment is a row x1 y1 x2 y2, pixels of the full picture, first pixel's centre (0, 0).
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import cv2
import numpy as np
from skimage.transform import probabilistic_hough_line

from shared.numerics.arrays import F64, U8, Bools

Find = Callable[[U8], F64]

JOIN_PX, JOIN_DEG, JOIN_GAP = 3.5, 1.5, 0.04
"""Pieces are joined that lie within so many pixels of the common line, turn from it by no more than this, and leave
gaps of no more than this part of the picture's width."""
MOST_PIECES, MOST_JOINED = 4000, 60


def lsd(gray: U8, shrink: int = 1, turn: float = 22.5, density: float = 0.7) -> F64:
    """OpenCV's line segment detector, refined (von Gioi et al., IPOL 2012)."""
    find = cv2.createLineSegmentDetector(cv2.LSD_REFINE_ADV, 0.8, 0.6, 2.0, turn, 0.0, density)
    return _back(find.detect(_smaller(gray, shrink))[0], shrink)


def hough_opencv(gray: U8, shrink: int = 1, edges: float = 0.05, gap: float = 0.01) -> F64:
    """Canny and OpenCV's probabilistic Hough transform (Matas et al. 2000)."""
    small = _canny(_smaller(gray, shrink), edges)
    w = small.shape[1]
    found = cv2.HoughLinesP(small, 1, np.pi / 1800, 60, minLineLength=0.04 * w, maxLineGap=gap * w)
    return _back(found, shrink)


def hough_skimage(gray: U8, shrink: int = 2, edges: float = 0.05, gap: float = 0.01) -> F64:
    """Canny and scikit-image's probabilistic Hough transform."""
    small = _canny(_smaller(gray, shrink), edges)
    w = small.shape[1]
    theta = np.linspace(-np.pi / 2, np.pi / 2, 900, endpoint=False)
    found = probabilistic_hough_line(  # type: ignore[no-untyped-call]
        small, threshold=40, line_length=int(0.04 * w), line_gap=int(gap * w), theta=theta, rng=1
    )
    return _back(np.array(found, np.float64), shrink)


DETECTORS: dict[str, dict[str, Find]] = {
    "OpenCV LSD": {
        "full size": lsd,
        "half size": partial(lsd, shrink=2),
        "half size, lenient": partial(lsd, shrink=2, turn=35.0, density=0.4),
    },
    "Canny, OpenCV probabilistic Hough": {
        "full size, fewer edges": partial(hough_opencv, edges=0.02),
        "half size": partial(hough_opencv, shrink=2),
        "half size, more edges, wider gaps": partial(hough_opencv, shrink=2, edges=0.10, gap=0.02),
    },
    "Canny, scikit-image probabilistic Hough": {
        "half size": hough_skimage,
        "half size, more edges": partial(hough_skimage, edges=0.10),
        "half size, wider gaps": partial(hough_skimage, gap=0.02),
    },
}
"""Every detector with its settings."""


def _smaller(gray: U8, shrink: int) -> U8:
    if shrink == 1:
        return gray
    h, w = gray.shape
    size = (w // shrink, h // shrink)
    part = gray[: size[1] * shrink, : size[0] * shrink]
    return np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_AREA), np.uint8)


def _back(found: object, shrink: int) -> F64:
    """Segments of a picture made smaller, in pixels of the full one."""
    if found is None or len(found) == 0:  # type: ignore[arg-type]
        return np.empty((0, 4))
    return np.asarray(found, np.float64).reshape(-1, 4) * shrink + (shrink - 1) / 2


def _canny(gray: U8, share: float) -> U8:
    """Edges whose thresholds let the strongest `share` of the picture's gradients through, half of that as the
    lower one: what a fixed threshold is right for varies from photo to photo."""
    smooth = cv2.GaussianBlur(gray, (0, 0), 1.0)
    dx, dy = (cv2.Sobel(smooth, cv2.CV_16S, *d) for d in ((1, 0), (0, 1)))
    size = np.hypot(dx[::4, ::4].astype(np.float32), dy[::4, ::4].astype(np.float32))
    high = max(float(np.quantile(size, 1 - share)), 8.0)
    return np.asarray(cv2.Canny(dx, dy, 0.5 * high, high, L2gradient=True), np.uint8)


def lengths(segments: F64) -> F64:
    """(n,) pixels."""
    return np.asarray(np.hypot(segments[:, 2] - segments[:, 0], segments[:, 3] - segments[:, 1]))


def joined(segments: F64, width: int) -> F64:
    """Segments with their collinear pieces made one, (m, 4).

    From the longest piece on, pieces along its line are taken up without leaving too wide a gap, the line is
    laid anew through all their ends (least squares, by length), and so on until nothing more joins. The two
    edges of one pen line become one segment between them.
    """
    left = segments[np.argsort(-lengths(segments))][:MOST_PIECES]
    out: list[F64] = []
    while len(left) and len(out) < MOST_JOINED:
        member = np.zeros(len(left), dtype=bool)
        member[0] = True
        for _ in range(8):
            middle, along = _line_through(left[member])
            grown = _along(left, middle, along, JOIN_GAP * width)
            grown[0] = True
            if (grown == member).all():
                break
            member = grown
        middle, along = _line_through(left[member])
        s = (left[member].reshape(-1, 2) - middle) @ along
        out.append(np.r_[middle + along * s.min(), middle + along * s.max()])
        left = left[~member]
    return np.array(out).reshape(-1, 4)


def _line_through(pieces: F64) -> tuple[F64, F64]:
    """Middle and direction of the line through the pieces' ends, each weighed by its length."""
    points, weight = pieces.reshape(-1, 2), np.repeat(lengths(pieces), 2)
    middle = weight @ points / weight.sum()
    root = np.sqrt(weight)[:, None]
    along: F64 = np.linalg.svd(root * (points - middle), full_matrices=False)[2][0]
    return middle, along


def _along(pieces: F64, middle: F64, along: F64, gap: float) -> Bools:
    """(n,) which pieces lie on a line, in one chain with the first of them."""
    across = np.array([-along[1], along[0]])
    ends = pieces.reshape(-1, 2, 2) - middle
    off, place = ends @ across, ends @ along
    turn = np.degrees(np.arctan2(np.abs(off[:, 1] - off[:, 0]), np.abs(place[:, 1] - place[:, 0])))
    # a short piece may turn by what a pixel at its end is worth
    allowed = np.maximum(JOIN_DEG, np.degrees(1.0 / np.maximum(lengths(pieces), 1.0)))
    on = (np.abs(off).max(1) < JOIN_PX) & (turn < allowed)
    low, high = place.min(1), place.max(1)
    chain = np.zeros(len(pieces), dtype=bool)
    reach = [float(low[0]), float(high[0])]
    while True:
        near = on & ~chain & (low < reach[1] + gap) & (high > reach[0] - gap)
        if not near.any():
            return chain
        chain |= near
        reach = [min(reach[0], float(low[near].min())), max(reach[1], float(high[near].max()))]
