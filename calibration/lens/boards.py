"""The flat boards a lens is calibrated with: a plain chessboard, or a ChArUco board."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from shared.errors import UserError
from shared.numerics.arrays import F64

SQUARE_LIMITS_MM = (1.0, 500.0)


@dataclass(frozen=True)
class Chessboard:
    """A chessboard: inner corners along its two sides (0: to be found out), side of a square, mm.

    The size of a square does not touch the lens, only the distances told in the report.
    """

    columns: int = 0
    rows: int = 0
    square_mm: float = 25.0

    def __post_init__(self) -> None:
        """Refuse impossible boards. Raises UserError."""
        check_square(self.square_mm)
        if (self.columns, self.rows) != (0, 0) and min(self.columns, self.rows) < 3:
            raise UserError(
                f"board {self.columns}x{self.rows}",
                "a board has at least 3 x 3 inner corners",
                "count the corners where four squares meet, not the squares (10 x 7 squares: 9x6)",
            )

    def __str__(self) -> str:
        """The board in words, for the profile."""
        return f"chessboard, {self.columns} x {self.rows} inner corners of {self.square_mm:g} mm"


@dataclass(frozen=True)
class Charuco:
    """A ChArUco board (OpenCV's current pattern): squares along its sides, mm, marker dictionary.

    first_id : of its first marker; None with `ids_per_board`: boards numbered 0, 1, ... whose marker ids
    start at ids_per_board times the number, several of which may lie in one photo.
    """

    columns: int
    rows: int
    square_mm: float
    marker_mm: float
    dictionary: str = "5X5_1000"
    first_id: int | None = 0
    ids_per_board: int = 32

    def __post_init__(self) -> None:
        """Refuse impossible boards. Raises UserError."""
        check_square(self.square_mm)
        if min(self.columns, self.rows) < 3:
            raise UserError(
                f"ChArUco board {self.columns}x{self.rows}",
                "it has at least 3 x 3 squares",
                "count the squares along both sides",
            )
        if not 0 < self.marker_mm < self.square_mm:
            raise UserError(
                f"marker of {self.marker_mm:g} mm",
                f"it must be smaller than its square of {self.square_mm:g} mm",
                "measure both on the print",
            )
        marker_dictionary(self.dictionary)

    def __str__(self) -> str:
        """The board in words, for the profile."""
        return (
            f"ChArUco board, {self.columns} x {self.rows} squares of {self.square_mm:g} mm, markers of "
            f"{self.marker_mm:g} mm"
        )

    @property
    def markers(self) -> int:
        """Markers on the board."""
        return self.columns * self.rows // 2

    def marker_corners(self) -> F64:
        """(markers, 4, 2) corners of the markers in id order, mm from the board's first corner."""
        board = cv2.aruco.CharucoBoard(
            (self.columns, self.rows),
            self.square_mm,
            self.marker_mm,
            marker_dictionary(self.dictionary),
            np.arange(self.markers),
        )
        return np.asarray(board.getObjPoints(), np.float64)[:, :, :2]

    def inner_corners(self) -> F64:
        """(n, 2) chessboard corners, row by row, mm."""
        x, y = np.meshgrid(np.arange(1, self.columns), np.arange(1, self.rows))
        return np.asarray(np.stack([x.ravel(), y.ravel()], axis=1) * self.square_mm, np.float64)


Board = Chessboard | Charuco


def marker_dictionary(name: str) -> Any:
    """OpenCV's predefined dictionary of this name ("5X5_1000"). Raises UserError."""
    value = getattr(cv2.aruco, f"DICT_{name.upper().removeprefix('DICT_')}", None)
    if not isinstance(value, int):
        raise UserError(f"marker dictionary {name!r}", "is none of OpenCV's", 'give one such as "5X5_1000"')
    return cv2.aruco.getPredefinedDictionary(value)


def check_square(square_mm: float) -> None:
    """Refuse squares no board has. Raises UserError."""
    low, high = SQUARE_LIMITS_MM
    if not low <= square_mm <= high:
        raise UserError(
            f"square of {square_mm:g} mm",
            f"a square measures {low:g} to {high:g} mm",
            "give the side of one square in millimetres",
        )


def parse_size(text: str) -> tuple[int, int]:
    """ "9x6" as two counts. Raises UserError."""
    parts = text.lower().replace("×", "x").split("x")
    try:
        columns, rows = (int(p) for p in parts)
    except ValueError:
        raise UserError(f"board {text!r}", "is no size", 'write it as "9x6"') from None
    return columns, rows
