"""Mistakes that people make, made on the command line: each is named, none misleads (docs/mistakes.md)."""

from __future__ import annotations

import pytest
from mistake_shop import Shop, shop
from told_reader import Told

__all__ = ["shop"]


def test_photos_that_contradict_each_other_conclude_nothing(shop: Shop):
    """R3 photographed from both sides of its string; it leans 3 deg, and the job says that it stands plumb."""
    shop.photos()
    shop.photo("R3.png", Told((3,), 1.48, 90.48, u=0.05, lean=0.08))
    shop.photo("R3b.png", Told((3,), 0.16, 89.16, u=0.05, lean=-0.14))
    said = shop.survey()
    assert "contradict each other" in said and "the rib leans otherwise than the job states by about +3.0" in said
    assert "undecided (R3)" in said and "is wrong" not in said and "differ" not in said and "Inclinometer:" not in said


def test_readings_made_before_an_edit_of_the_job_are_refused(shop: Shop):
    shop.photos()
    assert shop.run("measure", "wing.toml", "photos")[0] == 0
    assert shop.run("report", "wing.toml")[0] == 0
    shop.station("R3")["side"] = "left"
    shop.station("R3")["span_mm"] = 1900.0
    code, said = shop.run("report", "wing.toml")
    assert code == 2 and "made before the job was changed" in said and "measure again" in said
    assert shop.run("measure", "wing.toml", "photos")[0] == 0
    assert shop.run("report", "wing.toml")[0] == 0


def test_what_was_changed_since_a_kept_survey_is_said_wherever_it_is_shown(shop: Shop):
    shop.photos()
    shop.survey()
    shop.station("L2")["chord_deg"] = 1.0
    for command in ("show", "report"):
        said = shop.run(command, "wing.toml")[1]
        assert "the job was changed since survey 1 (station L2: chord_deg)" in said


def test_the_same_photos_are_never_a_movement(shop: Shop):
    shop.photos()
    shop.survey()
    shop.survey()
    code, said = shop.run("compare", "wing.toml", "1", "2")
    assert code == 2 and "the very same 8 photos: nothing can have moved" in said
    shop.station("R2")["cards"], shop.station("R3")["cards"] = [3], [2]
    shop.survey()
    code, said = shop.run("compare", "wing.toml", "1", "3")
    assert code == 2 and "only the job was changed (station R2, station R3)" in said


def test_cards_given_to_other_ribs_between_two_surveys_are_no_movement(shop: Shop):
    shop.photos()
    shop.survey()
    shop.photos(folder="later")
    shop.station("R2")["cards"], shop.station("R3")["cards"] = [3], [2]
    shop.survey("later")
    code, said = shop.run("compare", "wing.toml", "1", "2")
    assert code == 0 and "R2 not compared: the job gives it card 3 now and card 2 then" in said


DROPPED = [
    ("R2,chord,1,5", "row 3:"),
    ("R9,chord,1.5", 'row 3: station "R9" is not in the job'),
    ("R2,chord,", 'row 3: R2: no reading ("")'),
    ("R2,cord,1.5", 'row 3: line "cord" is neither chord nor spar'),
    ("R2,chord,one and a half", "row 3: R2: "),
]


@pytest.mark.parametrize(("row", "told"), DROPPED)
def test_a_row_of_the_gauge_file_that_is_dropped_is_told_on_every_screen(shop: Shop, row: str, told: str):
    shop.photos()
    shop.gauge("R1,chord,2.0", row, "R3,chord,1.0")
    for command in (
        ("measure", "wing.toml", "photos"),
        ("survey", "wing.toml", "photos"),
        ("show", "wing.toml"),
        ("gauge", "check", "wing.toml"),
        ("check", "wing.toml", "photos", "--quick"),
    ):
        assert told in shop.run(*command)[1], command
    page = " ".join((shop.folder / "wing-report" / "report.html").read_text("utf-8").split())
    assert "Rows of the inclinometer" in page and told.split(":")[0] in page


def test_an_inclinometer_file_without_one_usable_row_is_no_missing_inclinometer(shop: Shop):
    shop.photos()
    shop.gauge("R1,chord,2,0", "R2,chord,1,5")
    said = shop.survey()
    assert "no row of the inclinometer's file could be used (2 dropped)" in said
    shop.run("report", "wing.toml")
    page = (shop.folder / "wing-report" / "report.html").read_text("utf-8")
    assert "could be used (2 dropped)" in page and "No inclinometer readings were given" not in page


@pytest.mark.parametrize(
    ("value", "line", "asked"),
    [
        ("25", "chord", "did you mean 2.5?"),
        ("90.1", "chord", "is it the spar line?"),
        ("2", "spar", "is it the chord line?"),
        ("2.6", "chord", None),
        ("-1.5", "chord", None),
        ("89", "spar", None),
    ],
)
def test_a_reading_that_looks_like_a_slip_is_asked_about(shop: Shop, value: str, line: str, asked: str | None):
    before = (shop.folder / "gauge.csv").read_text()
    code, said = shop.run("gauge", "add", "R1", value, "--line", line)
    after = (shop.folder / "gauge.csv").read_text()
    if asked is None:
        assert code == 0 and after != before
        return
    assert code == 2 and asked in said and "nothing was written" in said and after == before
    assert shop.run("gauge", "add", "R1", value, "--line", line, "--yes")[0] == 0
    assert (shop.folder / "gauge.csv").read_text() != before


def test_a_station_on_the_wrong_side_is_doubted_by_its_nose(shop: Shop):
    shop.job["wing"]["dihedral_deg"] = 4.0
    shop.photos()
    shop.station("R3")["side"] = "left"
    said = shop.survey()
    assert "its leading edge points right in the photo, that of L1, L2, L3 left" in said
    assert "undecided (R3)" in said and "Correct the side of R3 in the job" in said
    shop.job["wing"]["dihedral_deg"] = 0.0
    assert "Correct the side of R3 in the job" in shop.survey()


def test_a_whole_wing_photographed_from_inboard_is_no_mistake(shop: Shop):
    shop.job["wing"]["dihedral_deg"] = 4.0
    shop.photos(forward="right")
    assert "Correct the side" not in shop.survey()


def test_photos_of_another_wing_with_the_same_cards_are_doubted_by_their_chords(shop: Shop):
    shop.photos(drawn_mm=1500.0)
    said = shop.survey()
    assert "the chord line seen is 1500 mm long, the job's chord of R1 1200 mm" in said
    assert "0 of 8 stations conform" in said


def test_two_stations_at_the_same_span_stop_nothing(shop: Shop):
    shop.station("R2")["span_mm"] = shop.station("R3")["span_mm"]
    shop.station("L1")["span_mm"] = shop.station("L2")["span_mm"] = shop.station("L3")["span_mm"]
    shop.photos()
    assert shop.run("survey", "wing.toml", "photos")[0] == 0
