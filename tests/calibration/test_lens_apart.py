"""Copies, few poses and photos of two cameras among those of a board are found and named."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from board_scene import TRUE, FakeExif, FakePhoto, chess_ink, photograph, poses

from calibration.lens.boards import Chessboard
from calibration.lens.calibrate import calibrate_lens
from shared.errors import UserError

DATA = Path(__file__).parents[1] / "data" / "opencv-doc"
NO_EXIF = FakeExif(None, None, None, None, None, None, None)
SIZE = (400, 300)
HALF = TRUE * np.array([0.5] * 4 + [1] * 5)
INK = chess_ink(7, 5, 25.0)
PLACES = list(poses(7, 1, (112, 87), HALF, SIZE))


def photo(name, pose, seed=0):
    return FakePhoto(name, photograph(INK, pose, seed, HALF, SIZE, fine=2), f"{name}{seed}")


@pytest.fixture(scope="module")
def good():
    return [photo(f"b{k}.jpg", p, k) for k, p in enumerate(PLACES)]


def real(side, numbers):
    paths = sorted(DATA.glob(f"{side}*.jpg"))
    return [FakePhoto(p.name, cv2.imread(str(p), cv2.IMREAD_GRAYSCALE), p.name, NO_EXIF) for p in paths][:numbers]


def test_photos_of_two_real_cameras_without_exif_are_refused_by_name():
    with pytest.raises(UserError, match="two lenses") as error:
        calibrate_lens([*real("left", 8), *real("right", 6)], Chessboard(9, 6))
    assert "left01.jpg" in str(error.value) and "right01.jpg" in str(error.value)


def test_a_photo_saved_again_is_no_second_view(good):
    ok, jpeg = cv2.imencode(".jpg", good[2].gray, [cv2.IMWRITE_JPEG_QUALITY, 60])
    assert ok
    again = replace(good[2], name="again.jpg", sha256="other", gray=cv2.imdecode(jpeg, cv2.IMREAD_GRAYSCALE))
    profile = calibrate_lens([*good, again], Chessboard(7, 5)).profile
    assert [u.name for u in profile.photos if not u.used] == ["again.jpg"]
    assert "just as b2.jpg" in next(u.reason for u in profile.photos if not u.used)


def test_photos_of_one_pose_are_named_as_such():
    r, t = PLACES[0]
    near = [photo(f"n{k}.jpg", (r, t + np.array([1.6 * k, 0.8 * (k % 3), 0.0])), k) for k in range(7)]
    with pytest.raises(UserError, match=r"the board in [1-4] pose|just as") as error:
        calibrate_lens(near, Chessboard(7, 5))
    assert "bent" not in str(error.value)
