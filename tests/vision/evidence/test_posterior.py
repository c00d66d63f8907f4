"""The posterior over hypotheses: Bayes' rule by hand, and what must hold whatever the numbers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vision.evidence.posterior import LEAST_ERROR, PRIOR_NONE, one_of, sure, true_reference

shares = st.lists(st.floats(0.0, 1.0), min_size=1, max_size=8)


def test_two_candidates_by_hand() -> None:
    """Odds 9 and 1/4: 9 / (NONE["chord"] + 9.25) and 0.25 / (NONE["chord"] + 9.25)."""
    choice = one_of("chord", [0.9, 0.2])
    assert choice.best == 0
    np.testing.assert_allclose(choice.chances, np.array([9.0, 0.25]) / (PRIOR_NONE["chord"] + 9.25), rtol=1e-12)


def test_what_else_speaks_for_a_candidate_multiplies_its_odds() -> None:
    choice = one_of("chord", [0.5, 0.5], [1.0, 30.0])
    assert choice.best == 1
    assert choice.chance == pytest.approx(30 / (31 + PRIOR_NONE["chord"]))


def test_no_candidate_is_no_choice() -> None:
    choice = one_of("chord", [])
    assert choice.best is None
    assert choice.chance == 0.0


@given(shares)
def test_chances_and_none_make_one(p: list[float]) -> None:
    choice = one_of("chord", p)
    clipped = np.clip(p, LEAST_ERROR, 1 - LEAST_ERROR)
    none = PRIOR_NONE["chord"] / (PRIOR_NONE["chord"] + (clipped / (1 - clipped)).sum())
    assert choice.chances.sum() + none == pytest.approx(1.0)


@given(shares, st.floats(0.0, 1.0))
def test_a_rival_never_makes_another_likelier(p: list[float], rival: float) -> None:
    assert one_of("chord", [*p, rival]).chances[0] <= one_of("chord", p).chances[0] + 1e-12


def test_a_reference_by_hand() -> None:
    """Odds 19 against NONE; a rival of odds 1 that cannot be true as well."""
    assert true_reference("string", 0.95) == pytest.approx(19 / (19 + PRIOR_NONE["string"]))
    assert true_reference("string", 0.95, [0.5]) == pytest.approx(19 / (20 + PRIOR_NONE["string"]))


@given(st.floats(0.01, 0.99), shares)
def test_a_contradiction_never_makes_a_reference_truer(p: float, rivals: list[float]) -> None:
    assert true_reference("string", p, rivals) <= true_reference("string", p)


def test_two_equal_rivals_are_not_decided_between() -> None:
    assert true_reference("string", 0.99, [0.99]) < 0.5
    assert not sure(true_reference("string", 0.95))
    assert sure(true_reference("string", 0.999))
