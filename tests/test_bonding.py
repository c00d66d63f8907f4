"""The bonding window and the order of checking."""

from __future__ import annotations

from datetime import datetime

import pytest

from rigging.survey.bonding import order_to_check, window
from rigging.survey.decision import decide
from shared.job.model import Glue
from shared.quantity import Component, Quantity

GLUE = Glue(35.0, 60.0, "2026-05-16T09:15")


@pytest.mark.parametrize(
    ("now", "working", "words"),
    [
        ("2026-05-16T09:15:00", 35.0, "35 min left to move and clamp; the glue gels in 60 min"),
        ("2026-05-16T09:40:30", 9.5, "9 min left"),
        ("2026-05-16T09:49:40", 1 / 3, "less than a minute left"),
        ("2026-05-16T09:55:00", -5.0, "Working time ended 5 min ago: move nothing; the glue gels in 20 min"),
        ("2026-05-16T12:30:00", -160.0, "gelled, 2 h 15 min ago: move nothing"),
        ("2026-05-16T09:00:00", 50.0, "will be mixed in 15 min"),
    ],
)
def test_time_left(now: str, working: float, words: str):
    w = window(GLUE, datetime.fromisoformat(now))
    assert w.working_left_min == pytest.approx(working)
    assert words in w.words


def test_unknown_mixing_time_promises_nothing():
    w = window(Glue(35.0, 60.0), datetime(2026, 5, 16))
    assert w.working_left_min is None and "not mixed yet" in w.words


def verdict(value: float, u: float = 0.02):
    return decide(Quantity(value, (Component("own", "x", u),)), 0.25)


def test_wrong_stations_come_first_then_doubtful_ones():
    order = order_to_check(
        [
            ("fine", verdict(0.0), None),
            ("close", verdict(0.2), None),
            ("wrong", verdict(0.5), None),
            ("open", verdict(0.24), None),
            ("unseen", None, "no card"),
            ("more open", verdict(0.27), None),
            ("doubted", verdict(0.0), "camera and inclinometer disagree"),
        ]
    )
    assert [t.station for t in order] == ["wrong", "unseen", "more open", "open", "doubted", "close", "fine"]
    assert (
        order[0].why == "out of tolerance by 0.25°"
        and order[1].why == "no card"
        and "disagree" in order[4].why
        and "4 % of it to spare" in order[5].why
    )
