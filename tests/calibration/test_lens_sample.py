"""The trainer's 12-megapixel board photos: the true lens lies within the stated uncertainty."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from calibration.lens.boards import Chessboard
from calibration.lens.calibrate import calibrate_lens
from calibration.lens.match import guess_lens
from calibration.lens.models import free_columns
from calibration.lens.profiles import load_lens
from calibration.lens.report import lens_picture
from vision.image.photo import open_photo

TRAINER = Path(__file__).parents[2] / "samples" / "trainer"
CAMERA = json.loads((TRAINER / "truth.json").read_text())["camera"]
TRUTH = np.array([CAMERA["f"], CAMERA["f"], CAMERA["cx"], CAMERA["cy"], *CAMERA["dist"]])


@pytest.fixture(scope="module")
def result():
    return calibrate_lens((open_photo(p) for p in sorted((TRAINER / "boards").glob("*.jpg"))), Chessboard())


def test_true_intrinsics_within_two_deviations_each_and_together(result):
    theta, covariance = np.array(result.profile.theta), np.array(result.profile.covariance)
    sd = np.sqrt(np.diag(covariance))
    assert np.all(np.abs(theta - TRUTH) < 2 * sd)
    q = np.linalg.pinv(free_columns(result.profile.free))
    gap = q @ (theta - TRUTH)
    square = float(gap @ np.linalg.solve(q @ covariance @ q.T, gap))
    assert 0.01 < stats.chi2.sf(square, len(gap)) < 0.999
    assert sd[0] < 1.5 and sd[2] < 1.0  # and the uncertainty is worth having: f to 0.05 %


def test_corners_to_a_twentieth_of_a_pixel(result):
    assert result.fit.sigma < 0.05
    assert result.profile.held_out_px < 0.08


def test_board_size_is_found_and_all_photos_used(result):
    assert "9 x 6" in result.profile.board
    assert all(u.used for u in result.profile.photos)
    assert result.profile.photos[7].corners == 50  # four corners lie outside the picture


def test_the_shipped_profile_is_this_one(result):
    shipped = load_lens(TRAINER / "lens" / "fieldcam-f1.json")
    assert shipped.ident == result.profile.ident
    assert [u.sha256 for u in shipped.photos] == [u.sha256 for u in result.profile.photos]
    sd = np.sqrt(np.diag(np.array(result.profile.covariance)))
    assert np.all(np.abs(np.array(shipped.theta) - result.profile.theta) < 0.5 * sd)


def test_the_picture_is_drawn(result):
    assert lens_picture(result)[:8] == b"\x89PNG\r\n\x1a\n"


def test_the_guess_covers_the_truth():
    exif = open_photo(TRAINER / "boards" / "board01.jpg").exif
    guess = guess_lens(exif, (4000, 3000))
    assert not guess.sound
    gap = guess.theta - TRUTH
    assert np.all(np.abs(gap[:8]) < 2 * np.sqrt(np.diag(guess.covariance))[:8])
