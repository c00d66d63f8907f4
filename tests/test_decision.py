"""Decisions with uncertainty, conformance probability, and the advice that would decide."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigging.planning.advice import advise
from rigging.survey.decision import conformance_probability, decide
from shared.quantity import Component, Quantity
from shared.reading import Advice


def q(value: float, **parts: float) -> Quantity:
    names = {
        "own": ("chord line fit", "photo:a line 0"),
        "tilt": ("rib plane tilt", "photo:a card 1"),
        "level": ("string's own error", "level:string"),
        "lens": ("lens", "lens:x axis 0"),
    }
    return Quantity(value, tuple(Component(*names[n], u) for n, u in parts.items()))


def test_probability_within_two_limits():
    # numbers of our own, after the two-sided example of JCGM 106:2012, 7.4, which was not at hand; 0.6625 is
    # Phi(1.5) - Phi(-0.6111) by a table of the normal law
    assert conformance_probability(13.6, 1.8, 12.5, 16.3) == pytest.approx(0.66, abs=0.005)


def test_probability_with_one_limit():
    # numbers of our own, after the one-sided example of JCGM 106:2012, 7.3, which was not at hand; Phi(1.4) = 0.9192
    assert conformance_probability(-5.47, 0.05, -math.inf, -5.40) == pytest.approx(0.92, abs=0.005)


def test_probability_equals_scipy_in_the_far_tails():
    from scipy.stats import norm

    for value in (-3.0, -0.4, 0.0, 0.3, 2.0):
        want = norm.cdf((0.25 - abs(value)) / 0.1) - norm.cdf((-0.25 - abs(value)) / 0.1)
        assert conformance_probability(value, 0.1, -0.25, 0.25) == pytest.approx(want, rel=1e-9)


def test_guard_band_of_u_leaves_a_risk_of_2_3_percent_beside_one_limit_and_4_55_between_two():
    # JCGM 106:2012, 8.3.2: guard band w = U at the edge of acceptance; Phi(-2) = 2.28 % where one limit counts
    edge = decide(q(0.25 - 0.04, own=0.02), 0.25)
    assert edge.outcome == "conforming"
    assert 1 - edge.p_conforming == pytest.approx(0.02275, abs=1e-5)
    # and 2 Phi(-2) = 4.55 % where U is as wide as the tolerance and the value stands in its middle
    widest = decide(q(0.0, own=0.125), 0.25)
    assert widest.outcome == "conforming"
    assert 1 - widest.p_conforming == pytest.approx(0.0455, abs=1e-5)


@pytest.mark.parametrize(
    ("value", "outcome"),
    [
        (0.0, "conforming"),
        (0.20, "conforming"),
        (-0.20, "conforming"),
        (0.22, "undecided"),
        (-0.25, "undecided"),
        (0.28, "undecided"),
        (0.31, "nonconforming"),
        (-0.31, "nonconforming"),
    ],
)
def test_iso_14253_zones(value: float, outcome: str):
    assert decide(q(value, own=0.02), 0.25).outcome == outcome


def test_on_the_line_exactly():
    assert decide(q(0.25), 0.25).outcome == "conforming"  # |d| + U <= T with U = 0
    assert decide(q(0.375, own=0.0625), 0.25).outcome == "undecided"  # |d| - U = T is not yet beyond it


def test_doubtful_or_unknown_is_never_decided():
    assert decide(q(0.0, own=0.01), 0.25, "blurred").outcome == "undecided"
    assert decide(q(9.0, own=0.01), 0.25, "blurred").outcome == "undecided"
    unknown = decide(q(0.0, own=math.nan), 0.25)
    assert unknown.outcome == "undecided" and math.isnan(unknown.p_conforming)


def test_bad_tolerance_is_refused():
    for t in (0.0, -1.0, math.nan, math.inf):
        with pytest.raises(ValueError, match="tolerance"):
            decide(q(0.0, own=0.01), t)


@given(st.floats(-2, 2), st.floats(0.001, 0.5), st.floats(0.01, 1), st.floats(0.001, 0.5))
@settings(max_examples=100, deadline=None)
def test_more_uncertainty_never_turns_undecided_into_decided(d, u, t, more):
    before = decide(q(d, own=u), t)
    after = decide(q(d, own=u, lens=more), t)
    assert after.outcome in (before.outcome, "undecided")
    assert decide(q(-d, own=u), t).outcome == before.outcome
    assert decide(q(3 * d, own=3 * u), 3 * t).p_conforming == pytest.approx(before.p_conforming, abs=1e-9)


def test_outcome_agrees_with_the_probability():
    for d in (0.0, 0.1, 0.2, 0.24, 0.3, 0.4):
        for u in (0.01, 0.05, 0.1):
            c = decide(q(d, own=u), 0.25)
            if c.outcome == "conforming":
                assert c.p_conforming > 0.95
            if c.outcome == "nonconforming":
                assert c.p_conforming < 0.023


def test_advice_is_the_cheapest_step_that_decides_and_its_u_is_right():
    deviation = q(0.20, own=0.035, level=0.005)
    steps = advise(decide(deviation, 0.25), deviation, photos=1)
    assert "2 more photos" in steps[0].text or "3 more photos" in steps[0].text or "one more" in steps[0].text
    k = 1 if "one more" in steps[0].text else int(steps[0].text[0])
    want = 2 * math.hypot(0.035 / math.sqrt(1 + k), 0.005)
    assert steps[0].u_then == pytest.approx(want, rel=1e-9)
    assert want <= 0.05 and 2 * math.hypot(0.035 / math.sqrt(k), 0.005) > 0.05


def test_advice_goes_for_what_dominates():
    tilt = q(0.20, tilt=0.1, own=0.005)
    assert "second card" in advise(decide(tilt, 0.25), tilt, photos=1)[0].text
    level = q(0.20, level=0.04)
    assert "level reference" in advise(decide(level, 0.25), level, photos=1)[0].text


def test_advice_says_so_when_nothing_decides():
    edge = q(0.25, own=0.02)
    assert "limit itself" in advise(decide(edge, 0.25), edge, photos=1)[0].text
    hopeless = q(0.2499 - 0.01, level=0.04, lens=0.02)
    (only,) = advise(decide(hopeless, 0.25), hopeless, photos=3)
    assert "does not decide" in only.text and only.u_then is not None and only.u_then < hopeless.U


def test_two_steps_together_when_one_is_not_enough():
    both = q(0.20, tilt=0.04, level=0.035)
    steps = advise(decide(both, 0.25), both, photos=1)
    assert ", and " in steps[0].text and steps[0].u_then is not None and steps[0].u_then <= 0.05


def test_advice_of_the_reading_counts():
    d = q(0.20, level=0.04)
    said = Advice("hang the string so: U would fall from 0.08 to 0.03 deg", 0.08, 0.03)
    steps = advise(decide(d, 0.25), d, 1, [said])
    assert steps[0].text == "hang the string so: U would fall from 0.080° to about 0.030°"
    assert steps[0].u_then == pytest.approx(0.03)


def test_advice_of_the_reading_leaves_what_it_does_not_touch():
    d = q(0.20, level=0.04, lens=0.03)  # the reader knew of the level's 0.04 alone
    steps = advise(decide(d, 0.25), d, 1, [Advice("hang it so", 0.08, 0.0)])
    assert all("hang it so" not in s.text for s in steps)  # 0.06 is left, 0.05 is needed


def test_no_advice_once_decided():
    d = q(0.0, own=0.01)
    assert advise(decide(d, 0.25), d, 1) == ()
