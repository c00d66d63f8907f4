"""Markers of the station cards in a part of a photo: OpenCV finds the quadrangles, their bits are read here.

OpenCV compares each candidate with every marker of the dictionary one after the other, which takes a
millisecond each for a thousand markers; reading all candidates' bits at once and comparing them in one
product of matrices takes a few in all. What counts as a marker is as in OpenCV's ArucoDetector: a dark
border, and bits that differ from a marker's by no more than the dictionary may correct.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from shared.numerics.arrays import F32, F64, U8, Bools
from vision.cards.spec import dictionary

CELLS = 7
"""Cells along a side: five bits and the border."""
CORRECTION_SHARE = 0.5
"""Share of the dictionary's correctable bits that is used. By judgement: half keeps clutter from being read as
markers; more finds no card that its other markers do not show."""
BORDER_ERRORS = 8
"""Bright cells in the border that are accepted (OpenCV's maxErroneousBitsInBorderRate, 0.35 of 25 bits)."""
LEAST_CONTRAST = 12.0
"""Grey levels between border and bright cells below which there is no marker. A third of the step that
`vision.assess.gates.MIN_CONTRAST` asks for: a card in fog is found, and the photo refused with that reason."""
_POINTS = 3
"""Grey is taken at this many points across a cell."""
_MIDDLE = 0.6
"""Part of a cell, about its middle, over which they are spread: the rim is blurred with its neighbour's."""


def find_markers(part: U8, window: int = 17) -> list[tuple[int, F64]]:
    """Number and corners, (4, 2) pixels of `part` in the marker's own order, of every marker in it.

    window : of the adaptive threshold, pixels. Of quadrangles round one marker the best read comes first.
    """
    quads = _quadrangles(part, window)
    if not len(quads):
        return []
    bright, border = _cells(part, quads)
    idents, turns, wrong = _identify(bright)
    good = (border <= BORDER_ERRORS) & (wrong <= _allowed())
    order = sorted(np.flatnonzero(good), key=lambda k: (int(wrong[k]), int(border[k]), -_side(quads[k])))
    return [(int(idents[k]), np.roll(quads[k], -int(turns[k]), axis=0)) for k in order]


def _quadrangles(part: U8, window: int) -> F64:
    """(n, 4, 2) corners of everything that has four, clockwise as seen, as OpenCV's detector proposes."""
    p = cv2.aruco.DetectorParameters()
    p.adaptiveThreshWinSizeMin, p.adaptiveThreshWinSizeMax, p.adaptiveThreshWinSizeStep = window, window, 1
    p.minMarkerPerimeterRate = min(0.03, 4 * 12 / max(part.shape))
    p.minMarkerDistanceRate = 0.02
    p.minDistanceToBorder = 1
    p.polygonalApproxAccuracyRate = 0.06
    p.perspectiveRemovePixelPerCell = 4
    corners, _, rejected = cv2.aruco.ArucoDetector(_one_marker(), p).detectMarkers(part)
    quads = [np.reshape(c, (4, 2)) for c in (*corners, *rejected)]
    return np.array(quads, dtype=np.float64).reshape(-1, 4, 2)


def _cells(part: U8, quads: F64) -> tuple[Bools, NDArray[np.int_]]:
    """(n, 5, 5) bits, bright or not, and (n,) the number of border cells that are not dark."""
    u = (np.arange(CELLS)[:, None] + 0.5 + (np.linspace(-0.5, 0.5, _POINTS) * _MIDDLE)[None, :]).ravel()
    grid = np.stack(np.meshgrid(u, u), axis=-1).reshape(-1, 2)
    square = np.array([[0, 0], [CELLS, 0], [CELLS, CELLS], [0, CELLS]], dtype=np.float32)
    maps = np.array([cv2.getPerspectiveTransform(square, q.astype(np.float32)) for q in quads])
    spots = np.c_[grid, np.ones(len(grid))] @ maps.transpose(0, 2, 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        x, y = np.nan_to_num(spots[..., :2] / spots[..., 2:]).astype(np.float32).transpose(2, 0, 1)
    grey = cv2.remap(part, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    cell = grey.reshape(-1, CELLS, _POINTS, CELLS, _POINTS).mean(axis=(2, 4))
    inner = cell[:, 1:-1, 1:-1]
    rim = np.concatenate([cell[:, 0], cell[:, -1], cell[:, 1:-1, 0], cell[:, 1:-1, -1]], axis=1)
    dark, light = np.median(rim, axis=1), np.quantile(inner.reshape(len(quads), -1), 0.85, axis=1)
    level = (0.5 * (dark + light))[:, None]
    bad = (rim > level).sum(axis=1) + np.where(light - dark < LEAST_CONTRAST, len(rim[0]), 0)
    return inner > level[:, :, None], bad


def _identify(bits: Bools) -> tuple[NDArray[np.int_], NDArray[np.int_], NDArray[np.int_]]:
    """For each (5, 5) pattern the nearest marker, where its own first corner is, and how many bits differ."""
    seen = 2.0 * bits.reshape(len(bits), -1).astype(np.float32) - 1.0
    alike = seen @ _patterns().T
    best = alike.argmax(axis=1)
    wrong = np.rint((seen.shape[1] - alike[np.arange(len(seen)), best]) / 2).astype(np.int_)
    return best // 4, best % 4, wrong


@cache
def _patterns() -> F32:
    """(4000, 25): every marker's bits as +1 and -1, seen with its first corner at corner 0, 1, 2, 3."""
    book = dictionary()
    rows = []
    for stored in book.bytesList:
        bits = 2.0 * cv2.aruco.Dictionary.getBitsFromByteList(stored[None], book.markerSize) - 1.0
        rows += [np.rot90(bits, -turn).ravel() for turn in range(4)]
    return np.array(rows, dtype=np.float32)


@cache
def _one_marker() -> Any:
    book = dictionary()
    return cv2.aruco.Dictionary(book.bytesList[:1], book.markerSize, 0)


@cache
def _allowed() -> int:
    return int(CORRECTION_SHARE * int(dictionary().maxCorrectionBits))


def _side(quad: F64) -> float:
    return float(np.linalg.norm(quad[0] - quad[2]))
