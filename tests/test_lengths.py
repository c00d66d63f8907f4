"""Lengths in and out. The inch is exactly 25.4 mm (agreement of 1959; ISO 80000-3)."""

from __future__ import annotations

import pytest

from shared.errors import UserError
from shared.job.file import parse_job
from shared.lengths import format_length, parse_length


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("1200", 1200.0),
        (" 1200 mm ", 1200.0),
        ("1.2m", 1200.0),
        ("1,2 m", 1200.0),
        ("120 cm", 1200.0),
        ("48 in", 1219.2),
        ('48"', 1219.2),
        ("4 ft", 1219.2),
        ("4'", 1219.2),
        ("1/32 in", 0.79375),
        ("47 1/4 in", 1200.15),
        ('47-1/4"', 1200.15),
        ("3 ft 11 1/4 in", 1200.15),
        ("47,25 in", 1200.15),
        (".5 in", 12.7),
    ],
)
def test_lengths_people_write(text, mm):
    assert parse_length(text) == pytest.approx(mm, abs=1e-9)


@pytest.mark.parametrize("text", ["", "  ", "about 3 m", "12 34", "1/0 in", "-5", "3 furlongs", "1200 mm wide"])
def test_what_is_no_length_is_refused_by_name(text):
    with pytest.raises(UserError, match="distance") as caught:
        parse_length(text, "distance")
    assert "47 1/4 in" in str(caught.value)


def test_a_thousands_comma_is_refused_since_it_may_be_a_decimal():
    with pytest.raises(UserError, match="thousands"):
        parse_length("1,200")


def test_lengths_for_people():
    assert [format_length(1219.2, "in"), format_length(1219.2), format_length(12.7)] == [
        "48.00 in",
        "1219 mm",
        "12.7 mm",
    ]


def job_text(chord: str) -> str:
    return f"""
[wing]
name = "trainer"
root = "R1"

[[station]]
name = "R1"
side = "right"
span_mm = "15 3/4 in"
chord_mm = {chord}
cards = [1]
chord_deg = 2.0
chord_tolerance_deg = 0.25
"""


def test_a_job_may_give_lengths_with_their_unit():
    (station,) = parse_job(job_text('"3 ft 11 1/4 in"')).stations
    assert (station.chord_mm, station.span_mm) == (pytest.approx(1200.15), pytest.approx(400.05))
    assert parse_job(job_text("1200")).stations[0].chord_mm == 1200.0


def test_a_jobs_bad_length_is_named_with_its_station_and_key():
    with pytest.raises(UserError, match=r"station R1: chord_mm.*47 1/4 in"):
        parse_job(job_text('"about a metre"'))


def test_a_decimal_comma_in_a_job_is_told_its_remedy():
    with pytest.raises(UserError, match="decimals with a point"):
        parse_job(job_text("1200,5"))
