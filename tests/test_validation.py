"""The validation itself: its statistics on known laws, and a few sessions through the real solution."""

from __future__ import annotations

import math

import numpy as np
import pytest
from pulls import Pull, stats
from simulate import session, spoiled
from validation import of_session, report

from rigging.survey.drawn_line import as_drawn
from rigging.survey.repeats import combine_photos


def of(values: np.ndarray) -> list[Pull]:
    return [Pull("photo, chord", (), float(v), 1.0) for v in values]


def test_statistics_of_a_known_law():
    s = stats(of(np.random.default_rng(1).normal(size=20_000)))
    assert s.mean == pytest.approx(0, abs=0.03) and s.sd == pytest.approx(1, abs=0.02)
    assert s.kurtosis == pytest.approx(0, abs=0.15)
    assert s.low < math.erf(2 / math.sqrt(2)) < s.high and s.high - s.low < 0.01
    assert s.ratio == pytest.approx(2 / 1.96, abs=0.03)


def test_bad_uncertainties_would_show():
    small = stats(of(1.5 * np.random.default_rng(2).normal(size=2000)))
    assert small.high < 0.9 and small.sd > 1.4 and small.wrong > 50
    timid = stats(of(0.3 * np.random.default_rng(3).normal(size=2000)))
    assert timid.coverage > 0.99 and timid.ratio > 3


def test_flagged_and_refused_are_not_wrong():
    pulls = [
        Pull("x", (), 5.0, 1.0, ("blurred",)),
        Pull("x", (), 0.0, 1.0, (), "no card"),
        *of(np.array([0.0, 4.0])),
    ]
    s = stats(pulls)
    assert (s.n, s.refused, s.wrong) == (3, 1, 1)


@pytest.fixture(scope="module")
def sessions() -> list[Pull]:
    return [p for seed in (1, 2, 3) for p in of_session(seed)]


def test_simulated_photos_are_covered():
    # one photo a session: photos of one session share errors, and would all be lucky or unlucky together
    pulls = []
    for seed in range(100, 140):
        ((one,),) = session(seed, 1, 1)
        assert one.reading.chord.quantity is not None
        pulls.append(Pull("chord", (), one.reading.chord.quantity.value - one.chord_deg, one.reading.chord.quantity.u))
    s = stats(pulls)
    assert s.coverage >= 0.85 and 0.7 < s.sd < 1.35 and s.wrong == 0  # 2 in 1000 by chance


def test_sessions_give_every_kind_of_angle(sessions):
    assert {p.what for p in sessions} == {
        "photo, chord",
        "photo, spar line",
        "two photos combined, chord",
        "built-in angle",
        "washout",
    }


def test_page_tells_what_was_asked(sessions):
    text = report(sessions, [], [], 1.0, None)
    assert "| all | washout |" in text and "U covers" in text and "as asked" in text


def test_simulation_repeats_itself_and_its_truth_is_not_what_is_read():
    a, b = (session(4, 1, 1)[0][0] for _ in range(2))
    assert a.reading == b.reading
    assert a.reading.chord.quantity is not None and a.reading.chord.quantity.value != a.chord_deg


def test_what_two_photos_share_does_not_shrink():
    (pair,) = session(6, 1, 2)
    both = combine_photos([as_drawn(s.reading) for s in pair], "chord").quantity
    singles = [as_drawn(s.reading).chord.quantity for s in pair]
    assert both is not None
    for name in ("string's own error", "level line's own error", "pen waviness"):
        parts = [q.budget().get(name, 0.0) for q in singles if q is not None]
        assert both.budget().get(name, 0.0) >= 0.98 * min(parts)


def test_a_string_out_of_plumb_is_a_fault_of_its_size():
    errors = [
        s.reading.chord.quantity.value - s.chord_deg
        for k in range(4)
        if (s := spoiled(k, "string touches something")).reading.chord.quantity
    ]
    assert errors and all(0.2 < abs(e) < 1.2 for e in errors)
