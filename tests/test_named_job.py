"""Places, lines by name and pairs in a job: what they mean, what is refused, how angles are counted."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.errors import UserError
from shared.job.file import parse_job
from shared.job.model import Job
from shared.job.named import OPPOSITE, SENSES, NamedLine, design_direction

RIB = """
[wing]
name = "trainer"
root = "R1"
[[station]]
name = "R1"
side = "right"
span_mm = 400
chord_mm = 1000
cards = [1]
chord_deg = 2
chord_tolerance_deg = 0.2
spar_deg = 91
spar_tolerance_deg = 0.2
"""
WEB = """
[[place]]
name = "web"
kind = "spar web"
side = "right"
span_mm = 800
cards = [20]
"""


def line(at: str = "R1", name: str = "rear", deg: float = 90, more: str = "") -> str:
    return f'[[line]]\nat = "{at}"\nname = "{name}"\ndeg = {deg}\ntolerance_deg = 0.2\n{more}\n'


def only(text: str) -> NamedLine:
    return parse_job(RIB + WEB + text).lines[0]


def test_a_line_runs_and_counts_as_its_design_says():
    assert (only(line()).runs, only(line()).positive) == ("upright", "top aft")
    assert (only(line(deg=0)).runs, only(line(deg=0)).positive) == ("level", "nose-up")
    assert only(line(deg=0, more='to = "plumb"')).runs == "upright"
    assert only(line(deg=0, more='to = "spar"')).runs == "upright"
    assert only(line(deg=90, more='to = "spar"')).runs == "level"
    assert only(line("web", deg=3)).positive == "outboard end up"
    assert only(line("web", deg=90)).positive == "top inboard"


def test_arrows_point_outboard_on_a_web_and_forward_on_a_fitting():
    text = WEB.replace("web", "tip").replace("spar tip", "tip fitting")
    assert parse_job(RIB + WEB).places[0].arrow == "outboard"
    assert parse_job(RIB + text).places[0].arrow == "forward"


@pytest.mark.parametrize(
    ("to", "positive", "a", "reference", "deg", "expected"),
    [
        ("level", "top aft", 91.7, 0.0, 90.0, 91.7),
        ("level", "top forward", 91.7, 0.0, 90.0, 88.3),
        ("plumb", "top aft", 91.7, 90.0, 0.0, 1.7),
        ("plumb", "top forward", 91.7, 90.0, 0.0, -1.7),
        ("level", "nose-down", 2.0, 0.0, 0.0, -2.0),
        ("chord", "nose-up", 91.7, 2.0, 90.0, 89.7),
        ("bolt", "nose-up", 2.0, 91.7, 90.0, 90.3),  # a line across another has no head: 90.3, not -89.7
        ("bolt", "nose-up", 2.0, 91.7, -90.0, -89.7),
    ],
)
def test_counting(to: str, positive: str, a: float, reference: float, deg: float, expected: float):
    one = NamedLine("R1", "x", deg, 0.2, to, positive)  # type: ignore[arg-type]
    assert one.counted(a, reference) == pytest.approx(expected, abs=1e-9)


@given(st.floats(-89, 89), st.sampled_from(["level", "plumb"]), st.sampled_from(sorted(SENSES)), st.floats(-3, 3))
def test_a_line_at_its_design_counts_as_its_design(deg: float, to: str, positive: str, off: float):
    one = NamedLine("R1", "x", deg, 0.2, to, positive)  # type: ignore[arg-type]
    a = design_direction(one, (one,), 0.0, 90.0)
    reference = 0.0 if to == "level" else 90.0
    assert one.counted(a + one.sign * off, reference) == pytest.approx(deg + off, abs=1e-9)


def test_every_sense_has_its_opposite():
    for words, (arrow, sign) in SENSES.items():
        assert SENSES[OPPOSITE[words]] == (arrow, -sign)
        assert OPPOSITE[OPPOSITE[words]] == words


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (line("nowhere"), "not the name of a station or place"),
        (line(name="chord"), "is taken"),
        (line() + line(), "is taken"),
        (line(more='to = "nose"'), "is no other line at R1"),
        (line(more='to = "b"') + line(name="b", more='to = "rear"'), "round in a circle"),
        (line("web", deg=0, more='positive = "nose-up"'), "point outboard"),
        (line(more='positive = "top inboard"'), "point forward"),
        (line(more='marked = "two edges"'), "width_mm"),
        (line(more="width_mm = 8"), "belongs to two edges"),
        (line(more='marked = "two marks"\nfrom_card_mm = [0, 0]'), "length_mm"),
        (line(more='marked = "two marks"\nlength_mm = 300'), "from_card_mm"),
        (line(deg=45), "within 12 of level or upright"),
        (line(deg=0, more='runs = "upright"'), "makes it run level"),
        (line(more="from_card_mm = [1, 2, 3]"), "at most 2"),
        (WEB.replace('"web"', '"r1"'), "is taken by R1"),
        (WEB.replace('"web"', '"web 2"').replace("[20]", "[1]"), "card 1 belongs to R1"),
        ('[[pair]]\nat = "R1"\nline = "chord"\nbase = "nose"\ntolerance_deg = 0.1', "is no line at R1"),
        ('[[pair]]\nat = "R1"\nline = "chord"\nbase = "chord"\ntolerance_deg = 0.1', "the line itself"),
    ],
)
def test_what_is_refused(text: str, said: str):
    with pytest.raises(UserError) as caught:
        parse_job(RIB + WEB.replace("[20]", "[19]") * ("[[place]]" not in text) + text, "wing.toml")
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)
    assert caught.value.remedy


def test_cards_lead_to_their_face():
    job: Job = parse_job(RIB + WEB)
    assert [getattr(job.owner_of_card(n), "name", None) for n in (1, 20, 7)] == ["R1", "web", None]
