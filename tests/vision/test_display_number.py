"""From places to a number: what excludes what, what no sign explains, the point, patterns that are no figure."""

import numpy as np
import pytest

from vision.display.cells import KINDS, Places
from vision.display.number import number_in
from vision.display.types import GLYPHS

PLACES = 64


def row(*signs, points=(), lost=()):
    """Places with signs: (place, kind, probability, lit segments); points: (place, probability)."""
    kind = np.zeros((len(KINDS), PLACES), np.float32)
    lit, point = np.zeros((7, PLACES), np.float32), np.zeros(PLACES, np.float32)
    for place, name, probability, segments in signs:
        kind[KINDS.index(name), place] += probability
        for i, s in enumerate("abcdefg"):
            lit[i, place] = segments.get(s, 0.0) if isinstance(segments, dict) else float(s in segments)
    for place, probability in points:
        point[place] = probability
    kind[0] = 1 - kind[1:].sum(axis=0)
    unseen = np.zeros(PLACES, np.float32)
    unseen[list(lost)] = 1.0
    return Places(kind, lit, point, unseen)


def figure(place, char, probability=0.999):
    return (place, "one", probability, "") if char == "1" else (
        place, "figure", probability, next(lit for lit, c in GLYPHS.items() if c == char))  # fmt: skip


def best(places, decimals=None):
    return number_in(places, decimals).texts[0]


@pytest.mark.parametrize("lit", sorted(GLYPHS))
def test_every_pattern_of_segments_is_its_figure(lit):
    if GLYPHS[lit] == "1":
        return  # known by its stroke
    text, p = best(row((30, "figure", 0.999, lit), figure(36, "4"), points=[(33, 0.99)]))
    assert text == f"{GLYPHS[lit]}.4"
    assert p > 0.95


def test_sign_and_point():
    text, p = best(
        row((20, "minus", 0.999, ""), figure(26, "1"), figure(31, "2"), figure(37, "3"), points=[(34, 0.99)])
    )
    assert text == "-12.3"
    assert p > 0.95


def test_a_doubtful_minus_leaves_both_numbers_with_their_probabilities():
    number = number_in(row((20, "minus", 0.6, ""), figure(26, "8"), figure(32, "3"), points=[(29, 0.999)]), None)
    texts = dict(number.texts)
    assert texts["-8.3"] == pytest.approx(0.6, abs=0.02)
    assert texts["8.3"] == pytest.approx(0.4, abs=0.02)


def test_a_minus_that_may_hide_anywhere_before_the_figures_is_reckoned_with():
    # 12 places at each of which a minus is unlikely, and one in all of them is not
    haze = [(p, "minus", 0.009 + 0.04 * (p % 3 == 0), "") for p in range(8, 22)]
    text, p = best(row(*haze, figure(28, "8"), figure(34, "3"), points=[(31, 0.999)]))
    assert text == "8.3"
    assert p < 0.9


def test_a_place_that_the_picture_does_not_show_may_hold_a_minus():
    signs = [figure(28, "8"), figure(34, "3")]
    assert best(row(*signs, points=[(31, 0.999)], lost=range(16, 22)))[1] < 0.7
    assert best(row(*signs, points=[(31, 0.999)], lost=range(44, 50)))[1] > 0.95  # behind the figures none can be
    # all the ground is as bright, and the figures are seen on it
    assert best(row(*signs, points=[(31, 0.999)], lost=range(PLACES)))[1] > 0.95


def test_two_figures_never_stand_on_one_spot():
    number = number_in(row(figure(30, "8", 0.7), figure(33, "0", 0.3), figure(38, "5"), points=[(35, 0.999)]), None)
    assert all(len(text.replace(".", "")) == 2 for text, p in number.texts if p > 0.05)


def test_a_segment_half_lit_is_both_figures_alike():
    nine_or_three = dict.fromkeys("abcdg", 1.0) | {"f": 0.5}
    number = number_in(row((30, "figure", 1.0, nine_or_three), figure(36, "4"), points=[(33, 0.999)]), None)
    texts = dict(number.texts)
    assert texts["9.4"] == pytest.approx(texts["3.4"], abs=0.02)


def test_what_is_no_figure_is_told():
    assert best(row((30, "figure", 0.999, "adg"), figure(36, "4"), points=[(33, 0.99)]))[0] == "?.4"


def test_a_point_unseen_is_placed_only_where_the_gauge_always_shows_it():
    signs = [figure(24, "4"), figure(30, "0"), figure(36, "0"), figure(42, "7")]
    assert best(row(*signs))[0] == "4007"
    text, p = best(row(*signs), decimals=2)
    assert text == "40.07"
    assert p > 0.8
    # a point seen elsewhere outweighs that: the row may have been read too short
    assert best(row(*signs, points=[(39, 0.999)]), decimals=2)[0] == "400.7"
    assert best(row(*signs), decimals=0)[0] == "4007"


def test_an_arrow_beside_the_figures_is_no_part_of_the_number():
    number = number_in(row((18, "arrow", 0.999, ""), figure(26, "8"), figure(32, "3"), points=[(29, 0.999)]), None)
    assert number.texts[0][0] == "8.3"
    assert any(char == "^" for _, char in number.signs)


def test_probabilities_are_at_most_one():
    rng = np.random.default_rng(3)
    for _ in range(30):
        kind = rng.dirichlet([8.0] + 5 * [0.15], PLACES).T.astype(np.float32)
        places = Places(
            kind, rng.random((7, PLACES), np.float32), rng.random(PLACES, np.float32), np.zeros(PLACES, np.float32)
        )
        number = number_in(places, None)
        assert 0 <= sum(p for _, p in number.texts) <= 1 + 1e-6
