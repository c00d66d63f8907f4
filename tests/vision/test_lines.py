"""How well a drawn line is measured: against the Cramer-Rao bound, and against plainer estimators."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

import numpy as np
import pytest
from drawn_bar import Bar, flat_plane
from scipy.ndimage import gaussian_filter1d
from scipy.special import ndtr

from shared.numerics.arrays import F64
from vision.lines.measure import CENTRE_FLOOR_PX, How, Stroke, measure_as, sample

WIDTHS = (1.0, 2.0, 4.0)
NOISES = (3.0, 5.0, 7.0, 10.0)
"""Grey levels: a camera's from bright daylight to a dim shop."""
SIDES = ((180.0, 180.0), (200.0, 125.0))
"""Grey levels above and below the line: alike, and as unlike as a shadow's edge makes them (ink 80)."""
HALF = 8.0
DRAWS = 20


def seen(bar: Bar, gray: np.ndarray, off: tuple[float, float] = (0.0, 0.0), **more: bool) -> Stroke:
    """The bar measured from a start that is `off` px beside it at its two ends."""
    a, b = bar.ends()
    stroke = measure_as(
        gray,
        flat_plane(),
        a + [0, off[0]],
        b + [0, off[1]],
        How(HALF, 10.0, 0.85, **({"quick": True} | more)),
    )
    assert stroke is not None
    return stroke


def slope_of(stroke: Stroke) -> float:
    x, y = stroke.pixels.T
    return float(np.polyfit(x, y, 1, w=1 / stroke.sigma_px)[0])


@cache
def errors() -> dict[tuple[float, float, float], F64]:
    """Slope errors in units of the bound, by width, noise and brightness of the upper side."""
    rng = np.random.default_rng(20)
    found: dict[tuple[float, float, float], F64] = {}
    for above, below in SIDES:
        for width in WIDTHS:
            for noise in NOISES:
                e = []
                for _ in range(DRAWS):
                    bar = Bar(
                        width,
                        above=above,
                        below=below,
                        slope=rng.uniform(0.01, 0.09) * rng.choice([-1, 1]),
                        offset=rng.uniform(29, 31),
                    )
                    start = rng.uniform(-0.7, 0.7, 2)
                    stroke = seen(bar, bar.noisy(noise, rng), (start[0], start[1]))
                    bound = bar.least_slope_error(noise, HALF, (5, bar.size[0] - 6))
                    e.append((slope_of(stroke) - bar.slope) / bound)
                found[width, noise, above] = np.array(e)
    return found


def groups() -> Iterator[tuple[str, F64]]:
    for k, names in enumerate((WIDTHS, NOISES, [above for above, _ in SIDES])):
        for name in names:
            yield (
                f"{('width', 'noise', 'upper side')[k]} {name}",
                np.concatenate([e for key, e in errors().items() if key[k] == name]),
            )


def test_drawing_is_exact() -> None:
    """The closed form against the mean of 64 x 64 samples in every pixel."""
    bar = Bar(1.7, 0.8, above=180, below=150, slope=0.07, size=(24, 61))
    fine = (np.arange(64) + 0.5) / 64 - 0.5
    y, x = np.mgrid[0:61, 0:24].astype(float)
    mean = np.zeros_like(x)
    for dy in fine:
        for dx in fine:
            d = (y + dy - bar.at(x + dx)) * np.cos(np.arctan(bar.slope))
            p, q = ndtr((d + bar.width / 2) / bar.blur), ndtr((d - bar.width / 2) / bar.blur)
            mean += (bar.above * (1 - p) + bar.ink * (p - q) + bar.below * q) / fine.size**2
    np.testing.assert_allclose(bar.picture(), mean, rtol=0, atol=2e-3)


def test_bound_has_the_known_form_for_evenly_spread_points() -> None:
    """s sqrt(12 / n) / L for n points of noise s over a length L (Cramer-Rao): the bound halves with half the
    noise and falls with the length to the power 3/2."""
    bar, far = Bar(), Bar(size=(800, 61))
    noise = np.sqrt(4.0**2 - 1 / 12)
    one = bar.least_slope_error(noise, HALF, (0, 399))
    assert bar.least_slope_error(np.sqrt(2.0**2 - 1 / 12), HALF, (0, 399)) == pytest.approx(one / 2, rel=1e-9)
    assert far.least_slope_error(noise, HALF, (0, 799)) == pytest.approx(one / 2**1.5, rel=1e-4)


def test_scatter_is_within_a_third_of_the_bound() -> None:
    """At four noise levels, three widths, sides alike and unlike. At least the bound, too, within what 120 draws can
    tell (6 %): a scatter below it would be a wrong bound."""
    for name, e in groups():
        rms = float(np.sqrt((e**2).mean()))
        assert 0.85 < rms < 1.3, name


def test_bias_is_below_a_tenth_of_the_scatter() -> None:
    """Over all, and for either kind of sides; 480 draws tell a mean to 0.05 of the scatter, 240 to 0.065."""
    e = np.concatenate(list(errors().values()))
    assert abs(e.mean()) < 0.1 * e.std()
    assert abs(np.median(e)) < 0.15 * e.std()
    for above, _ in SIDES:
        some = np.concatenate([e for key, e in errors().items() if key[2] == above])
        assert abs(some.mean()) < 0.2 * some.std()


@pytest.mark.parametrize("width", [2.0, 4.0])
def test_little_noise_leaves_no_more_than_the_floor(width: float) -> None:
    """Sampling is fine to 1/32 px, so the bound is not reached without noise; the stated floor covers it."""
    rng = np.random.default_rng(21)
    e = []
    for _ in range(24):
        bar = Bar(width, slope=rng.uniform(0.01, 0.09), offset=rng.uniform(29, 31))
        stroke = seen(bar, bar.noisy(0.5, rng))
        assert np.all(stroke.sigma_px >= CENTRE_FLOOR_PX)
        n, length = len(stroke.pixels), bar.size[0] - 10
        e.append((slope_of(stroke) - bar.slope) / (CENTRE_FLOOR_PX * np.sqrt(12 / n) / length))
    assert np.sqrt(np.mean(np.square(e))) < 1.0


def test_stated_noise_of_the_centres_is_their_scatter() -> None:
    """Pulls of single centres against the true line, 4 noise levels."""
    rng = np.random.default_rng(22)
    for noise in NOISES:
        pulls = []
        for _ in range(6):
            bar = Bar(2.0, slope=rng.uniform(0.01, 0.09), offset=rng.uniform(29, 31))
            stroke = seen(bar, bar.noisy(noise, rng))
            x, y = stroke.pixels.T
            pulls.append((y - bar.at(x)) * np.cos(np.arctan(bar.slope)) / stroke.sigma_px)
        # about 230 centres: the sd is known to 5 %; the floor of 0.02 px makes it err to the safe side
        assert 0.6 < np.std(np.concatenate(pulls)) < 1.15, noise


def second_derivative(gray: np.ndarray, bar: Bar) -> float:
    """Slope through the extremes of the smoothed second derivative across the line (Steger, PAMI 20, 1998, with
    his choice of sigma, half width over the square root of 3, and without his correction of the bias)."""
    g = gaussian_filter1d(gray.astype(float), max(1.0, (bar.width / 2 + bar.blur) / np.sqrt(3)), axis=0, order=2)
    x = np.arange(5, bar.size[0] - 5)
    y = []
    for i in x:
        c = round(float(bar.at(i)))
        k = c - 3 + int(np.argmax(g[c - 3 : c + 4, i]))
        a, b, d = g[k - 1 : k + 2, i]
        y.append(k + 0.5 * (a - d) / (a - 2 * b + d))
    return float(np.polyfit(x, y, 1)[0])


def centroid(gray: np.ndarray, bar: Bar) -> float:
    """Slope through the centroids of darkness, the ground being the mean of both sides."""
    return float(np.polyfit(*centroids(gray, bar), 1)[0])


def centre_of_darkness(gray: np.ndarray, bar: Bar) -> float:
    """How far below the bar's middle the centroids of darkness lie, px."""
    x, y = centroids(gray, bar)
    return float(np.mean(y - bar.at(x)))


def centroids(gray: np.ndarray, bar: Bar) -> tuple[F64, F64]:
    """x and y of the centroid of darkness in every column."""
    x = np.arange(5, bar.size[0] - 5)
    y = []
    for i in x:
        rows = np.arange(-5, 6) + round(float(bar.at(i)))
        v = gray[rows, i].astype(float)
        d = np.clip((v[:2].mean() + v[-2:].mean()) / 2 - v, 0, None)
        y.append((d * rows).sum() / d.sum())
    return x.astype(float), np.array(y)


@pytest.mark.parametrize(("width", "second_at_least"), [(1.5, 4.0), (2.0, 4.0), (3.0, 1.2)])
def test_a_side_that_darkens_along_the_line_turns_it_less_than_plain_estimators(
    width: float, second_at_least: float
) -> None:
    """One side falls from 190 to 115 grey levels along the line, as in a shadow's edge (Steger 1998, section 3: the
    bias of lines between unequal sides). What is left in ours stays within the floor stated for each centre."""
    rng = np.random.default_rng(23)
    ours, second, mean = [], [], []
    for _ in range(12):
        bar = Bar(
            width,
            above=190,
            below=190,
            below_far=115,
            ink=60,
            slope=rng.uniform(0.01, 0.09),
            offset=rng.uniform(29, 31),
        )
        gray = bar.noisy(2.0, rng)
        ours.append(slope_of(seen(bar, gray)) - bar.slope)
        second.append(second_derivative(gray, bar) - bar.slope)
        mean.append(centroid(gray, bar) - bar.slope)
    half_length = 195.0
    left = abs(np.mean(ours)) * half_length
    assert left < CENTRE_FLOOR_PX
    assert abs(np.mean(second)) * half_length > second_at_least * CENTRE_FLOOR_PX
    assert abs(np.mean(second)) > second_at_least * abs(np.mean(ours))
    assert abs(np.mean(mean)) * half_length > 20 * CENTRE_FLOOR_PX


@pytest.mark.parametrize(("width", "moved"), [(2.0, 1.0), (4.0, 1.0), (1.0, 10.0)])
def test_unequal_sides_alone_move_the_line_little_and_do_not_turn_it(width: float, moved: float) -> None:
    """moved : in floors of a centre. A line no wider than the blur shows its width by the size of the dip only, which
    its ink explains as well; between unequal sides the centre goes with that, by 0.1 px here, all along alike. The
    mean of darkness, which takes both sides for one, is moved several times as far."""
    rng = np.random.default_rng(24)
    off, turn, plain = [], [], []
    for _ in range(12):
        bar = Bar(width, above=200, below=125, ink=60, slope=rng.uniform(0.01, 0.09), offset=rng.uniform(29, 31))
        gray = bar.noisy(2.0, rng)
        stroke = seen(bar, gray)
        off.append(float(np.mean(stroke.pixels[:, 1] - bar.at(stroke.pixels[:, 0]))))
        turn.append((slope_of(stroke) - bar.slope) / bar.least_slope_error(2.0, HALF, (5, 394)))
        plain.append(centre_of_darkness(gray, bar))
    assert abs(np.mean(off)) < moved * CENTRE_FLOOR_PX
    assert abs(np.mean(plain)) > 3 * abs(np.mean(off))
    assert np.sqrt(np.mean(np.square(turn))) < 1.6  # 12 draws: 20 %


def test_light_lines_are_measured_like_dark_ones() -> None:
    rng = np.random.default_rng(25)
    dark = Bar(2.0, above=80, below=80, ink=180, slope=-0.03)
    stroke = seen(dark, dark.noisy(3.0, rng))
    assert np.median(stroke.depth) < 0
    assert slope_of(stroke) == pytest.approx(-0.03, abs=5 * dark.least_slope_error(3.0, HALF, (5, 394)))


def test_stretches_that_something_covers_are_set_aside() -> None:
    """A card over 90 px of the line and a blot beside it: what is left gives the same line."""
    rng = np.random.default_rng(26)
    bar = Bar(2.0, slope=0.04)
    gray = bar.noisy(3.0, rng)
    gray[:, 150:240] = 230
    gray[int(bar.at(300)) + 1 : int(bar.at(300)) + 4, 290:312] = 60
    stroke = seen(bar, gray)
    x = stroke.pixels[:, 0]
    assert not np.any((x > 155) & (x < 235))
    assert np.any(x < 140) and np.any(x > 320)
    assert slope_of(stroke) == pytest.approx(0.04, abs=5 * bar.least_slope_error(3.0, HALF, (5, 394)))
    before = gray.copy()
    seen(bar, gray)
    np.testing.assert_array_equal(gray, before)  # the picture is not written to


def test_no_stroke_where_there_is_no_line() -> None:
    """Even ground gives nothing, whatever its noise. (That an edge is no line is judged where lines are sought.)"""
    rng = np.random.default_rng(27)
    a, b = Bar().ends()
    for noise in NOISES:
        gray = Bar(ink=180.0).noisy(noise, rng)
        stroke = measure_as(gray, flat_plane(), a, b, How(HALF, 10.0, 0.85, quick=True))
        assert stroke is None or stroke.kept.mean() < 0.6


def test_waviness_of_a_straight_line_is_small_and_of_a_wavy_one_its_own() -> None:
    rng = np.random.default_rng(28)
    bar = Bar(2.0, slope=0.02, size=(800, 61))
    straight = seen(bar, bar.noisy(3.0, rng), quick=False)
    rows = 0.35 * np.sin(np.arange(800) / 800 * 2 * np.pi * 9)
    wave = Bar(2.0, slope=0.02, size=(800, 61), offset=30.3 + rows)  # every column moved by its own part of a pixel
    gray = wave.noisy(3.0, rng)
    wavy = seen(bar, gray, quick=False)
    assert straight.waviness.size < 0.02
    assert wavy.waviness.size == pytest.approx(0.35 / np.sqrt(2), rel=0.5)
    assert wavy.waviness.reach < 100


@pytest.mark.parametrize(("wall", "measured"), [(200.0, False), (130.0, True)])
def test_a_string_is_two_sided_and_the_edge_of_a_board_is_not(wall: float, measured: bool) -> None:
    """A board of 90 that ends before a wall of 200, and a string of 80 between a board of 120 and a wall of 130."""
    rng = np.random.default_rng(8)
    bar = Bar(3.0, above=120.0, below=wall, slope=0.03)
    gray = bar.noisy(3.0, rng)
    if not measured:
        y, x = np.mgrid[: gray.shape[0], : gray.shape[1]]
        step = np.where(y > bar.offset + bar.slope * x, wall, 90.0)
        gray = np.clip(gaussian_filter1d(step, 0.85, axis=0) + rng.normal(0, 3.0, gray.shape), 0, 255).astype(np.uint8)
    a, b = bar.ends()
    stroke = measure_as(gray, flat_plane(), a, b, How(HALF, 10.0, 0.85, any_sign=True, quick=True))
    assert (stroke is not None and stroke.kept.mean() > 0.8) == measured


@pytest.mark.parametrize("count", [7, 69, 70, 113])
def test_lines_of_one_length_are_cut_alike(count: int) -> None:
    """Both edges of a straightedge are compared segment by segment: rounding of where they lie may not cost one."""
    run = np.array([613.7, 8.3])
    starts = np.random.default_rng(3).uniform(-3000, 3000, (40, 2))
    blank = np.full((60, 80), 128, np.uint8)
    segment = float(np.linalg.norm(run)) / count
    assert {len(sample(blank, flat_plane(), a, a + run, 2.0, segment).place) for a in starts} == {count}
