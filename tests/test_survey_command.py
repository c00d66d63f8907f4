"""`ribangle survey` on the sample's wrong ribs, by the real reader."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from rigging.cli.main import run
from rigging.survey.corrections import effect
from shared.job.file import load_job

SAMPLE = Path(__file__).parent.parent / "samples" / "trainer"
TRUTH = json.loads((SAMPLE / "truth.json").read_text())["photos"]
PHOTOS = ("L3-two", "R5", "R6")


@pytest.fixture(scope="module")
def shop(tmp_path_factory) -> Path:
    home = tmp_path_factory.mktemp("shop")
    for name in ("trainer.toml", "gauge.csv"):
        shutil.copy(SAMPLE / name, home / name)
    shutil.copytree(SAMPLE / "lens", home / "lens")
    (home / "photos").mkdir()
    for name in PHOTOS:
        shutil.copy(SAMPLE / "photos" / f"{name}.jpg", home / "photos")
    return home


@pytest.fixture(scope="module")
def first(shop: Path) -> dict:
    job, photos = str(shop / "trainer.toml"), str(shop / "photos")
    asked = ["--jobs", "1", "--note", "the wrong ones", "--stage", "before-glue"]
    assert run(["survey", job, photos, *asked]) == 0
    return dict(json.loads((shop / "trainer-surveys" / "0001.json").read_text()))


def test_angles_in_the_record_cover_the_truth(first: dict):
    lines = first["result"]["lines"]
    for photo in PHOTOS:
        told = lines[TRUTH[photo]["station"]]["chord"]
        assert abs(told["value"] - TRUTH[photo]["chord_deg"]) <= told["U"]
        assert told["U"] < 0.4


def test_record_names_what_it_rests_on(first: dict, shop: Path):
    kept = first["materials"]
    assert {p["path"] for p in kept["photos"]} == {f"photos/{n}.jpg" for n in PHOTOS}
    assert [p["path"] for p in kept["profiles"]] == [f"lens/{p.name}" for p in (shop / "lens").glob("*.json")]
    assert kept["asked"]["stage"] == "before glue" and first["note"] == "the wrong ones"
    assert "station" in kept["job"]["text"] and kept["gauge"]["text"].startswith("station")


def test_bay_and_rib_are_named_and_told_apart_and_the_unseen_are_told(first: dict):
    told = first["result"]
    assert "the jig of the right outer bay (R5 and R6) and rib L3 are wrong" in told["verdict"]
    assert (told["causes"]["R5"], told["causes"]["R6"], told["causes"]["L3"]) == ("jig", "jig", "rib")
    assert told["states"]["R1"] == "not measured" and "9 not measured" in told["verdict"]


def test_correction_would_bring_the_true_angles_in_tolerance(first: dict, shop: Path):
    job = load_job(shop / "trainer.toml")
    (jig,) = [j for j in job.jigs if j.panel == "right outer bay"]
    (turns,) = [c[-1] for c in first["result"]["corrections"] if c[:-1] == ["R5", "R6"]]
    for name in ("R5", "R6"):
        station, shift = job.station(name), effect(jig, turns)
        assert abs(TRUTH[name]["chord_deg"] + shift - station.chord_deg) < station.chord_tolerance_deg
        assert abs(TRUTH[name]["spar_deg"] + shift - station.spar_deg) < station.spar_tolerance_deg


def test_report_and_record_are_written_and_stand(first: dict, shop: Path, capsys):  # noqa: ARG001
    assert {"report.html", "report.pdf", "stations.csv", "survey.json"} <= {
        p.name for p in (shop / "trainer-report").iterdir()
    }
    assert run(["verify", str(shop / "trainer.toml")]) == 0
    assert "stand as they were kept" in capsys.readouterr().out


def test_second_survey_takes_the_readings_over_and_says_the_same(first: dict, shop: Path, capsys):
    job = str(shop / "trainer.toml")
    assert run(["survey", job, str(shop / "photos"), "--no-report", "--stage", "before-glue", "--json"]) == 0
    second = json.loads(capsys.readouterr().out)
    assert second["number"] == 2 and second["result"] == first["result"]
    assert run(["compare", job, "1", "2"]) == 2
    assert "the very same 3 photos: nothing can have moved" in capsys.readouterr().err


def test_mistakes_before_anything_is_measured(shop: Path, capsys):
    job, photos = str(shop / "trainer.toml"), str(shop / "photos")
    assert run(["survey", job, photos, "--set-aside", "R6.jpg"]) == 2
    assert "needs a photo and a reason" in capsys.readouterr().err
    assert run(["survey", job, str(shop / "nowhere")]) == 2
    assert capsys.readouterr().err.count("\n") == 1
