"""Mistakes that people make, made on the command line: each is named, none misleads (docs/mistakes.md)."""

from __future__ import annotations

import json
import re
from datetime import datetime, timedelta

import pytest
import tomli_w
from mistake_shop import Shop, shop
from told_reader import Told

from rigging.planning.lint_cards import hints
from shared.job.file import load_job

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
    shop.gauge("R1,chord,two", "R2,chord,")
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
    assert "undecided (R3)" in said and "correct the side in the job" in said
    shop.job["wing"]["dihedral_deg"] = 0.0
    assert "correct the side in the job" in shop.survey()


def test_a_whole_wing_photographed_from_inboard_is_no_mistake(shop: Shop):
    shop.job["wing"]["dihedral_deg"] = 4.0
    shop.photos(forward="right")
    assert "correct the side" not in shop.survey()


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


def test_the_same_picture_saved_anew_is_no_second_witness(shop: Shop):
    shop.photos()
    for name in ("R2a.png", "R2b.png"):
        shop.photo(name, Told((2,), 1.8, 90.3, taken=None, aside=700.0))
    said = shop.survey()
    assert "R2b.png set aside: the same picture as R2a.png, saved anew" in said


def test_a_photo_that_was_only_renamed_is_found_by_its_contents(shop: Shop):
    shop.photos()
    shop.survey()
    (shop.folder / "photos" / "R2.png").rename(shop.folder / "photos" / "rib two.png")
    code, said = shop.run("verify", "wing.toml")
    assert code == 0 and "photo R2.png: note: is named rib two.png now" in said


@pytest.mark.parametrize("name", ["r2", "R02", "rib R2", "R 2"])
def test_stations_may_be_named_as_people_name_them(shop: Shop, name: str):
    shop.photos()
    shop.survey()
    assert "R2 chord: 1.50" in shop.run("budget", "wing.toml", name)[1]
    assert "R2: conforming" in shop.run("show", "wing.toml", name)[1]
    assert "conforming" in shop.run("log", "wing.toml", name)[1]


def test_a_station_that_is_not_there_is_refused_with_the_nearest(shop: Shop):
    shop.photos()
    shop.survey()
    for command in ("budget", "show", "log"):
        code, said = shop.run(command, "wing.toml", "RR2")
        assert code == 2 and "did you mean R2?" in said


def bay(shop: Shop) -> None:
    """R3 and R4 on one saddle, the job's second jig."""
    for name in ("R3", "R4"):
        shop.station(name)["panel"] = "right outer bay"
    shop.job["jig"].append({"kind": "screw", "thread": "M10", "arm_mm": 520.0, "panel": "right outer bay"})


def test_a_fault_is_told_once_with_what_follows_from_it(shop: Shop):
    bay(shop)
    shop.photos({"R3": -0.80, "R4": -0.84})
    said = shop.survey()
    assert (
        "Right outer bay (R3 and R4): the jig stands wrong by −0.8" in said
        and "With it: left and right differ at" in said
    )
    words = json.loads((shop.folder / "wing-surveys" / "0001.json").read_text())["result"]["words"]
    assert sum(not w.startswith("jig of") for w in words) == 1


def test_a_bays_ribs_get_one_number_the_jigs(shop: Shop):
    bay(shop)
    shop.photos({"R3": -0.74, "R4": -0.90})
    said = shop.survey()
    (asked,) = set(re.findall(r"\(\+(0\.8\d+)° ± [0-9.]+° asked\)", said))
    assert said.count(f"urn the jig of right outer bay {asked}° nose-up") == 1  # for both ribs, told once
    assert f"the jig stands wrong by −{asked}°" in said and "seen from its head" in said
    assert not re.search(r"0\.7[34]\d*° nose-up|0\.(90|89)\d*° nose-up", said)


def test_a_ribs_remedy_tells_what_it_would_leave(shop: Shop):
    shop.photos()
    shop.photo("R2.png", Told((2,), 2.18, 89.85, drawn_mm=1120.0))
    said = shop.survey()
    assert "The chord, now +0.68° from design, would then stand −0.15° from it" in said


def test_a_jig_that_is_undecided_is_not_said_to_stand_right(shop: Shop):
    shop.photos()
    shop.photo("R2.png", Told((2,), 3.5, 90.15, u=0.08, drawn_mm=1120.0))
    said = shop.survey()
    assert "Rib R2 is set wrong in itself" in said and "stands right" not in said


def test_wrong_stations_stand_before_undecided_ones(shop: Shop):
    shop.photos()
    shop.photo("R3.png", Told((3,), 1.24, 90.24, drawn_mm=1040.0))
    shop.photo("R4.png", Told((4,), 1.5, 91.0, drawn_mm=960.0))
    shop.survey()
    first = shop.out.split("Look first at")[1].splitlines()[1:3]
    assert first[0].strip().startswith("R4: out of tolerance by 0.75") and first[1].strip().startswith("R3: undecided")


def glue(shop: Shop, minutes_ago: float) -> None:
    mixed = datetime.now() - timedelta(minutes=minutes_ago)
    shop.job["glue"] = {"working_min": 35, "gel_min": 60, "mixed_at": mixed.isoformat(timespec="seconds")}


@pytest.mark.parametrize("minutes", [40.0, 90.0])
def test_after_the_working_time_nothing_tells_to_turn_anything(shop: Shop, minutes: float):
    bay(shop)
    shop.photos({"R3": -0.8, "R4": -0.8, "L2": 0.7})
    shop.photo("L3.png", Told((7,), 1.9, 90.0, forward="left", drawn_mm=1040.0))
    glue(shop, minutes)
    said = shop.survey()
    page = shop.run("report", "wing.toml") and (shop.folder / "wing-report" / "report.html").read_text("utf-8")
    for text in (said, page):
        assert "move nothing" in text
        for word in ("turn the screw", "Turn the jig", "Set the rib afresh", "regluing"):
            assert word not in text
    glue(shop, 5.0)
    assert "turn the screw" in shop.survey()


def test_the_glue_is_mixed_now(shop: Shop):
    code, said = shop.run("mixed", "wing.toml", "now")
    assert code == 2 and "add [glue] with working_min and gel_min" in said
    shop.job["glue"] = {"working_min": 35, "gel_min": 60}
    code, said = shop.run("mixed", "wing.toml", "now")
    assert code == 0 and "min left to move and clamp" in said
    assert 'mixed_at = "' in shop.path.read_text()
    assert shop.run("mixed", "wing.toml", "soon")[0] == 2


def test_turn_photograph_turn(shop: Shop):
    bay(shop)
    shop.photos({"R3": -0.8, "R4": -0.8, "L2": 0.7})
    shop.gauge("R3,chord,0.2", "R4,chord,-0.3", "L2,chord,2.2", "R1,chord,2.0")
    shop.survey()
    shop.photo("R3.png", Told((3,), 1.02, 90.02, drawn_mm=1040.0), "again")
    code, said = shop.run("turned", "wing.toml", "again/R3.png")
    assert code == 0 and "R3: conforming" in said and "Left to turn: jig of L2" in said
    assert "Turned along, photograph again: R4" in said and "not measured (R4)" in said
    shop.photo("R4.png", Told((4,), 0.51, 90.01, drawn_mm=960.0), "again")
    shop.photo("L2.png", Told((6,), 1.5, 90.0, forward="left", drawn_mm=1120.0), "again")
    code, said = shop.run("turned", "wing.toml", "again/R4.png", "again/L2.png")
    assert code == 0 and "Nothing is left to turn" in said and "All 8 stations conform" in said
    assert "read before it was turned" in shop.run("show", "wing.toml")[1]


def test_a_photo_from_before_the_turn_is_no_new_one(shop: Shop):
    shop.photos()
    shop.survey()
    code, said = shop.run("turned", "wing.toml", "photos/R3.png")
    assert code == 2 and "the last survey has already" in said


def test_the_one_reading_that_stands_out_of_a_zero_error_is_marked(shop: Shop):
    shop.photos()
    rows = [
        f"{s['name']},chord,{s['chord_deg'] + 0.3 + (1.0 if s['name'] == 'R4' else 0.0):.1f}"
        for s in shop.job["station"]
    ]
    shop.gauge(*rows, *(f"{s['name']},spar,90.3" for s in shop.job["station"]))
    shop.survey()
    marked = [line.split()[0] for line in shop.out.splitlines() if re.search(r"\d° !", line)]
    assert marked == ["R4"]
    assert "its zero error of +0.3" in shop.out


def test_a_slip_of_the_decimal_point_is_named_and_is_no_offset(shop: Shop):
    shop.photos()
    rows = [f"{s['name']},chord,{15 if s['name'] == 'R2' else s['chord_deg']}" for s in shop.job["station"]]
    shop.gauge(*rows)
    said = shop.survey()
    assert "one station alone: R2 chord was read +13.50 deg" in said and "fits with the decimal point shifted" in said
    assert "offset of all readings" not in said and shop.out.count("\N{DEGREE SIGN} !") == 1


def test_a_decimal_comma_between_commas_is_read_whole_or_told(shop: Shop):
    shop.photos()
    shop.gauge("R1,chord,2.0", "R2,chord,1,5", "R3,chord,1.0")
    assert "1.50\N{DEGREE SIGN}" in shop.survey()
    shop.gauge("R1,chord,2,0", "R2,chord,1,5", "R3,chord,1,0", head="station,line,reading,note")
    assert "3 rows" in shop.survey() or "decimal comma" in shop.survey()


SLIPS = [
    ("R3", "chord_deg", 10.0, "station R3: chord_deg: 10.00° lies off the run of its neighbours"),
    ("L4", "chord_deg", -0.6, "left and right differ in chord_deg −0.60 and 0.50"),
    ("R2", "chord_mm", 112.0, "station R2: chord_mm: 112 mm lies off the run"),
    ("R2", "span_mm", 11000.0, "station R2: span_mm: 11000 mm does not lie between R1 (400 mm) and R3"),
    ("L3", "span_mm", 1830.0, "stations L3 and R3: span_mm: 1830 and 1800 mm: no pair"),
    ("R3", "span_mm", 1100.0, "stations R2 and R3: span_mm: both stand at 1100 mm"),
    ("R3", "cards", [], "station R3: cards: it has no card"),
    ("R3", "lean_deg", 20.0, "station R3: lean_deg: 20° is a large lean"),
    ("R3", "spar_deg", 70.0, "station R3: spar_deg: 70° leans far"),
    ("R1", "span_mm", 1150.0, "[wing]: root R1: stands at 1150 mm, L1 further in at 400 mm"),
]


@pytest.mark.parametrize(("station", "key", "value", "told"), SLIPS)
def test_a_slip_in_the_job_is_said_before_anything_is_measured(
    shop: Shop, station: str, key: str, value: object, told: str
):
    shop.photos()
    shop.station(station)[key] = value
    assert told in shop.run("check", "wing.toml", "photos", "--quick")[1]
    if key not in ("cards",):
        assert told in shop.survey()


def test_a_plain_job_gives_no_hint(shop: Shop):
    shop.photos()
    shop.survey()
    assert hints(load_job(shop.path), shop.path.name) == ()


def test_lengths_in_inches_and_a_lean_that_is_not_stated_are_said(shop: Shop):
    for s in shop.job["station"]:
        s["chord_mm"], s["span_mm"] = s["chord_mm"] / 10, s["span_mm"] / 25.4
    del shop.job["wing"]["dihedral_deg"]
    shop.photos()
    said = shop.run("check", "wing.toml", "photos", "--quick")[1]
    assert "read like inches" in said and "[wing]: dihedral_deg: is not stated" in said


def test_another_wing_with_the_same_cards_is_said(shop: Shop):
    other = {**shop.job, "wing": {**shop.job["wing"], "name": "the other wing"}}
    (shop.folder / "other.toml").write_bytes(tomli_w.dumps(other).encode())
    shop.photos()
    said = shop.run("check", "wing.toml", "photos", "--quick")[1]
    assert "other.toml (the other wing) uses 8 of the same card numbers" in said and "numbers 0 to 30" in said


def test_all_mistakes_of_a_job_are_told_at_once(shop: Shop):
    shop.station("R3")["cards"] = [1]
    shop.job["wing"]["root"] = "R9"
    shop.station("L2")["spar_tolerance_deg"] = None
    del shop.station("L2")["spar_tolerance_deg"]
    code, said = shop.run("survey", "wing.toml", "photos")
    assert code == 2 and said.count("\n") == 0
    for told in ("card 1 belongs to station R1 already", "spar_tolerance_deg", "'R9' is not the name of a station"):
        assert told in said
