"""The station cards as printed: ChArUco boards (`shared.cards`), card n carrying marker ids 32 n, 32 n + 1, ..."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import cv2
import numpy as np

from shared.cards import CardKind
from shared.numerics.arrays import F64

IDS_PER_CARD = 32
"""Marker numbers set aside for each card; a panel has 17 markers, a strip 13."""
LAST_CARD = 30
"""31 cards of 32 markers are 992 of the dictionary's 1000; the last eight are the displays' (`vision.display.tag`)."""
RIM_MM, FOOT_MM = 6.0, 14.0
"""White paper round the board, and below it where arrow, name and number stand."""


@dataclass(frozen=True)
class CardSpec:
    """Geometry of one kind of card, mm. Board frame: x along the printed arrow, y down the sheet, origin
    at the board's first corner (OpenCV's `CharucoBoard` frame)."""

    kind: CardKind
    columns: int
    rows: int
    square_mm: float
    marker_mm: float

    @property
    def margin_mm(self) -> float:
        """Width of the white margin between a marker and its square's edge."""
        return (self.square_mm - self.marker_mm) / 2

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of the board."""
        return self.columns * self.square_mm, self.rows * self.square_mm

    @property
    def markers(self) -> int:
        """How many markers the board carries."""
        return self.columns * self.rows // 2

    def inner_corners(self) -> F64:
        """(n, 2) inner chessboard corners, row by row, mm in the board frame."""
        x, y = np.meshgrid(np.arange(1, self.columns), np.arange(1, self.rows))
        return np.stack([x.ravel(), y.ravel()], axis=1).astype(np.float64) * self.square_mm

    def outline(self) -> F64:
        """(4, 2) corners of the board, mm, clockwise from the origin as printed."""
        w, h = self.size_mm
        return np.array([[0, 0], [w, 0], [w, h], [0, h]], dtype=np.float64)

    def paper(self) -> F64:
        """(4, 2) corners of the printed sheet, mm in the board frame: the board, its rim, and the foot with the
        arrow below it."""
        w, h = self.size_mm
        return np.array([[-RIM_MM, -RIM_MM], [w + RIM_MM, -RIM_MM], [w + RIM_MM, h + FOOT_MM], [-RIM_MM, h + FOOT_MM]])

    def marker_corners(self) -> F64:
        """(markers, 4, 2) corners of each marker in board order, mm, clockwise from its own top left."""
        return _marker_corners(self.kind)


SPECS = {k: CardSpec(k, k.columns, k.rows, k.square_mm, k.marker_mm) for k in CardKind}


def dictionary() -> Any:
    """The marker dictionary of the cards."""
    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_1000)


@cache
def _marker_corners(kind: CardKind) -> F64:
    s = SPECS[kind]
    board = cv2.aruco.CharucoBoard((s.columns, s.rows), s.square_mm, s.marker_mm, dictionary(), np.arange(s.markers))
    return np.asarray(board.getObjPoints(), dtype=np.float64)[:, :, :2]
