"""The posterior over hypotheses: Bayes' rule by hand, and what must hold whatever the numbers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vision.evidence.posterior import GIVE, NONE, SURE, one_of, worth_using

shares = st.lists(st.floats(0.0, 1.0), min_size=1, max_size=8)


def test_two_candidates_by_hand() -> None:
    """Odds 9 and 1/4: 9 / (NONE + 9.25) and 0.25 / (NONE + 9.25)."""
    choice = one_of([0.9, 0.2])
    assert choice.best == 0
    np.testing.assert_allclose(choice.chances, np.array([9.0, 0.25]) / (NONE + 9.25), rtol=1e-12)


def test_what_else_speaks_for_a_candidate_multiplies_its_odds() -> None:
    choice = one_of([0.5, 0.5], [1.0, 30.0])
    assert choice.best == 1
    assert choice.chance == pytest.approx(30 / (31 + NONE))


def test_no_candidate_is_no_choice() -> None:
    choice = one_of([])
    assert choice.best is None
    assert choice.chance == 0.0


@given(shares)
def test_chances_and_none_make_one(p: list[float]) -> None:
    choice = one_of(p)
    clipped = np.clip(p, SURE, 1 - SURE)
    none = NONE / (NONE + (clipped / (1 - clipped)).sum())
    assert choice.chances.sum() + none == pytest.approx(1.0)


@given(shares, st.floats(0.0, 1.0))
def test_a_rival_never_makes_another_likelier(p: list[float], rival: float) -> None:
    assert one_of([*p, rival]).chances[0] <= one_of(p).chances[0] + 1e-12


def test_a_single_reference_is_as_true_as_it_looks() -> None:
    assert worth_using([0.97]) == ([0], pytest.approx(0.97))
    assert worth_using([]) == ([], 0.0)


def test_a_less_than_sure_reference_beside_a_better_one_is_left_out() -> None:
    assert worth_using([0.9, 0.999]) == ([1], pytest.approx(0.999))


def test_sure_references_are_all_used_and_all_must_be_true() -> None:
    assert worth_using([0.999, 0.998]) == ([0, 1], pytest.approx(0.999 * 0.998))


@given(st.lists(st.floats(0.5, 1.0), min_size=1, max_size=4))
def test_using_more_references_never_costs_more_than_stated(p: list[float]) -> None:
    used, chance = worth_using(p)
    assert chance >= max(p) * (1 - GIVE / 2) ** (len(used) - 1) - 1e-12
