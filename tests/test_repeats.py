"""Repeat photos: weights, consistency, inflation, outliers, flagged photos."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from readings import LEVEL, angle, reading

from rigging.survey.consistency import SIGNIFICANCE
from rigging.survey.least_squares import FLOOR_DEG, covariance_matrix, fit, mean_weights
from rigging.survey.repeats import combine_photos
from shared.flags import Flag, FlagCode
from shared.quantity import Component, Quantity, combine, covariance
from shared.reading import Angle, Evidence, Reading, SeenCard


def photos(*values: float, own: float = 0.02, **kw: float):
    return [reading("R1", angle(v, f"p{i}", own=own, **kw), name=f"p{i}.jpg") for i, v in enumerate(values)]


def test_independent_repeats_weigh_by_inverse_variance():
    readings = [
        reading("R1", angle(v, n, own=u, lens=0, level=0), name=n) for v, n, u in ((1.00, "a", 0.01), (1.02, "b", 0.02))
    ]
    c = combine_photos(readings, "chord")
    assert_allclose([p.weight for p in c.photos], [0.8, 0.2], atol=1e-6)
    assert c.quantity is not None
    assert_allclose(c.quantity.value, 1.004, atol=1e-7)
    assert_allclose(c.quantity.u, math.sqrt(1 / (1 / 0.01**2 + 1 / 0.02**2)), rtol=1e-6)


def test_what_photos_share_does_not_shrink_with_repeats():
    many = combine_photos(photos(*[1.0] * 400, own=0.02, lens=0.0, level=0.015), "chord")
    assert many.quantity is not None
    assert_allclose(many.quantity.u, math.hypot(0.015, 0.02 / 20), rtol=1e-5)
    assert_allclose(many.quantity.budget()["level reference itself"], 0.015, rtol=1e-9)


def test_birge_ratio_on_hand_calculated_numbers():
    # four values of equal u 0.02: mean 1.02, sum of squares 0.0034, chi-square 8.5 on 3, Birge sqrt(8.5/3)
    c = combine_photos(photos(1.00, 1.00, 1.01, 1.07, lens=0, level=0), "chord")
    assert_allclose(c.chi2, 0.0034 / 0.0004, rtol=1e-4)
    assert c.dof == 3
    assert_allclose(c.birge, math.sqrt(8.5 / 3), rtol=1e-4)
    assert c.quantity is not None
    assert_allclose(c.quantity.u, math.sqrt(8.5 / 3) * 0.01, rtol=1e-4)
    assert not c.flags and not c.doubtful


def test_chance_of_chi_square_matches_the_closed_form_for_two_degrees():
    # for 2 degrees of freedom the survival function is exp(-chi2 / 2)
    c = combine_photos(photos(1.0, 1.03, 1.05), "chord")
    assert_allclose(c.p, math.exp(-c.chi2 / 2), rtol=1e-9)


def test_particle_data_group_scale_factor():
    # Particle Data Group, Review of Particle Physics, Introduction, eq. 6-7 (procedure, from memory):
    # S = sqrt(chi2 / (N - 1)) multiplies the error of the weighted mean when it exceeds 1.
    values, us = np.array([10.0, 10.3, 9.8]), np.array([0.1, 0.2, 0.1])
    readings = [
        reading("R1", angle(v, n, own=u, lens=0, level=0), name=n) for v, n, u in zip(values, "abc", us, strict=True)
    ]
    w = us**-2.0
    mean = (w * values).sum() / w.sum()
    scale = math.sqrt((w * (values - mean) ** 2).sum() / 2)
    c = combine_photos(readings, "chord")
    assert c.quantity is not None
    assert scale > 1
    assert_allclose([c.quantity.value, c.quantity.u], [mean, scale / math.sqrt(w.sum())], rtol=1e-5)
    assert_allclose(c.inflation, scale, rtol=1e-5)


def test_shared_errors_are_not_inflated_by_disagreement():
    c = combine_photos(photos(1.0, 1.06, own=0.02, lens=0, level=0.5), "chord")
    assert c.quantity is not None
    b = 0.06 / (0.02 * math.sqrt(2))
    assert_allclose(c.quantity.u, math.hypot(0.5, b * 0.02 / math.sqrt(2)), rtol=1e-4)


def test_outlier_is_named_and_still_weighs_in():
    c = combine_photos(photos(1.0, 1.01, 0.99, 1.6, 1.0), "chord")
    assert [p.standing for p in c.photos] == ["used", "used", "used", "outlying", "used"]
    assert c.photos[3].weight == pytest.approx(0.2, abs=1e-6)
    assert "p3.jpg stands off from the others" in c.flags[0].text and c.doubtful
    assert c.quantity is not None
    assert abs(c.quantity.value - 1.0) < c.quantity.U  # the honest majority is still covered


def test_two_photos_at_odds_are_spanned_whole_and_neither_is_blamed():
    c = combine_photos(photos(1.0, 2.0), "chord")
    assert {p.standing for p in c.photos} == {"used"} and c.doubtful
    assert c.quantity is not None
    for p in c.photos:
        assert p.quantity is not None
        assert abs(p.quantity.value - c.quantity.value) + p.quantity.U <= c.quantity.U * (1 + 1e-9)


@given(st.lists(st.tuples(st.floats(-3, 3), st.floats(0.01, 0.5), st.floats(-0.5, 0.5)), min_size=2, max_size=5))
@settings(max_examples=80, deadline=None)
def test_whatever_contradicts_is_spanned_doubted_and_explained(rows):
    """A photo's own error and one shared with the others by any loading: a lean that cancels in the mean, say."""
    readings = [
        reading(
            "R1",
            Angle(Quantity(v, (Component("own", f"own{i}", u), Component("lean of the rib plane", "lean", lean)))),
            name=f"p{i}.jpg",
        )
        for i, (v, u, lean) in enumerate(rows)
    ]
    c = combine_photos(readings, "chord", u_lean_deg=0.5)
    assert c.quantity is not None
    assert c.doubtful == (c.p < SIGNIFICANCE)
    if c.doubtful:
        (flag,) = c.flags
        assert flag.code is FlagCode.PHOTOS_CONTRADICT and "likely cause: " in flag.text
        for r in readings:
            q = r.chord.quantity
            assert q is not None and abs(q.value - c.quantity.value) + q.U <= c.quantity.U * (1 + 1e-6)


def test_a_rib_whose_lean_the_job_does_not_state_is_named_as_the_cause():
    # lean 3 deg, stated 0 +- 0.5: photos from either side of the string err by -0.16 and +0.31 deg per u of lean
    def photo(name: str, per_u: float):
        q = Quantity(
            0.0 + 6 * per_u, (Component("line", name, 0.05), Component("lean of the rib plane", "lean", per_u))
        )
        return reading("R1", Angle(q), name=name)

    c = combine_photos([photo("a.jpg", 0.08), photo("b.jpg", -0.14)], "chord", u_lean_deg=0.5)
    assert c.doubtful and c.doubt is not None
    assert "the rib leans otherwise than the job states by about +3.0" in c.doubt and "top outboard" in c.doubt


def causes(first: Reading, second: Reading) -> str:
    doubt = combine_photos([first, second], "chord").doubt
    assert doubt is not None
    return doubt


def test_what_moved_between_the_photos_is_named_by_what_moved_along():
    def photo(chord: float, spar: float, name: str, **changed):
        return replace(reading("R1", angle(chord, name), angle(spar, name + "s"), name=name), **changed)

    jig = causes(photo(0.0, 90.0, "a"), photo(1.0, 91.0, "b"))
    assert "turned alike: the jig or the wing moved" in jig
    other = causes(photo(0.0, 90.0, "a"), photo(1.0, 90.0, "b"))
    assert "another rib carries this card" in other
    level = causes(photo(0.0, 90.0, "a"), photo(1.0, 91.0, "b", reference="level"))
    assert "one rests on a string and one on a level line" in level
    a, b = photo(0.0, 90.0, "a"), photo(1.0, 91.0, "b")
    late = causes(a, replace(b, photo=replace(b.photo, taken="2024-05-04T15:10:00")))
    assert "taken 5 h apart" in late


def test_photos_of_different_cards_may_be_different_ribs():
    def photo(value: float, card: int):
        seen = SeenCard("strip", card, (), (), (), 0.1)
        return replace(reading("R1", angle(value, str(card)), name=str(card)), evidence=Evidence((1, 1), (seen,)))

    assert "different cards" in causes(photo(0.0, 4), photo(1.0, 16))


def test_flagged_photo_is_shown_but_does_not_weigh_in_beside_a_sound_one():
    blurred = Flag(FlagCode.BLURRED, "the photo is blurred")
    doubtful = reading("R1", angle(1.5, "x"), name="x.jpg", flags=(blurred,))
    c = combine_photos([*photos(1.0, 1.01), doubtful], "chord")
    assert c.photos[2].standing == "set aside" and c.photos[2].weight == 0
    assert c.photos[2].off_deg == pytest.approx(0.495, abs=1e-9)
    assert not c.doubtful
    assert c.quantity is not None and c.quantity.value == pytest.approx(1.005)


def test_only_flagged_photos_give_a_doubtful_value():
    blurred = Flag(FlagCode.BLURRED, "the photo is blurred")
    c = combine_photos([reading("R1", angle(1.5, "x", flags=(blurred,)))], "chord")
    assert c.doubtful and c.quantity is not None and blurred in c.flags


def test_a_remark_does_not_set_aside():
    helped = Flag(FlagCode.HELPED, "a person pointed at the line")
    c = combine_photos([reading("R1", angle(1.5, "x", flags=(helped,)))], "chord")
    assert not c.doubtful and c.photos[0].standing == "used"


def test_same_file_twice_counts_once():
    one = photos(1.0)[0]
    c = combine_photos([one, one], "chord")
    assert c.used == 1 and c.quantity is not None
    assert c.quantity.u == pytest.approx(one.chord.quantity.u)


def test_set_aside_by_the_user_keeps_the_reason():
    c = combine_photos(photos(1.0, 1.6), "chord", set_aside={"p1.jpg": "the clamp slipped"})
    assert c.photos[1].why == "the clamp slipped" and c.used == 1


def test_refused_photos_give_a_reason_and_no_value():
    c = combine_photos([reading("R1", Angle(None, "no card found"))], "chord")
    assert c.quantity is None and c.reason is not None and "no card found" in c.reason


def test_unknown_uncertainty_is_never_taken_for_zero():
    nan = Angle(Quantity(1.0, (Component("line fit", "x", math.nan),)))
    beside = combine_photos([reading("R1", nan, name="n.jpg"), *photos(1.2)], "chord")
    alone = combine_photos([reading("R1", nan, name="n.jpg")], "chord")
    assert beside.quantity is not None and beside.quantity.value == pytest.approx(1.2)
    assert alone.doubtful and alone.quantity is not None and math.isnan(alone.quantity.u)


def test_weights_match_scipy_quadratic_programme():
    from scipy.optimize import minimize

    rng = np.random.default_rng(5)
    for _ in range(20):
        a = rng.normal(size=(4, 4)) + rng.normal(size=(4, 1)) * 2
        cov = a @ a.T + 0.01 * np.eye(4)
        best = minimize(
            lambda w, c=cov: w @ c @ w,
            np.full(4, 0.25),
            bounds=[(0, 1)] * 4,
            constraints={"type": "eq", "fun": lambda w: w.sum() - 1},
            tol=1e-12,
        )
        assert_allclose(mean_weights(cov) @ cov @ mean_weights(cov), best.fun, rtol=1e-4)


loads = st.floats(-0.3, 0.3).filter(lambda x: abs(x) > 1e-3)
parts = st.lists(st.tuples(st.integers(0, 5), loads), min_size=1, max_size=5)
quantities = st.builds(
    lambda v, ps: Quantity(v, tuple(Component(f"c{s}", f"s{s}", u) for s, u in ps)), st.floats(-5, 5), parts
)


@given(st.lists(quantities, min_size=1, max_size=5), st.integers(0, 4), loads)
@settings(max_examples=60, deadline=None)
def test_adding_an_independent_component_never_lowers_u_of_the_mean(qs, which, load):
    def u(values):
        cov = covariance_matrix(values)
        w = mean_weights(cov)
        return math.sqrt(w @ cov @ w)

    k = which % len(qs)
    more = [q.plus(Component("new", "new source", load)) if i == k else q for i, q in enumerate(qs)]
    assert u(more) >= u(qs) * (1 - 1e-5) - FLOOR_DEG


@given(quantities, quantities, st.floats(-3, 3))
@settings(max_examples=60, deadline=None)
def test_wholly_shared_component_adds_exactly_nothing_to_a_difference(a, b, load):
    shared = Component("level reference itself", LEVEL, load)
    difference = a.plus(shared) - b.plus(shared)
    assert difference.budget().get("level reference itself", 0.0) == 0.0
    assert difference.u == pytest.approx((a - b).u, abs=1e-15)


@given(quantities, quantities, st.floats(-4, 4))
@settings(max_examples=60, deadline=None)
def test_symmetry_and_scaling(a, b, k):
    assert (a - b).u == pytest.approx((b - a).u, abs=1e-15)
    assert covariance(a, b) == pytest.approx(covariance(b, a), abs=1e-15)
    assert a.scaled(k).u == pytest.approx(abs(k) * a.u, abs=1e-12)


def test_agrees_with_the_uncertainties_library_on_gum_h2():
    # JCGM 100:2008, H.2: V, I, phi with their correlations; linear parts compared through both ways
    import uncertainties

    u = np.array([0.0032, 0.0000095, 0.00075])
    r = np.array([[1, -0.36, 0.86], [-0.36, 1, -0.65], [0.86, -0.65, 1]])
    cov = r * np.outer(u, u)
    theirs = uncertainties.correlated_values([4.9990, 0.019661, 1.04446], cov)
    loading = np.linalg.cholesky(cov)
    ours = [
        Quantity(v, tuple(Component(f"e{j}", f"e{j}", float(loading[i, j])) for j in range(3)))
        for i, v in enumerate((4.9990, 0.019661, 1.04446))
    ]
    assert_allclose(covariance_matrix(ours, floor=0.0), cov, rtol=1e-12)
    from uncertainties import umath

    v, i, phi = theirs
    outputs = (v / i * umath.cos(phi), v / i * umath.sin(phi), v / i)
    z, c, s = 4.9990 / 0.019661, math.cos(1.04446), math.sin(1.04446)
    slopes = (
        (c / 0.019661, -z * c / 0.019661, -z * s),
        (s / 0.019661, -z * s / 0.019661, z * c),
        (1 / 0.019661, -z / 0.019661, 0.0),
    )
    linear = [combine(row, ours) for row in slopes]
    assert_allclose([q.u for q in linear], [o.std_dev for o in outputs], rtol=1e-9)
    assert_allclose([q.u for q in linear], [0.070, 0.296, 0.237], atol=6e-4)  # from rounded inputs
    pairs = ((0, 1), (0, 2), (1, 2))
    rho = [covariance(linear[a], linear[b]) / (linear[a].u * linear[b].u) for a, b in pairs]
    assert_allclose(rho, [-0.591, -0.491, 0.993], atol=6e-4)


def test_generalised_fit_equals_curve_fit_with_full_covariance():
    from scipy.optimize import curve_fit

    x = np.array([0.0, 1.0, 2.5, 4.0])
    errors = (0.01, -0.02, 0.03, -0.01)
    qs = [
        Quantity(1 - 0.4 * a + e, (Component("own", f"own{a}", 0.03), Component("lens", "lens", 0.02 * a)))
        for a, e in zip(x, errors, strict=True)
    ]
    ours = fit(np.column_stack([np.ones(4), x]), qs)
    theirs, cov = curve_fit(
        lambda t, a, b: a + b * t, x, [q.value for q in qs], sigma=covariance_matrix(qs), absolute_sigma=True
    )
    assert_allclose([q.value for q in ours], theirs, rtol=1e-6)
    assert_allclose([q.u for q in ours], np.sqrt(np.diag(cov)), rtol=1e-5)
