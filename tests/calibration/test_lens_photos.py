"""Which photos are used, which are left out and why, and what is refused in one line."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from board_scene import TRUE, FakeExif, FakePhoto, chess_ink, image_ink, photograph, poses
from scipy import stats

from calibration.lens.boards import Charuco, Chessboard, marker_dictionary, parse_size
from calibration.lens.calibrate import calibrate_lens
from calibration.lens.models import free_columns
from shared.errors import UserError

INK = chess_ink(7, 5, 25.0)
PLACES = list(poses(9, 1, (112, 87)))


@pytest.fixture(scope="module")
def good():
    return [FakePhoto(f"b{k}.jpg", photograph(INK, p, k, fine=2), f"sha{k}") for k, p in enumerate(PLACES)]


def reasons(result):
    return {u.name: u.reason for u in result.profile.photos if not u.used}


def agrees(profile):
    q = np.linalg.pinv(free_columns(profile.free))
    gap, c = q @ (np.array(profile.theta) - TRUE), q @ np.array(profile.covariance) @ q.T
    return stats.chi2.sf(gap @ np.linalg.solve(c, gap), len(gap)) > 0.01


def one_line(error):
    text = str(error.value)
    assert "\n" not in text and text.count(";") >= 1 and len(text) < 400
    return text


def test_poor_photos_are_left_out_each_with_its_reason(good):
    blurred = cv2.GaussianBlur(good[0].gray, (0, 0), 6)
    h, w = good[1].gray.shape
    part = good[1].gray.copy()
    part[:, int(np.median(np.nonzero(part > 200)[1])) + 12 :] = 120
    others = [
        FakePhoto("blurred.jpg", blurred, "x1"),
        FakePhoto("part.jpg", part, "x3"),
        FakePhoto("empty.jpg", np.full((h, w), 90, np.uint8), "x2"),
        FakePhoto("twice.jpg", good[2].gray, "sha2"),
        FakePhoto("phone.jpg", good[3].gray, "x4", FakeExif(make="Other", model="Phone")),
        FakePhoto("zoomed.jpg", good[4].gray, "x5", FakeExif(digital_zoom=2.0)),
        FakePhoto("longer.jpg", good[5].gray, "x6", FakeExif(focal_mm=9.2)),
        FakePhoto("small.jpg", cv2.resize(good[6].gray, None, fx=0.8, fy=0.8, interpolation=cv2.INTER_AREA), "x7"),
    ]
    result = calibrate_lens([*good, *others], Chessboard(7, 5))
    why = reasons(result)
    assert set(why) == {o.name for o in others}
    assert "twice.jpg" in why and "the same photo as b2.jpg" in why["twice.jpg"]
    assert "no board found" in why["empty.jpg"]
    assert "blurred" in why["blurred.jpg"]
    assert "of the board's 35 corners seen" in why["part.jpg"]
    assert "Other Phone" in why["phone.jpg"]
    assert "digital zoom" in why["zoomed.jpg"]
    assert "focal length 9.2" in why["longer.jpg"]
    assert "640 x 480" in why["small.jpg"]
    assert agrees(result.profile)


def test_a_photo_stored_turned_by_its_tag_counts_in_the_sensors_layout(good):
    turned = [
        FakePhoto(p.name, np.ascontiguousarray(np.rot90(p.gray, -1)), p.sha256, replace(p.exif, orientation=6))
        if k % 2
        else p
        for k, p in enumerate(good)
    ]
    result = calibrate_lens(turned, Chessboard(7, 5))
    assert result.profile.size == (800, 600) and not reasons(result)
    assert agrees(result.profile)


def test_an_upside_down_tag_is_settled_by_what_fits(good):
    """Stored as the sensor sees it and shown turned; or turned by a program. Both come out right."""
    stored = [
        replace(p, gray=np.ascontiguousarray(p.gray[::-1, ::-1]), exif=replace(p.exif, orientation=3))
        if k in (2, 5)
        else p
        for k, p in enumerate(good)
    ]
    shown = [replace(p, exif=replace(p.exif, orientation=3)) if k in (2, 5) else p for k, p in enumerate(good)]
    for photos in (stored, shown):
        result = calibrate_lens(photos, Chessboard(7, 5))
        assert not reasons(result) and agrees(result.profile)


def test_an_upright_photo_without_tag_among_wide_ones_is_left_out(good):
    upright = replace(good[8], gray=np.ascontiguousarray(np.rot90(good[8].gray)), sha256="up")
    result = calibrate_lens([*good[:8], upright], Chessboard(7, 5))
    assert "600 x 800 pixels, the others 800 x 600" in reasons(result)["b8.jpg"]


@pytest.mark.parametrize(
    ("board", "says"), [(Chessboard(9, 6), "7 x 5 inner corners"), (Chessboard(8, 6), "not squares")]
)
def test_wrong_board_size_is_refused(good, board, says):
    with pytest.raises(UserError) as error:
        calibrate_lens(good, board)
    assert says in one_line(error)


def test_too_few_photos_are_refused(good):
    with pytest.raises(UserError) as error:
        calibrate_lens(good[:4], Chessboard(7, 5))
    assert "at least 5" in one_line(error)


def test_two_cameras_are_refused(good):
    mixed = [replace(p, exif=FakeExif(model="F2")) if k % 2 else p for k, p in enumerate(good)]
    with pytest.raises(UserError) as error:
        calibrate_lens(mixed, Chessboard(7, 5))
    assert "F2" in one_line(error)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Chessboard(9, 6, 0.0), "1 to 500 mm"),
        (lambda: Chessboard(2, 6), "at least 3 x 3"),
        (lambda: Charuco(7, 5, 25, 30), "smaller than its square"),
        (lambda: Charuco(7, 5, 25, 18, "5X5"), "none of OpenCV"),
        (lambda: parse_size("nine"), "no size"),
    ],
)
def test_impossible_boards_are_refused(make, says):
    with pytest.raises(UserError) as error:
        make()
    assert says in one_line(error)


@pytest.fixture(scope="module")
def charuco():
    board = cv2.aruco.CharucoBoard((7, 5), 25.0, 18.0, marker_dictionary("5X5_1000"), np.arange(32, 49))
    image = cv2.copyMakeBorder(board.generateImage((7 * 75, 5 * 75)), 24, 24, 24, 24, cv2.BORDER_CONSTANT, value=235)
    ink = image_ink(image.astype(np.float64), image.shape[1] / 3)
    return [FakePhoto(f"c{k}", photograph(ink, p, k), f"c{k}") for k, p in enumerate(poses(8, 4, (96, 71)))]


def test_station_cards_calibrate_a_lens(charuco):
    """Card number 1 carries the ids 32 and up; its number need not be told."""
    result = calibrate_lens(charuco, Charuco(7, 5, 25.0, 18.0, first_id=None))
    assert not reasons(result)
    assert result.profile.rms_px < 0.2
    theta, sd = np.array(result.profile.theta), np.sqrt(np.diag(np.array(result.profile.covariance)))
    assert np.all(np.abs(theta - TRUE)[:4] < 3 * sd[:4])


def test_a_wrong_marker_size_shows(charuco):
    with pytest.raises(UserError) as error:
        calibrate_lens(charuco, Charuco(7, 5, 25.0, 15.0, first_id=32))
    assert "of a square, not 0.60" in one_line(error)
