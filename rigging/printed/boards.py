"""Geometry of what is printed: black rectangles, mm, x right, y down from a board's top left corner.

Markers are taken bit by bit from OpenCV's own dictionary, so that the print and the detector cannot differ.
"""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np

from shared.cards import KINDS, CardKind
from shared.numerics.arrays import U8
from vision.cards.spec import IDS_PER_CARD, LAST_CARD, SPECS, dictionary

Rect = tuple[float, float, float, float]
"""x, y of the top left corner, width, height; mm."""

FIRST_TAG = IDS_PER_CARD * (LAST_CARD + 1)
LAST_TAG = 999
TAG_MM = 20.0
MARK_MM = 16.0
LENS_COLUMNS, LENS_ROWS, LENS_SQUARE_MM = 10, 7, 25.0
"""The chessboard for the lens, in squares: 9 x 6 inner corners."""
SIDE_MM, HEAD_MM, FOOT_MM = 6.0, 8.0, 14.0
"""White round a card's board: left and right, above, and below (where the arrow stands)."""
_MODULES = 7  # five data bits and one border bit on each side


def sheet_mm(kind: CardKind) -> tuple[float, float]:
    """Cut width and height of a card, mm."""
    width, height = SPECS[kind].size_mm
    return width + 2 * SIDE_MM, height + HEAD_MM + FOOT_MM


@lru_cache(maxsize=2048)
def marker_bits(ident: int) -> U8:
    """(7, 7) of a `DICT_5X5_1000` marker with its border, 1 where black, row 0 at the top."""
    image = cv2.aruco.generateImageMarker(dictionary(), ident, _MODULES, borderBits=1)
    return np.asarray(image < 128, dtype=np.uint8)


def marker_rects(ident: int, side: float, left: float = 0.0, top: float = 0.0) -> list[Rect]:
    """Black rectangles of one marker `side` mm wide: one for each run of black modules in a row."""
    step = side / _MODULES
    rects = []
    for row, bits in enumerate(marker_bits(ident)):
        edges = np.flatnonzero(np.diff(np.concatenate([[0], bits.astype(np.int8), [0]])))
        rects += [
            (left + a * step, top + row * step, (b - a) * step, step)
            for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
        ]
    return rects


def chess_rects(columns: int, rows: int, square: float) -> list[Rect]:
    """The black squares; the one at the top left is black (OpenCV's current pattern)."""
    return [(c * square, r * square, square, square) for r in range(rows) for c in range(columns) if (r + c) % 2 == 0]


def card_rects(kind: CardKind, number: int) -> list[Rect]:
    """All black rectangles of a card: chess squares and markers 32 n, 32 n + 1, ... in board order.

    The same picture as `cv2.aruco.CharucoBoard((columns, rows), square, marker, DICT_5X5_1000, ids)` makes.
    Raises ValueError for a number outside 0 to 30.
    """
    if not 0 <= number <= LAST_CARD:
        raise ValueError(f"card number {number} outside 0 to {LAST_CARD}")
    spec = SPECS[kind]
    rects = chess_rects(spec.columns, spec.rows, spec.square_mm)
    ident, rim, s = IDS_PER_CARD * number, spec.margin_mm, spec.square_mm
    for r in range(spec.rows):
        for c in range(spec.columns):
            if (r + c) % 2:
                rects += marker_rects(ident, spec.marker_mm, c * s + rim, r * s + rim)
                ident += 1
    return rects


def kind_for(chord_mm: float, thickness: float = 0.12) -> CardKind:
    """The largest kind that finds rib behind at least half of its sheet above the chord line, else the smallest.

    Above the chord line, around mid chord, a rib of relative thickness t is about 0.6 t chords deep
    (NACA 2412 at half chord: 0.0723, NACA TR 460). Card sheets are stiff and may stand over the edge by half.
    """
    room = 0.6 * thickness * chord_mm
    return next((kind for kind in KINDS if room >= sheet_mm(kind)[1] / 2), KINDS[-1])
