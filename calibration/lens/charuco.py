"""Finding ChArUco boards in a photo: markers by OpenCV, corners predicted from them and refined here."""

from __future__ import annotations

import cv2
import numpy as np

from calibration.lens.boards import Charuco, marker_dictionary
from calibration.lens.chessboard import BoardView
from calibration.lens.flat import apply_homography, homography
from calibration.lens.grid import LEAST_CONTRAST, MISFIT
from shared.numerics import saddles
from shared.numerics.arrays import F64, U8

LEAST_MARKERS = 2


def find_charuco(gray: U8, board: Charuco) -> list[BoardView]:
    """All boards of this kind in the photo, corners refined; markers are told from each other by number."""
    settings = cv2.aruco.DetectorParameters()
    settings.minMarkerPerimeterRate = 0.01  # the default misses boards seen from afar
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector = cv2.aruco.ArucoDetector(marker_dictionary(board.dictionary), settings)
    quads, ids, _ = detector.detectMarkers(gray)
    if ids is None:
        return []
    seen: dict[int, dict[int, F64]] = {}
    for quad, ident in zip(quads, (int(k) for k in np.asarray(ids).ravel()), strict=True):
        first, number = (
            (board.first_id, 0)
            if board.first_id is not None
            else (ident // board.ids_per_board * board.ids_per_board, ident // board.ids_per_board)
        )
        if 0 <= ident - first < board.markers:
            seen.setdefault(number, {})[ident - first] = np.asarray(quad, np.float64).reshape(4, 2)
    views = (_one(gray, board, number, markers) for number, markers in sorted(seen.items()))
    return [v for v in views if v is not None]


def _one(gray: U8, board: Charuco, number: int, markers: dict[int, F64]) -> BoardView | None:
    if len(markers) < LEAST_MARKERS:
        return None
    drawn = board.marker_corners()
    corners = board.inner_corners()
    idents = np.array(sorted(markers))
    centres = drawn[idents].mean(axis=1)
    start, ax, ay, room = [], [], [], []
    for c in corners:
        order = np.argsort(np.linalg.norm(centres - c, axis=1))
        near = idents[order[:4]]
        if np.linalg.norm(centres[order[0]] - c) > 1.6 * board.square_mm:
            start.append(np.full(2, np.nan))
            ax.append(np.array([1.0, 0.0]))
            ay.append(np.array([0.0, 1.0]))
            room.append(0.0)
            continue
        h = homography(drawn[near].reshape(-1, 2), np.concatenate([markers[int(k)] for k in near]))
        p = apply_homography(h, c + board.square_mm * np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
        u, v = p[1] - p[0], p[2] - p[0]
        start.append(p[0])
        ax.append(u / np.linalg.norm(u))
        ay.append(v / np.linalg.norm(v))
        room.append(abs(u[0] * v[1] - u[1] * v[0]) / max(np.linalg.norm(u), np.linalg.norm(v)))
    places, rooms = np.array(start), np.array(room)
    # inside the white margin round the markers, measured along the diagonal to the marker's corner
    margin = (board.square_mm - board.marker_mm) / 2 * np.sqrt(2) / board.square_mm
    ok = np.isfinite(places).all(axis=1) & (rooms > 6)
    if ok.sum() < 4:
        return None
    half = np.clip(0.9 * margin * rooms, 2.5, 14)
    fit = saddles.refine(gray, places[ok], np.array(ax)[ok], np.array(ay)[ok], half[ok])
    strength = np.median(np.abs(fit.contrast))
    good = (
        np.isfinite(fit.points).all(axis=1)
        & (fit.misfit < MISFIT)
        & (np.abs(fit.contrast) > max(LEAST_CONTRAST, 0.3 * strength))
        & (fit.moved < np.maximum(0.15 * rooms[ok], 1.5))
    )
    if good.sum() < 4:
        return None
    back = np.linalg.inv(homography(corners[ok][good], fit.points[good]))
    sides = [
        np.linalg.norm(np.roll(p, 1, axis=0) - p, axis=1).mean()
        for p in (apply_homography(np.asarray(back, np.float64), q) for q in markers.values())
    ]
    size = (board.columns - 1, board.rows - 1)
    centred = corners - np.array([board.columns, board.rows]) * board.square_mm / 2
    return BoardView(
        centred[ok][good],
        fit.points[good],
        size,
        bool(good.sum() >= 0.9 * len(corners)),
        float(np.median(fit.blur_px[good])),
        float(np.median(rooms[ok][good])),
        float(np.median(fit.sigma_px[good])),
        number,
        float(np.median(sides)) / board.square_mm,
    )
