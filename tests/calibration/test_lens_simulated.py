"""The stated uncertainty against the actual scatter, on simulated corners."""

from __future__ import annotations

import numpy as np
import pytest
from board_scene import SIZE, TRUE, poses
from scipy import stats

from calibration.lens import bundle
from calibration.lens.board_shape import check_shape
from calibration.lens.boards import Chessboard
from calibration.lens.bundle import View
from calibration.lens.chessboard import BoardView
from calibration.lens.flat import rotation
from calibration.lens.model import distort
from calibration.lens.model_choice import choose_model
from calibration.lens.models import FULL, free_columns, shape_basis
from calibration.lens.projection import project_board
from calibration.lens.robust import reweighted, robust_fit
from shared.errors import UserError

BOARD = (np.stack(np.meshgrid(np.arange(9), np.arange(6)), axis=-1).reshape(-1, 2) - [4.0, 2.5]) * 25.0
THETA = np.array([*TRUE[:8], 0.04])


def seen(pose, board=BOARD):
    points = np.column_stack([board, np.zeros(len(board))]) if board.shape[1] == 2 else board
    p = points @ pose[0].T + pose[1]
    return distort(p[:, :2] / p[:, 2:], THETA)


@pytest.fixture(scope="module")
def clean():
    return [View.of(BOARD, seen(p)) for p in poses(12, 5, (137, 100), THETA)]


def noisy(views, rng, sigma):
    return [View.of(v.board, v.pixels + rng.normal(0, sigma, v.pixels.shape)) for v in views]


@pytest.mark.parametrize("sigma", [0.05, 0.2])
def test_2u_covers_the_truth_95_percent(clean, sigma):
    rng = np.random.default_rng(17)
    q = np.linalg.pinv(free_columns(FULL))
    start = bundle.fit(clean, SIZE, FULL)
    inside, squares = [], []
    for _ in range(120):
        fit = bundle.fit(noisy(clean, rng, sigma), SIZE, FULL, start=start)
        gap, c = q @ (fit.theta - THETA), q @ fit.covariance @ q.T
        inside.append(np.abs(gap) < 2 * np.sqrt(np.diag(c)))
        squares.append(gap @ np.linalg.solve(c, gap))
    # 120 draws of 8 correlated parameters: the share scatters by about 1 %
    assert 0.93 <= np.mean(inside) <= 0.985
    assert stats.kstest(squares, stats.chi2(8).cdf).pvalue > 0.001


def test_jacobians_are_the_derivatives():
    r, t = next(poses(1, 9, (137, 100)))
    points = np.column_stack([BOARD, np.random.default_rng(1).normal(size=len(BOARD))])
    _, by_theta, by_pose, by_board = project_board(THETA, r, t, points)
    for k in range(9):
        d = np.zeros(9)
        d[k] = 1e-6 * max(1, abs(THETA[k]))
        step = (project_board(THETA + d, r, t, points)[0] - project_board(THETA - d, r, t, points)[0]) / (2 * d[k])
        np.testing.assert_allclose(by_theta[:, :, k], step, rtol=1e-5, atol=1e-4)
    for k in range(6):
        d = np.zeros(6)
        d[k] = 1e-6

        def moved(d):
            return project_board(THETA, rotation(d[:3]) @ r, t + d[3:], points)[0]

        np.testing.assert_allclose(by_pose[:, :, k], (moved(d) - moved(-d)) / 2e-6, rtol=1e-4, atol=1e-3)
    for k in range(3):
        d = np.zeros(3)
        d[k] = 1e-5
        step = (project_board(THETA, r, t, points + d)[0] - project_board(THETA, r, t, points - d)[0]) / 2e-5
        np.testing.assert_allclose(by_board[:, :, k], step, rtol=1e-4, atol=1e-4)


def test_pulled_corners_and_a_spoilt_view_do_not_bend_the_lens(clean):
    rng = np.random.default_rng(3)
    views = noisy(clean, rng, 0.05)
    views[4].pixels[10:13] += [1.5, -1.0]  # something small crosses the board: corners alone go
    views[7].pixels[::2] += rng.normal(0, 3, views[7].pixels[::2].shape)
    result = robust_fit(views, SIZE, FULL, fewest=3)
    assert list(result.dropped) == [7]
    assert result.views[4].weight[10:13].sum() == 0 and result.views[4].weight.sum() >= 49
    q = np.linalg.pinv(free_columns(FULL))
    gap, c = q @ (result.fit.theta - THETA), q @ result.fit.covariance @ q.T
    assert stats.chi2.sf(gap @ np.linalg.solve(c, gap), 8) > 0.01


def test_the_boards_own_shape_is_found_with_its_uncertainty():
    rng = np.random.default_rng(8)
    shape = np.array([0.4, -0.2, 0.3, 0.1, -0.15])  # mm at the end of the longer half
    points = np.column_stack([BOARD, np.zeros(len(BOARD))]) + shape_basis(BOARD, 100.0) @ shape
    views = [View.of(BOARD, seen(p, points) + rng.normal(0, 0.05, (54, 2))) for p in poses(12, 5, (137, 100), THETA)]
    plain, _ = reweighted(views, SIZE, FULL)
    fitted, _ = reweighted(views, SIZE, FULL, half_mm=100.0)
    assert fitted.sigma == pytest.approx(0.05, rel=0.1)
    assert plain.sigma > 1.5 * fitted.sigma
    gap = fitted.shape - shape
    assert stats.chi2.sf(gap @ np.linalg.solve(fitted.shape_covariance, gap), 5) > 0.01


def test_square_on_views_leave_the_focal_length_open():
    views = [View.of(BOARD, seen((np.eye(3), np.array([x, y, 600.0])))) for x in (-40.0, 0, 40) for y in (-20.0, 20)]
    rng = np.random.default_rng(2)
    try:
        fit = bundle.fit(noisy(views, rng, 0.1), SIZE, FULL)
    except np.linalg.LinAlgError:
        return
    assert np.sqrt(fit.covariance[0, 0]) > 0.02 * THETA[0]


def bent_views(shape, rng):
    points = np.column_stack([BOARD, np.zeros(len(BOARD))]) + shape_basis(BOARD, 100.0) @ np.array(shape)
    views = [View.of(BOARD, seen(p, points) + rng.normal(0, 0.05, (54, 2))) for p in poses(12, 5, (137, 100), THETA)]
    return views, [BoardView(v.board, v.pixels, (9, 6), True, 1.0, 30.0, 0.05) for v in views]


@pytest.mark.parametrize(
    ("shape", "says"),
    [
        ((0, 0, 2.0, 0, 0), "bent"),
        ((0, 0, 0, 0, 1.5), "bent"),
        ((4.0, 0, 0, 0, 0), "not square"),
        ((0, 4.0, 0, 0, 0), "not square"),
    ],
)
def test_a_bent_or_skewed_board_is_refused_in_one_line(shape, says):
    views, boards = bent_views(shape, np.random.default_rng(6))
    with pytest.raises(UserError, match=says) as error:
        check_shape(robust_fit(views, SIZE, FULL, fewest=3), boards, Chessboard(9, 6, 25.0), SIZE)
    assert "\n" not in str(error.value)


def test_a_slightly_uneven_print_is_taken_into_account():
    views, boards = bent_views((0.3, 0, 0.15, 0, 0), np.random.default_rng(6))
    verdict = check_shape(robust_fit(views, SIZE, FULL, fewest=3), boards, Chessboard(9, 6, 25.0), SIZE)
    assert verdict.kept and len(verdict.notes) == 2
    assert abs(verdict.stretch - 0.003) < 3 * verdict.u_stretch
    gap = np.linalg.pinv(free_columns(FULL)) @ (verdict.fit.theta - THETA)
    c = np.linalg.pinv(free_columns(FULL)) @ verdict.fit.covariance @ np.linalg.pinv(free_columns(FULL)).T
    assert stats.chi2.sf(gap @ np.linalg.solve(c, gap), 8) > 0.01


def test_a_true_board_is_left_alone():
    views, boards = bent_views((0, 0, 0, 0, 0), np.random.default_rng(6))
    assert not check_shape(robust_fit(views, SIZE, FULL, fewest=3), boards, Chessboard(9, 6, 25.0), SIZE).kept


def test_model_order_by_held_out_error():
    """k3 stays though one photo alone in a corner speaks against it; square pixels go where they are not."""
    rng = np.random.default_rng(4)
    for stretch, expected in ((1.0, FULL), (1.02, "fx, fy, c, k1, k2, p1, p2, k3")):
        views = [
            View.of(BOARD, seen(p) * [stretch, 1.0] + rng.normal(0, 0.05, (54, 2)))
            for p in poses(10, 5, (137, 100), THETA)
        ]
        some = ("f, c", "f, c, k1, k2, p1, p2", FULL, "fx, fy, c, k1, k2, p1, p2, k3")
        choice = choose_model(views, list(range(10)), SIZE, bundle.fit(views, SIZE, FULL), some)
        assert choice.model == expected
        assert choice.held_out["f, c"] > 2 * min(choice.held_out.values())
