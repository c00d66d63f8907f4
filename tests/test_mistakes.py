"""Mistakes that people make, made on the command line: each is named, none misleads (docs/mistakes.md)."""

from __future__ import annotations

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
