"""The joint solution: exact on exact observations, honest on noisy ones, the same as other fits, true on a real board."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from seen_rib import SIZE, Rib, solved
from skimage.measure import LineModelND

from calibration.lens.model import Lens
from shared.lines import Role
from shared.numerics.arrays import F64
from vision.solution.equations import jacobian, labels, residuals
from vision.solution.propagate import angles
from vision.solution.scene import LineSeen, move
from vision.solution.solve import solve, with_lines

TWO = (("panel", 1, -250.0, 70.0, 0.4), ("strip", 2, 250.0, 60.0, -1.0))
RIBS = {
    "one card, one string": Rib(),
    "two cards, two strings": Rib(cards=TWO, strings=((60.0, -15.0), (-300.0, -40.0))),
    "a strip and a laser line": Rib(cards=(("strip", 3, 30.0, 70.0, 2.0),), strings=(), level_mm=-30.0),
    "a string and a laser line, nose-down, askew": Rib(-3.2, 88.6, -2.0, level_mm=-40.0, view=(-18.0, 9.0, -6.0)),
}


@pytest.mark.parametrize("name", RIBS)
def test_jacobian_is_the_residuals_derivative(name: str) -> None:
    """Central differences, away from the minimum, where nothing happens to vanish."""
    rng = np.random.default_rng(30)
    scene = RIBS[name].scene(rng)
    state = solved(scene).state
    count = jacobian(scene, state, residuals(scene, state)).shape[1]
    state = move(scene, state, 2e-3 * rng.standard_normal(count))
    res = residuals(scene, state)
    ours = jacobian(scene, state, res)
    assert ours.shape == (len(res), count) and len(labels(scene, state)) == len(res)
    for j in range(count):
        h = 1e-4 if j < len(state.z) else 1e-6
        d = np.zeros(count)
        d[j] = h
        rough = (residuals(scene, move(scene, state, d)) - residuals(scene, move(scene, state, -d))) / (2 * h)
        # a line's rays are undistorted to 1e-9 in the residuals, so a difference over 1e-6 is good to some 1e-3
        np.testing.assert_allclose(ours[:, j], rough, rtol=0, atol=3e-6 * max(1.0, np.abs(rough).max()))


@pytest.mark.parametrize("name", RIBS)
def test_exact_observations_give_the_exact_angles(name: str) -> None:
    rib = RIBS[name]
    got = angles(solved(rib.scene()))
    assert got.chord is not None and got.spar is not None
    assert got.chord.value == pytest.approx(rib.chord_deg, abs=1e-9)
    assert got.spar.value == pytest.approx(rib.spar_deg, abs=1e-9)
    assert got.lean.value == pytest.approx(-rib.lean_deg, abs=1e-7)  # positive away from the camera


def test_the_plane_maps_there_and_back() -> None:
    solution = solved(RIBS["two cards, two strings"].scene(np.random.default_rng(31)))
    points = np.random.default_rng(32).uniform(-400, 400, (40, 2))
    np.testing.assert_allclose(solution.to_plane(solution.to_pixels(points)), points, rtol=0, atol=1e-6)
    assert np.linalg.norm(solution.normal) == pytest.approx(1, abs=1e-12) and solution.normal[2] > 0
    assert solution.up[1] < 0


def pulls(rib: Rib, draws: int, seed: int, **more: float) -> F64:
    """(draws, 2) chord and spar errors over their u; every error drawn as the scene states it."""
    rng = np.random.default_rng(seed)
    start = solved(rib.scene()).state
    out = []
    for _ in range(draws):
        scene = rib.scene(rng, **more)  # type: ignore[arg-type]
        got = angles(solve(scene, with_lines(scene, start)))
        assert got.chord is not None and got.spar is not None
        out.append([(got.chord.value - rib.chord_deg) / got.chord.u, (got.spar.value - rib.spar_deg) / got.spar.u])
    return np.array(out)


@pytest.mark.parametrize(("name", "seed"), [("one card, one string", 133), ("a strip and a laser line", 34)])
def test_errors_scatter_as_u_says(name: str, seed: int) -> None:
    """200 draws know the sd of a standard normal to 5 % and its mean to 0.07."""
    p = pulls(RIBS[name], 200, seed)
    assert np.all(np.abs(p.std(axis=0) - 1) < 0.15)
    assert np.all(np.abs(p.mean(axis=0)) < 0.21)
    assert np.all(np.mean(np.abs(p) <= 2, axis=0) > 0.91)  # 95.4 % of a normal law; 3 sd of 200 draws less
    assert np.abs(p).max() < 4


def test_a_wrongly_stated_lean_shows_in_the_pulls() -> None:
    """The check above can fail: a lean said to be known three times better than it is widens the scatter."""
    rib, rng = RIBS["one card, one string"], np.random.default_rng(35)
    start = solved(rib.scene()).state
    p = []
    for _ in range(40):
        scene = rib.scene(rng, u_lean=1.5)
        assert scene.lean is not None
        scene = replace(scene, lean=replace(scene.lean, u_deg=0.1))
        got = angles(solve(scene, with_lines(scene, start))).chord
        assert got is not None
        p.append((got.value - rib.chord_deg) / got.u)
    assert np.std(p) > 1.5


def test_two_strings_give_the_lean_that_one_cannot() -> None:
    """Gravity lies in both strings' planes: their common line gives it, whatever the job says of the lean."""
    wide = {"u_lean": 3.0}
    one = angles(solved(RIBS["one card, one string"].scene(**wide)))  # type: ignore[arg-type]
    two = angles(solved(RIBS["two cards, two strings"].scene(**wide)))  # type: ignore[arg-type]
    assert one.chord is not None and two.chord is not None
    assert two.lean.u < 0.5 * one.lean.u
    assert two.chord.budget()["lean of the rib plane"] < 0.5 * one.chord.budget()["lean of the rib plane"]


def test_more_cards_far_apart_do_better_than_one() -> None:
    strip = ("strip", 1, -60.0, 80.0, 0.0)
    u = [
        angles(solved(Rib(cards=cards).scene())).chord
        for cards in ((strip,), (("strip", 1, -300.0, 80.0, 0.0), ("strip", 2, 300.0, 80.0, 0.0)))
    ]
    assert u[0] is not None and u[1] is not None
    assert u[1].budget()["rib plane tilt"] < 0.7 * u[0].budget()["rib plane tilt"]


# --- the line part against other fits --------------------------------------------------------------------------

PLAIN = Lens("plain", SIZE, np.array([3000.0, 3000.0, 2000.0, 1500.0, 0, 0, 0, 0, 0]), np.zeros((9, 9)))


def fitted_line(points: F64, noise: F64) -> tuple[float, float]:
    """Slope and intercept that the joint solution gives a chord line seen at these pixels, by a lens without
    distortion and without doubt."""
    rib = Rib(strings=(), lean_deg=0.0)
    scene = replace(rib.scene(), lens=PLAIN, lean=None)
    lines = (
        LineSeen(Role.CHORD, points, noise),
        LineSeen(
            Role.PLUMB,
            np.array([[2100.0, y] for y in range(200, 2800, 90)]),
            np.full(29, 0.1),
            own_deg=0.02,
            own_source="string",
        ),
    )
    scene = replace(scene, lines=lines)
    a, b, c = solved(scene).state.planes[0]
    # a (x - cx) / f + b (y - cy) / f + c = 0
    return -a / b, 1500.0 + (a * 2000.0 - c * 3000.0) / b


def test_even_weights_give_the_total_least_squares_line_of_other_libraries() -> None:
    """scikit-image's LineModelND and OpenCV's fitLine on the same centres, far from the origin."""
    rng = np.random.default_rng(36)
    x = np.linspace(600, 3300, 70)
    points = np.stack([x, 1400 + 0.037 * x], axis=1) + rng.normal(0, 0.3, (70, 2))
    slope, intercept = fitted_line(points, np.full(70, 0.3))
    model = LineModelND.from_estimate(points)
    assert slope == pytest.approx(model.direction[1] / model.direction[0], abs=2e-8)
    assert intercept + slope * 2000 == pytest.approx(float(model.predict_y(np.array([2000.0]))[0]), abs=2e-5)
    vx, vy, _, _ = cv2.fitLine((points - points.mean(0)).astype(np.float32), cv2.DIST_L2, 0, 1e-6, 1e-6).ravel()
    assert slope == pytest.approx(vy / vx, abs=1e-6)


def york(x: F64, y: F64, wx: F64, wy: F64, slope: float) -> tuple[float, float]:
    """York's line for errors in both coordinates (York et al., Am. J. Phys. 72, 367, 2004, eqs. 13, r = 0)."""
    for _ in range(200):
        w = wx * wy / (wx + slope**2 * wy)
        u, v = x - (w @ x) / w.sum(), y - (w @ y) / w.sum()
        beta = w * (u / wy + slope * v / wx)
        slope = float((w * beta) @ v / ((w * beta) @ u))
    return slope, float((w @ y - slope * (w @ x)) / w.sum())


PEARSON_X = np.array([0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
PEARSON_Y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
YORK_WX = np.array([1000, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1])
YORK_WY = np.array([1, 1.8, 4, 8, 20, 20, 70, 70, 100, 500.0])


def test_york_gives_the_published_line() -> None:
    """Pearson's data (1901) with York's weights: slope -0.480533, intercept 5.479910."""
    slope, intercept = york(PEARSON_X, PEARSON_Y, YORK_WX, YORK_WY, -0.5)
    assert slope == pytest.approx(-0.480533, abs=1e-6)
    assert intercept == pytest.approx(5.479910, abs=1e-6)


@pytest.mark.parametrize("weights", [YORK_WX, YORK_WY], ids=["wx", "wy"])
def test_uneven_weights_give_yorks_line(weights: F64) -> None:
    """Pearson's points in hundreds of pixels; our centres err alike along and across, so one of York's columns of
    weights serves both coordinates. Weights span a factor of 1000, and the plain line differs in the second figure."""
    to_px = np.array([400.0, 400.0])
    points = np.stack([PEARSON_X, PEARSON_Y], axis=1) * 300 + to_px
    slope, intercept = fitted_line(points, 10 / np.sqrt(weights))
    right = york(PEARSON_X, PEARSON_Y, weights, weights, -0.5)
    # the solution stops where another step would win less than a millionth of the cost
    assert slope == pytest.approx(right[0], abs=1e-6)
    assert (intercept + slope * 400 - 400) / 300 == pytest.approx(right[1], abs=1e-5)
    plain = york(PEARSON_X, PEARSON_Y, np.ones(10), np.ones(10), -0.5)
    assert abs(plain[0] - right[0]) > 0.01
