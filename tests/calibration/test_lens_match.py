"""The right lens for a picture, exactly turned; never a wrong one. Profiles on disk."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import msgspec
import numpy as np
import pytest
from board_scene import TRUE, FakeExif
from PIL import Image, ImageOps

from calibration.lens.match import guess_lens, lens_for
from calibration.lens.model import Lens, turn_matrix, turn_points
from calibration.lens.profiles import FORMAT, LensProfile, PhotoUse, find_lens, load_lens, save_lens
from shared.errors import UserError

ROOT = np.random.default_rng(4).normal(size=(9, 9)) * np.array([1, 1, 1, 1, 0.01, 0.02, 1e-4, 1e-4, 0.02])[:, None]
COVARIANCE = ROOT @ ROOT.T


@pytest.fixture
def profile():
    return LensProfile(
        FORMAT,
        "fieldcam-f1",
        "Fieldcam",
        "F1",
        "",
        4.6,
        27.0,
        800,
        600,
        tuple(TRUE.tolist()),
        tuple(tuple(r) for r in COVARIANCE.tolist()),
        "f, c",
        "2026-05-16",
        "photos",
        "chessboard",
        0.05,
        0.06,
        0.5,
        400.0,
        (PhotoUse("a.jpg", "00", True, None, 0.05, 54),),
    )


@pytest.mark.parametrize("tag", range(1, 9))
def test_a_lens_turns_exactly_as_pillow_turns_the_picture(tag):
    """EXIF orientation, CIPA DC-008: the places of stored pixels after Pillow's own exif_transpose."""
    w, h = 13, 8
    stored = np.arange(w * h, dtype=np.uint8).reshape(h, w)
    image = Image.fromarray(stored)
    image.getexif()[274] = tag
    image.info["exif"] = image.getexif().tobytes()
    shown = np.asarray(ImageOps.exif_transpose(image))
    y, x = np.mgrid[0:h, 0:w]
    places = np.stack([x.ravel(), y.ravel()], axis=1).astype(float)
    turned = turn_points(places, (w, h), tag)
    assert np.array_equal(shown[turned[:, 1].astype(int), turned[:, 0].astype(int)], stored.ravel())
    theta = np.array([9.0, 11.0, 6.2, 3.1, 0.1, -0.2, 0.01, -0.02, 0.05])
    lens = Lens("x", (w, h), theta, COVARIANCE)
    rays = np.random.default_rng(1).uniform(-0.4, 0.4, (30, 2))
    other = lens.turned(tag)
    assert other.size == shown.shape[::-1]
    np.testing.assert_allclose(
        other.project(rays @ turn_matrix(tag).T),
        turn_points(lens.project(rays), (w, h), tag),
        rtol=0,
        atol=1e-12,
    )


@pytest.mark.parametrize("tag", range(1, 9))
def test_covariance_turns_with_the_lens(tag):
    """Spread of projected points, before and after: the same up to the turn."""
    lens = Lens("x", (800, 600), TRUE, COVARIANCE)
    other = lens.turned(tag)
    rays = np.array([[0.3, -0.2], [-0.5, 0.4]])

    def spread(one, where):
        axes = one.axes()
        steps = np.stack([one.project(where, one.theta + 1e-6 * a) - one.project(where) for a in axes]) / 1e-6
        return np.einsum("kni,knj->nij", steps, steps)

    a = turn_matrix(tag)
    np.testing.assert_allclose(spread(other, rays @ a.T), a @ spread(lens, rays) @ a.T, rtol=1e-4, atol=1e-3)


def test_turning_back_restores(profile):
    lens = profile.lens
    for tag, back in ((2, 2), (3, 3), (4, 4), (5, 5), (6, 8), (7, 7), (8, 6)):
        again = lens.turned(tag).turned(back)
        np.testing.assert_allclose(again.theta, lens.theta, rtol=0, atol=1e-9)
        np.testing.assert_allclose(again.covariance, lens.covariance, rtol=1e-12, atol=1e-12)


def test_wide_photo_gets_the_lens_as_it_is(profile):
    match = lens_for(profile, FakeExif(), (800, 600))
    assert match.lens is not None and np.array_equal(match.lens.theta, TRUE) and not match.flags


@pytest.mark.parametrize("tag", [6, 8])
def test_photo_held_upright_gets_the_lens_turned(profile, tag):
    match = lens_for(profile, FakeExif(orientation=tag), (600, 800))
    assert match.lens is not None and match.lens.size == (600, 800) and not match.flags
    np.testing.assert_allclose(match.lens.theta, profile.lens.turned(tag).theta)


@pytest.mark.parametrize(("tag", "size", "ways"), [(3, (800, 600), (3, 1)), (1, (600, 800), (6, 8))])
def test_where_two_ways_are_open_the_uncertainty_covers_both(profile, tag, size, ways):
    match = lens_for(profile, FakeExif(orientation=tag), size)
    assert match.lens is not None and [f.code for f in match.flags] == ["lens-turn"]
    for way in ways:
        gap = match.lens.theta - profile.lens.turned(way).theta
        at = np.diag(match.lens.covariance) > 0
        assert np.all(np.abs(gap[at]) <= 1.0 * np.sqrt(np.diag(match.lens.covariance))[at] + 1e-12)
    only = np.diag(match.lens.covariance) - np.diag(profile.lens.turned(ways[0]).covariance)
    assert np.all(only[2:4] > 0)


@pytest.mark.parametrize(
    ("exif", "size", "says"),
    [
        (FakeExif(model="F2"), (800, 600), "F2"),
        (FakeExif(make=None, model=None), (800, 600), "left no name"),
        (FakeExif(lens_model="Tele"), (800, 600), "Tele"),
        (FakeExif(digital_zoom=1.5), (800, 600), "digital zoom 1.5x"),
        (FakeExif(focal_mm=9.0), (800, 600), "9 mm"),
        (FakeExif(focal_mm=None), (800, 600), "no focal length"),
        (FakeExif(focal35_mm=40.0), (800, 600), "40 mm"),
        (FakeExif(), (780, 600), "cropped"),
        (FakeExif(), (600, 780), "cropped"),
        (FakeExif(), (400, 300), "scaled"),
        (FakeExif(orientation=6), (480, 640), "640"),
    ],
)
def test_the_wrong_profile_is_refused_in_one_line(profile, exif, size, says):
    match = lens_for(profile, exif, size)
    assert match.lens is None and match.reason is not None
    assert says in match.reason and "\n" not in match.reason


def test_guess_carries_wide_honest_uncertainty():
    guess = guess_lens(FakeExif(), (4000, 3000))
    assert not guess.sound
    assert guess.theta[0] == pytest.approx(27 / 43.2666 * 5000, rel=1e-4)  # CIPA DCG-001, by the diagonal
    assert np.sqrt(guess.covariance[0, 0]) > 0.03 * guess.theta[0]
    assert guess.covariance[0, 1] == guess.covariance[0, 0]
    blind = guess_lens(FakeExif(focal35_mm=None), (4000, 3000))
    assert np.sqrt(blind.covariance[0, 0]) > 0.25 * blind.theta[0]
    zoomed = guess_lens(FakeExif(digital_zoom=2.0), (4000, 3000))
    for f in (guess.theta[0], 2 * guess.theta[0]):
        assert abs(zoomed.theta[0] - f) < 2 * np.sqrt(zoomed.covariance[0, 0])


def test_profile_survives_the_disk(tmp_path: Path, profile):
    save_lens(tmp_path / "a.json", profile)
    assert load_lens(tmp_path / "a.json") == profile


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"colour": 1}, "unknown key 'colour'"),
        ({"format": "other"}, "is not a lens profile"),
        ({"width": 0}, "positive"),
        ({"theta": [0.0] * 9}, "fx and fy"),
        ({"covariance": [[0.0] * 9] * 9}, "no lens is known exactly"),
        ({"covariance": [[1.0] * 8] * 9}, "9 x 9"),
        ({"theta": "none"}, "is not a lens profile"),
        ({"photos": [{"name": "a", "sha256": "", "used": True, "extra": 1}]}, "unknown key 'extra'"),
    ],
)
def test_broken_profiles_are_refused(tmp_path: Path, profile, change, says):
    data = msgspec.to_builtins(profile) | change
    (tmp_path / "a.json").write_bytes(msgspec.json.encode(data))
    with pytest.raises(UserError, match=says):
        load_lens(tmp_path / "a.json")


def test_an_indefinite_covariance_is_refused(tmp_path: Path, profile):
    c = np.eye(9)
    c[0, 1] = c[1, 0] = 2.0
    save_lens(tmp_path / "a.json", replace(profile, covariance=tuple(map(tuple, c.tolist()))))
    with pytest.raises(UserError, match="negative along any direction"):
        load_lens(tmp_path / "a.json")


def test_profiles_are_found_by_exif(tmp_path: Path, profile):
    save_lens(tmp_path / "old.json", replace(profile, date="2025-01-01", ident="old"))
    save_lens(tmp_path / "new.json", profile)
    save_lens(tmp_path / "rough.json", replace(profile, date="2026-09-01", ident="rough", sound=False))
    (tmp_path / "other.json").write_text('{"format": "something else"}')

    def find(**change):
        told = {
            "make": "FIELDCAM ",
            "model": "f1\0",
            "lens_model": None,
            "size": (600, 800),
            "focal_mm": 4.62,
        } | change
        found = find_lens(tmp_path, **told)
        return found and found.ident

    assert find() == "fieldcam-f1"
    assert find(model="F2") is None
    assert find(size=(600, 799)) is None
    assert find(focal_mm=5.0) is None
    assert find_lens(tmp_path / "none", "Fieldcam", "F1", None, (800, 600), 4.6) is None
    (tmp_path / "rough.json").unlink()
    (tmp_path / "new.json").unlink()
    assert find() == "old"


def test_a_rough_profile_says_so(profile):
    match = lens_for(replace(profile, sound=False), FakeExif(), (800, 600))
    assert match.lens is not None and not match.lens.sound
    assert [f.code for f in match.flags] == ["lens-rough"]
