"""Level reference by reversal, plumb against laser, and the bar's edge in photos."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from scipy import stats

from calibration.lens.model import Lens
from calibration.level.check import cross_check
from calibration.level.photos import bar_pair
from calibration.level.reversal import FORMAT, level_zero, load_level, reversal, save_level
from shared.errors import UserError
from shared.job.model import Level
from shared.quantity import Component, Quantity


def test_zero_error_is_half_the_difference():
    # common practice, no source: turning a gauge end for end on the same spot shows twice its zero error
    profile = reversal([0.5], [0.1], ident="bar", date="2026-05-16", repeatability_deg=0.02)
    assert profile.zero_error_deg == pytest.approx(0.2, abs=1e-12)
    assert profile.u_deg == pytest.approx(0.02 / math.sqrt(2), abs=1e-12)


def test_worked_number_with_repeats():
    """By hand: halves 0.10, 0.09, 0.105; mean 0.098333, s 0.0076376; U = t(95.45 %, 2) s / sqrt 3."""
    profile = reversal([0.15, 0.14, 0.16], [-0.05, -0.04, -0.05], ident="bar", date="2026-05-16", resolution_deg=0.01)
    assert profile.zero_error_deg == pytest.approx(0.0983333, abs=1e-6)
    # Student's t for 95.45 % and 2 degrees of freedom is 4.53 (JCGM 100:2008, table G.2)
    assert 2 * profile.u_deg == pytest.approx(4.53 * 0.0076376 / math.sqrt(3), rel=2e-3)
    assert profile.repeatability_deg == pytest.approx(0.0076376 * math.sqrt(2), rel=1e-4)


@pytest.mark.parametrize("pairs", [2, 3, 5, 10])
def test_stated_u_covers_the_truth_in_95_of_100(pairs):
    rng = np.random.default_rng(pairs)
    inside, draws = 0, 1000
    for _ in range(draws):
        zero, angle = rng.normal(0, 0.1), rng.normal(0, 1)
        profile = reversal(
            angle + zero + rng.normal(0, 0.03, pairs),
            angle - zero + rng.normal(0, 0.03, pairs),
            ident="bar",
            date="2026-05-16",
        )
        inside += abs(profile.zero_error_deg - zero) <= 2 * profile.u_deg
    assert 0.93 <= inside / draws <= 0.97


def test_a_display_of_tenths_covers_too():
    """Readings that hardly scatter, rounded to 0.1 deg: the rounding is in u (GUM F.2.2.1)."""
    rng = np.random.default_rng(12)
    inside, draws = 0, 1000
    for _ in range(draws):
        zero, angle = rng.normal(0, 0.3), rng.normal(0, 1)
        direct, turned = (np.round(x + rng.normal(0, 0.005, 3), 1) for x in (angle + zero, angle - zero))
        profile = reversal(direct, turned, ident="gauge", date="2026-05-16", resolution_deg=0.1)
        inside += abs(profile.zero_error_deg - zero) <= 2 * profile.u_deg
    assert inside / draws >= 0.93


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: reversal([0.1], [], ident="a", date="d"), "in pairs"),
        (lambda: reversal([0.1], [0.2], ident="a", date="d"), "how well they repeat"),
        (lambda: reversal([0.1, 0.1], [0.2, 0.2], ident="a", date="d"), "repeat exactly"),
        (lambda: reversal([12.0, 12.1], [-1.0, -1.1], ident="a", date="d"), "more than 5 deg"),
        (lambda: reversal([math.nan, 1], [0.2, 1], ident="a", date="d"), "must all be numbers"),
    ],
)
def test_wrong_use_is_refused_in_one_line(call, says):
    with pytest.raises(UserError, match=says) as error:
        call()
    assert "\n" not in str(error.value)


def test_the_job_takes_the_profile(tmp_path):
    profile = reversal([0.15, 0.14, 0.16], [-0.05, -0.04, -0.05], ident="bar", date="2026-05-16")
    save_level(tmp_path / "bar.json", profile)
    assert load_level(tmp_path / "bar.json") == profile
    zero = level_zero(Level("bar.json"), tmp_path)
    assert zero.value == profile.zero_error_deg and zero.u == pytest.approx(profile.u_deg)
    assert zero.components[0].source == "level:bar@2026-05-16"
    assert level_zero(Level(None, 0.03, 0.1), tmp_path).u == 0.03
    (tmp_path / "bar.json").write_text((tmp_path / "bar.json").read_text().replace('"ident"', '"idnet"'))
    with pytest.raises(UserError):
        load_level(tmp_path / "bar.json")
    (tmp_path / "x.json").write_text(f'{{"format": "{FORMAT}"}}')
    with pytest.raises(UserError):
        level_zero(Level("x.json"), tmp_path)
    with pytest.raises(UserError, match="cannot be read"):
        level_zero(Level("gone.json"), tmp_path)


def made(value, name, u, shared=()):
    return Quantity(value, (Component("own", name, u), *shared))


def test_plumb_and_laser_cross_check_is_an_en_number():
    # En = difference / sqrt(U1^2 + U2^2), ISO/IEC 17043 and ISO 13528
    check = cross_check([made(1.50, "a", 0.02)], [made(1.44, "b", 0.015)])
    assert check.en == pytest.approx(0.06 / (2 * math.hypot(0.02, 0.015)))
    assert not check.agrees and "disagree" in check.text
    assert cross_check([made(1.50, "a", 0.02)], [made(1.46, "b", 0.015)]).agrees


def test_what_both_readings_share_cancels_in_the_cross_check():
    marks = (Component("line", "the drawn line", 0.5),)
    check = cross_check([made(1.50, "a", 0.02, marks)], [made(1.40, "b", 0.02, marks)])
    assert check.difference.u == pytest.approx(0.02 * math.sqrt(2)) and not check.agrees


def test_scatter_beyond_the_uncertainties_is_told():
    check = cross_check(
        [made(v, f"a{k}", 0.01) for k, v in enumerate((1.0, 1.2, 0.8, 1.1))],
        [made(1.0, f"b{k}", 0.01) for k in range(4)],
    )
    assert "something moved" in check.text


LENS = Lens("x", (900, 600), np.array([800.0, 800, 449.5, 299.5, 0, 0, 0, 0, 0]), np.eye(9) * 1e-9)


def bar_photo(tilt, roll, seed):
    """A bar and a background, drawn four times too large with 1/256 px, then shrunk."""
    big = np.full((2400, 3600), 120, np.uint8)

    def turn(p, deg):
        c, s = math.cos(math.radians(deg)), math.sin(math.radians(deg))
        return (np.asarray(p, float) - [450, 300]) @ np.array([[c, s], [-s, c]]) + [450, 300]

    def draw(p, grey):
        at = np.round((np.asarray(p) * 4 + 1.5) * 256).astype(np.int32)
        cv2.fillConvexPoly(big, at, int(grey), cv2.LINE_AA, 8)

    for x in (60, 250, 780):
        draw(turn([[x, 30], [x + 35, 30], [x + 35, 220], [x, 220]], roll), 60)
    draw(turn([[40, 480], [860, 494], [860, 590], [40, 590]], roll), 190)
    draw(turn(turn([[150, 300], [750, 300], [750, 335], [150, 335]], tilt), roll), 225)
    small = cv2.GaussianBlur(cv2.resize(big, (900, 600), interpolation=cv2.INTER_AREA).astype(float), (0, 0), 0.8)
    return np.clip(small + np.random.default_rng(seed).normal(0, 2, small.shape), 0, 255).astype(np.uint8)


@pytest.mark.parametrize(("angle", "zero", "roll"), [(0.3, 0.1, 0.0), (0.3, 0.1, 0.2), (-1.0, 0.25, -0.15)])
def test_bar_photographed_both_ways(angle, zero, roll):
    # y is down: the picture's positive turn puts the left end up
    pair = bar_pair(bar_photo(angle + zero, 0.0, 1), bar_photo(angle - zero, roll, 2), LENS)
    assert (pair.laid_deg - pair.turned_deg) / 2 == pytest.approx(zero, abs=0.012)
    assert pair.laid_deg == pytest.approx(angle + zero, abs=0.012)
    assert any("the camera turned" in n for n in pair.notes) == (roll != 0)


def test_no_bar_and_a_camera_that_moved_are_refused():
    empty = np.full((600, 900), 120, np.uint8)
    with pytest.raises(UserError, match="not found"):
        bar_pair(empty, empty, LENS)
    with pytest.raises(UserError, match="the camera"):
        bar_pair(bar_photo(0.2, 0.0, 1), bar_photo(0.1, 0.7, 2), LENS)


def test_coverage_factor_is_the_normal_one_for_many_repeats():
    assert stats.t.ppf((1 + 0.9545) / 2, 1e6) == pytest.approx(2.0, abs=1e-3)
