"""Real photos by two real cameras, and the intrinsics published with them (Debian's opencv-doc)."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from board_scene import FakeExif, FakePhoto
from scipy import stats

from benchmarks.lens_halves import halves
from calibration.lens import bundle
from calibration.lens.boards import Chessboard
from calibration.lens.bundle import View
from calibration.lens.calibrate import calibrate_lens
from calibration.lens.exchange import read_foreign
from calibration.lens.models import FULL, free_columns
from calibration.lens.robust import robust_fit

DATA = Path(__file__).parents[1] / "data" / "opencv-doc"
SIZE = (640, 480)
EXIF = FakeExif(None, None, None, None, None, None, None)
BOARD = (np.stack(np.meshgrid(np.arange(9), np.arange(6)), axis=-1).reshape(-1, 2) - [4.0, 2.5]) * 25.0
PUBLISHED_PER_VIEW = [
    0.192965463,
    1.18204820,
    0.173180386,
    0.193417311,
    0.159574091,
    0.179683909,
    0.230989486,
    0.241952404,
    0.296267658,
    0.167184874,
    0.202002615,
    0.381039530,
    0.174401343,
]


def gray(path):
    return cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)


@pytest.fixture(scope="module")
def calibrated():
    out = {}
    for side in ("left", "right"):
        photos = [FakePhoto(p.name, gray(p), p.name, EXIF) for p in sorted(DATA.glob(f"{side}*.jpg"))]
        out[side] = calibrate_lens(photos, Chessboard(9, 6, 25.0))
    return out


@pytest.fixture(scope="module")
def as_published():
    """Corners found as OpenCV's calibration sample finds them: cornerSubPix in a window of 23 px."""
    views = []
    for path in sorted(DATA.glob("left*.jpg")):
        picture = gray(path)
        found, seen = cv2.findChessboardCorners(
            picture, (9, 6), flags=cv2.CALIB_CB_ADAPTIVE_THRESH + cv2.CALIB_CB_NORMALIZE_IMAGE
        )
        assert found
        seen = cv2.cornerSubPix(picture, seen, (11, 11), (-1, -1), (3, 30, 0.1))
        views.append(View.of(BOARD, seen.reshape(-1, 2).astype(np.float64)))
    return views


def test_published_corners_give_the_published_intrinsics(as_published):
    # left_intrinsics.yml: f 535.916, c (342.283, 235.571), k -0.26637 -0.038589 0.0017832 -0.00028122 0.23839
    published = read_foreign(DATA / "left_intrinsics.yml")
    fit = bundle.fit(as_published, SIZE, FULL)
    sd = np.sqrt(np.diag(published.covariance))
    np.testing.assert_allclose(fit.theta[2:], published.theta[2:], rtol=0, atol=0.1 * sd[2:].max())
    assert np.all(np.abs(fit.theta - published.theta) < 0.1 * sd)
    per_view = [np.sqrt(np.mean(np.sum(e**2, axis=1))) for e in fit.residuals]
    np.testing.assert_allclose(per_view, PUBLISHED_PER_VIEW, rtol=0, atol=0.005)


def test_the_bad_view_is_found(as_published):
    # its published error is 1.18 px where the others have 0.15 to 0.38: its corners were pulled
    assert list(robust_fit(as_published, SIZE, FULL, fewest=3).dropped) == [1]


def test_published_intrinsics_within_two_deviations_of_ours(calibrated, as_published):
    """The published values carry the bad view in them: their deviations are those of that fit, its residuals
    clustered by view."""
    published = read_foreign(DATA / "left_intrinsics.yml").theta
    ours, theirs = calibrated["left"].fit, bundle.fit(as_published, SIZE, FULL)
    assert theirs.inflation > 2
    u = np.sqrt(np.diag(ours.covariance) + np.diag(theirs.covariance))
    assert np.all(np.abs(ours.theta - published) < 2 * u)
    q = np.linalg.pinv(free_columns(FULL))
    gap = q @ (ours.theta - published)
    square = gap @ np.linalg.solve(q @ (ours.covariance + theirs.covariance) @ q.T, gap)
    assert stats.chi2.sf(square, len(gap)) > 0.01


@pytest.mark.parametrize("side", ["left", "right"])
def test_mean_error_at_most_the_published(calibrated, side):
    profile = calibrated[side].profile
    assert profile.rms_px < 0.3926  # avg_reprojection_error in left_intrinsics.yml
    assert profile.held_out_px < 0.3926
    assert sum(u.used for u in profile.photos) >= 12


def test_both_cameras_of_the_rig_are_alike(calibrated):
    # common practice, no source: two cameras of one type have focal lengths within some 2 %
    left, right = (calibrated[s].profile.theta for s in ("left", "right"))
    assert left[0] == pytest.approx(right[0], rel=0.02)
    assert left[4] == pytest.approx(right[4], abs=0.05)


@pytest.mark.parametrize("side", ["left", "right"])
def test_random_halves_of_the_photos_agree_within_their_deviations(calibrated, side):
    pulls, squares = halves(list(calibrated[side].views), 24, 11)
    # 24 draws, each of 8 parameters that move together: a share of 0.95 scatters by 0.05 or more. With independent
    # corners' covariance it is 0.58 to 0.64, and the median of the squares 38 to 40
    assert np.mean(np.abs(pulls) < 2) > 0.8
    assert np.mean(np.abs(pulls) < 2, axis=0).min() > 0.65
    assert 3.0 < np.median(squares) < 11.0  # chi-square of 8 degrees of freedom: 7.34


def test_same_answer_as_opencv_on_the_same_corners(calibrated):
    views = calibrated["right"].views
    points = [np.column_stack([v.board, np.zeros(len(v.board))]).astype(np.float32) for v in views]
    flags = cv2.CALIB_FIX_ASPECT_RATIO
    k = np.array([[500.0, 0, 320], [0, 500, 240], [0, 0, 1]])
    rms, k, d, _, _ = cv2.calibrateCamera(
        points,
        [v.pixels.astype(np.float32).reshape(-1, 1, 2) for v in views],
        SIZE,
        k,
        None,
        flags=flags,
        criteria=(3, 200, 1e-12),
    )
    ours = bundle.fit([View.of(v.board, v.pixels) for v in views], SIZE, FULL)
    np.testing.assert_allclose(ours.theta, [k[0, 0], k[1, 1], k[0, 2], k[1, 2], *d.ravel()[:5]], rtol=2e-3, atol=2e-4)
    assert np.sqrt(np.mean(np.concatenate(ours.residuals) ** 2) * 2) <= rms + 1e-5


def test_coverage_says_what_is_missing(calibrated):
    coverage = calibrated["right"].coverage
    assert coverage.regions["upper right corner"] == 0
    assert any("upper right corner" in a and "take two more there" in a for a in coverage.advice)
