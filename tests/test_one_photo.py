"""What the annotated picture says first: the verdict of one photo alone, and the one thing to do."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from readings import angle, reading

from rigging.survey.one_photo import headline
from shared.flags import FlagCode
from shared.job.file import load_job
from shared.reading import Advice, Angle

JOB = load_job(Path(__file__).parents[1] / "samples" / "trainer" / "trainer.toml")
R2 = JOB.station("R2")


def said(off: float, **changes: object):
    return headline(replace(reading("R2", angle(R2.chord_deg + off, "a")), **changes), JOB)


@pytest.mark.parametrize(
    ("off", "verdict", "todo"),
    [
        (0.0, "conforming: ", "leave it"),
        (-1.0, "nonconforming: \N{MINUS SIGN}1.00° from design", "1.00° further nose up"),
        (1.0, "nonconforming: +1.00° from design", "1.00° further nose down"),
        (R2.chord_tolerance_deg, "undecided: ", ""),
    ],
)
def test_a_photo_is_judged_against_the_design(off: float, verdict: str, todo: str) -> None:
    found = said(off)
    assert found.verdict.startswith(verdict) and todo in found.todo and found.todo


def test_a_doubtful_photo_turns_nothing() -> None:
    found = said(-1.0, flags=(FlagCode.TWO_POSES.flag("the card may be tilted either way"),))
    assert found.verdict.startswith("undecided") and found.todo.startswith("turn nothing yet")


def test_a_photo_without_a_value_says_what_to_do_and_no_verdict() -> None:
    found = said(0.0, chord=Angle(None, "no plumb line in the photo"), advice=(Advice("hang a string"),))
    assert (found.verdict, found.todo) == ("", "hang a string")
    assert "R2" in said(0.0, chord=Angle(None, "blurred")).todo


def test_no_verdict_before_the_roots_own_setting_is_taken_out() -> None:
    job = replace(JOB, wing=replace(JOB.wing, root_setting="taken out"))
    found = headline(reading("R2", angle(R2.chord_deg, "a")), job)
    assert "conforming" not in found.verdict and "root" in found.verdict


def test_an_unknown_station_has_no_headline() -> None:
    assert headline(reading("X9", angle(1.0, "a")), JOB) is None
