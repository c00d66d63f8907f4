"""Markers read all at once are those that OpenCV's own detector reads one by one, to the same corners."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from samples import TRAINER
from vision.cards.detect import _busy_places
from vision.cards.markers import find_markers
from vision.cards.spec import dictionary
from vision.image.photo import open_photo
from vision.image.pixels import halved


def opencv_markers(part: np.ndarray) -> dict[int, np.ndarray]:
    """The reference: cv2.aruco.ArucoDetector with the whole dictionary."""
    p = cv2.aruco.DetectorParameters()
    p.adaptiveThreshWinSizeMin = p.adaptiveThreshWinSizeMax = 17
    p.minMarkerPerimeterRate = min(0.03, 4 * 12 / max(part.shape))
    p.minMarkerDistanceRate, p.minDistanceToBorder = 0.02, 1
    p.polygonalApproxAccuracyRate, p.errorCorrectionRate = 0.06, 0.5
    p.perspectiveRemovePixelPerCell = 6
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary(), p).detectMarkers(part)
    return {} if ids is None else {int(i): c.reshape(4, 2) for i, c in zip(ids.ravel(), corners, strict=True)}


@pytest.mark.parametrize("name", ["L1", "L5-two", "R3", "R6"])
def test_as_opencv_reads_them(name: str) -> None:
    gray = open_photo(TRAINER / "photos" / f"{name}.jpg").gray
    seen = 0
    for x0, y0, x1, y1 in _busy_places(gray, halved(gray)):
        part = np.ascontiguousarray(gray[y0:y1, x0:x1])
        theirs = opencv_markers(part)
        ours: dict[int, np.ndarray] = {}
        for number, corners in find_markers(part):
            ours.setdefault(number, corners)
        assert set(theirs) <= set(ours)
        assert len(set(ours) - set(theirs)) <= 1
        for number, corners in theirs.items():
            np.testing.assert_allclose(ours[number], corners, rtol=0, atol=0.01)
        seen += len(theirs)
    assert seen >= 11


@pytest.mark.parametrize("turn", range(4))
@pytest.mark.parametrize("number", [0, 37, 512, 991])
def test_corners_in_the_markers_own_order(number: int, turn: int) -> None:
    picture = np.full((150, 150), 220, np.uint8)
    picture[40:110, 40:110] = cv2.aruco.generateImageMarker(dictionary(), number, 70)
    first = [(40, 40), (109, 40), (109, 109), (40, 109)]
    picture = np.ascontiguousarray(np.rot90(picture, -turn))  # clockwise as seen
    ((found, corners),) = find_markers(cv2.GaussianBlur(picture, (0, 0), 1.0))
    assert found == number
    np.testing.assert_allclose(corners, np.roll(first, -turn, axis=0), rtol=0, atol=2.0)


def test_one_wrong_bit_is_mended_and_two_are_refused() -> None:
    picture = np.full((150, 150), 220, np.uint8)
    picture[40:110, 40:110] = cv2.aruco.generateImageMarker(dictionary(), 77, 70)
    for wrong, expected in ((1, [77]), (2, [])):
        spoiled = picture.copy()
        for cell in range(wrong):
            y, x = 60 + 20 * cell, 70
            spoiled[y : y + 10, x : x + 10] = 255 - spoiled[y : y + 10, x : x + 10]
        assert [number for number, _ in find_markers(spoiled)] == expected


def test_nothing_in_nothing() -> None:
    assert find_markers(np.full((80, 90), 128, np.uint8)) == []
    noise = np.random.default_rng(3).integers(0, 255, (200, 300), dtype=np.uint8)
    assert find_markers(noise) == []
