"""How far a camera on a tripod stood still: measured from the background, corrected for, and part of the change's u.

The finished picture is turned exactly by known angles (`shop.turned`). benchmarks/live.py does the same for many scenes.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter, map_coordinates
from shop import PHONE, CardAt, Scene, String
from shop.jobs import job_for, lens_for
from shop.turned import draw_turns

from vision.image.photo import Picture
from vision.live import rigid_fit as relative_fit
from vision.live import stillness
from vision.live.relative import Change, Start, begin, compare
from vision.live.shifts import patch_shifts
from vision.live.stillness import BLUR_PX, Background, find_background, judge
from vision.reader import read_fully

CAMERA = PHONE.scaled(0.6)
SCENE = Scene(
    seed=1,
    camera=CAMERA,
    chord_mm=800.0,
    chord_deg=1.6,
    cards=(CardAt("panel", 1, 0.45),),
    clutter=8,
    exposure=0.7,
    strings=(String(x_mm=70.0, radius_mm=0.8, rgb=(0.06, 0.06, 0.07), shadow=0.3),),
)
ROLLS = (0.0, 0.005, -0.01, 0.02, 0.05)
PAN = (0.0, 0.004, 0.0)


@pytest.fixture(scope="module")
def photos() -> list[np.ndarray]:
    return draw_turns(SCENE, [(0.0, 0.0, r) for r in ROLLS] + [PAN], 4)


@pytest.fixture(scope="module")
def start(photos: list[np.ndarray]) -> Start:
    picture = Picture.from_array(photos[0], "first")
    return begin(picture, read_fully(picture, job_for(SCENE), lens=lens_for(CAMERA)), SCENE.chord_mm)


def poor(start: Start, count: int = 16) -> Start:
    """A background of some places next to each other: it shows where the camera looks, hardly that it rolls."""
    b = start.background
    near = np.argsort(np.linalg.norm(b.centres - b.centres[0], axis=1), kind="stable")[:count]
    return replace(start, background=replace(b, centres=b.centres[near], patterns=b.patterns[near]))


def still_u(change: Change) -> float:
    assert change.turn is not None
    return change.turn.budget()["camera's stillness"]


@pytest.mark.parametrize("k", range(len(ROLLS)))
@pytest.mark.parametrize("ground", ["ordinary", "poor"])
def test_a_rolled_camera_turns_no_rib_untold(start: Start, photos: list[np.ndarray], k: int, ground: str):
    begun = start if ground == "ordinary" else poor(start)
    change = compare(begun, Picture.from_array(photos[1 + k]))
    if change.turn is None:
        assert "the camera was moved" in change.reason and ROLLS[k] != 0.0
        assert ground == "poor" or abs(ROLLS[k]) >= 0.01
        return
    assert abs(change.turn.value) < 3 * change.turn.u
    assert abs(np.degrees(change.camera.turn[2]) - ROLLS[k]) < 3.5 * np.degrees(change.camera.covariance[2, 2] ** 0.5)
    if ground == "ordinary":
        assert abs(ROLLS[k]) <= 0.01 and change.turn.u <= 0.005


def test_a_poor_background_makes_u_large(start: Start, photos: list[np.ndarray]):
    still = Picture.from_array(photos[1])
    rich, bare = compare(start, still), compare(poor(start), still)
    assert bare.turn is not None and rich.turn is not None, bare.reason
    assert still_u(bare) > 3 * still_u(rich)
    assert bare.turn.u**2 >= still_u(bare) ** 2 > 0.5 * bare.turn.u**2


def test_left_out_of_the_budget_a_roll_would_stand_untold(
    start: Start, photos: list[np.ndarray], monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(relative_fit, "_camera_covariance", lambda _: np.eye(4) * 1e-18)
    wrong = []
    for k, _ in enumerate(ROLLS):
        change = compare(poor(start), Picture.from_array(photos[1 + k]))
        if change.turn is not None:
            wrong.append(abs(change.turn.value) / change.turn.u)
    assert max(wrong) > 3


def test_noise_before_a_poor_background_is_no_movement(
    start: Start, photos: list[np.ndarray], monkeypatch: pytest.MonkeyPatch
):
    begun, still = poor(start), Picture.from_array(photos[1])
    monkeypatch.setattr(stillness, "MOVED_PX", 0.01)  # so that noise alone is beyond it
    camera = judge(begun.background, still.gray, begun.plane.theta, still.width)
    assert not camera.reason and camera.shift_px > 0.01
    monkeypatch.setattr(stillness, "SURELY", 0.0)
    assert "moved" in judge(begun.background, still.gray, begun.plane.theta, still.width).reason


def test_a_pan_makes_the_roll_uncertain(start: Start, photos: list[np.ndarray]):
    still, panned = (compare(start, Picture.from_array(photos[k])) for k in (1, -1))
    assert panned.turn is not None, panned.reason
    assert abs(panned.turn.value) < 3 * panned.turn.u
    assert panned.camera.carry[2, 2] > 3 * still.camera.carry[2, 2]


THETA = np.array([500.0, 500.0, 299.5, 224.5, 0.0, 0.0, 0.0, 0.0, 0.0])


def test_near_things_below_and_far_ones_above_are_not_taken_for_a_roll():
    """A camera carried sideways along a floor: 0.06 pixels at the lower rim, 0.02 at the upper one, evenly between.
    Without `carry` the roll seen would be certain."""
    rng = np.random.default_rng(3)
    texture = gaussian_filter(rng.normal(0, 1, (450, 600)), 2.0)
    clean = 128 + 45 * texture / texture.std()
    y, x = np.mgrid[0:450, 0:600].astype(np.float64)
    later = map_coordinates(clean, [y, x - (0.02 + 0.04 * y / 449)], order=5, mode="nearest")

    def taken(light: np.ndarray) -> np.ndarray:
        return np.clip(np.rint(light + rng.normal(0, 1.0, light.shape)), 0, 255).astype(np.uint8)

    background = find_background(taken(clean), np.zeros((450, 600), np.uint8))
    camera = judge(background, taken(later), THETA, 600)
    assert not camera.reason, camera.reason
    roll, noise, carry = abs(camera.turn[2]), camera.covariance[2, 2], camera.carry[2, 2]
    assert roll > 3 * noise**0.5  # which would be a turn of the rib, with confidence
    assert roll < 3 * (noise + carry) ** 0.5
    # by hand: over evenly spread places, a shear k = 0.04 / 449 along x is seen by least squares as a roll of
    # k <y^2> / (<x^2> + <y^2>); weights that trust the majority may take all of it
    shear, share = 0.04 / 449, 450**2 / (600**2 + 450**2)
    assert 0.9 * shear * share < roll < 1.1 * shear
    assert carry**0.5 == pytest.approx(stillness.NEAR_AND_FAR * 0.04 / 225 * share, rel=0.25)


def test_too_little_behind_the_rib_is_said(start: Start, photos: list[np.ndarray]):
    few = poor(start, stillness.LEAST_PATCHES - 1)
    change = compare(few, Picture.from_array(photos[1]))
    assert change.turn is None and "too little to see behind the rib" in change.reason
    none = Background(np.empty((0, 2)), np.empty((0, 225)), 7)
    assert compare(replace(start, background=none), Picture.from_array(photos[1])).turn is None


def test_a_patch_knows_the_noise_that_a_blur_made_alike():
    """Patches of known shift 0 in noise by chance, blurred as the background is: their squared distance, counted in
    their own covariance, has the mean 2 of chi-square with two degrees of freedom. White noise assumed gives over 6."""
    rng = np.random.default_rng(8)
    y, x = np.mgrid[-7:8, -7:8]
    blob = 60 * np.exp(-((x - 1.0) ** 2 + (y + 0.5) ** 2 / 2) / (2 * 2.5**2))
    big = np.pad(blob, 10, mode="edge")

    def taken(count: int) -> np.ndarray:
        light = big + rng.normal(0, 2.0, (count, *big.shape))
        return gaussian_filter(light, (0, BLUR_PX, BLUR_PX))[:, 10:-10, 10:-10].reshape(count, -1)

    first = np.repeat(gaussian_filter(big, BLUR_PX)[10:-10, 10:-10].reshape(1, -1), 600, axis=0)
    got = patch_shifts(first, taken(600), BLUR_PX)
    assert got.good.all()
    far = np.einsum("ni,nij,nj->n", got.px, got.weight, got.px)
    assert far.mean() == pytest.approx(2.0, rel=0.15)
    trusting = patch_shifts(first, taken(600), 0.3)  # next to no blur: as good as white
    assert np.einsum("ni,nij,nj->n", trusting.px, trusting.weight, trusting.px).mean() > 6


@pytest.mark.parametrize(("sizes", "found"), [((1.2, 10.2, 3.0, 0.5), True), ((1.2, 10.2, 150.0), False)])
def test_a_step_may_grow_from_next_to_nothing(
    start: Start, photos: list[np.ndarray], sizes: tuple[float, ...], found: bool, monkeypatch: pytest.MonkeyPatch
):
    """A rib that has not moved: steps as they were seen, in parts of what needs no further one."""
    real, left = relative_fit._whitened, iter(sizes)

    def stepped(*some: object) -> object:
        got = real(*some)  # type: ignore[arg-type]
        assert got is not None
        step = np.zeros_like(got[0])
        step[0] = next(left) * relative_fit.CONVERGED[0]
        return step, *got[1:]

    monkeypatch.setattr(relative_fit, "_whitened", stepped)
    still = Picture.from_array(photos[1])
    camera = judge(start.background, still.gray, start.plane.theta, still.width)
    assert (relative_fit.fit(start, still.gray, camera, np.zeros(6)) is not None) == found
