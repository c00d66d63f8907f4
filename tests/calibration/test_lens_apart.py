"""Copies, few poses and photos of two cameras among those of a board are found and named."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from board_scene import TRUE, FakeExif, FakePhoto, chess_ink, photograph, poses

from calibration.lens.apart import two_lenses
from calibration.lens.boards import Chessboard
from calibration.lens.bundle import View, fit
from calibration.lens.calibrate import calibrate_lens
from calibration.lens.flat import rotation
from calibration.lens.model import distort
from calibration.lens.models import FULL
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


def test_a_lens_whose_glass_is_off_centre_is_one_lens():
    """Two lenses without tangential terms tell its corners far better than one such lens: no sign of two cameras."""
    theta = np.array([2570.0, 2570.0, 1979.0, 1500.0, -0.046, -0.001, 0.00087, 0.00054, 0.0])
    board = np.stack(np.meshgrid(25.0 * np.arange(9) - 100, 25.0 * np.arange(6) - 62.5), -1).reshape(-1, 2)
    rng, noise = np.random.default_rng(5), np.random.default_rng(1)
    views: list[View] = []
    while len(views) < 12:  # farther off and nearer to the picture's edges than `poses`
        r = rotation(rng.uniform(-0.5, 0.5, 3))
        z = float(rng.uniform(1.8, 3.2)) * 250 * 2570 / 4000
        p = np.column_stack([board, np.zeros(len(board))]) @ r.T
        p += [*(rng.uniform(-0.5, 0.5, 2) * [4000, 3000] / 2570 * z), z]
        seen = distort(p[:, :2] / p[:, 2:], theta)
        if np.all((seen > 10) & (seen < [3990, 2990])):
            views.append(View.of(board, seen + noise.normal(0, 0.03, board.shape)))
    whole, photos = fit(views, (4000, 3000), FULL), list(range(12))
    assert two_lenses(views, photos, (4000, 3000), whole) is None
    moved = [View.of(v.board, v.pixels * 1.01) if k % 2 else v for k, v in enumerate(views)]  # another zoom
    assert two_lenses(moved, photos, (4000, 3000), fit(moved, (4000, 3000), FULL)) is not None


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
