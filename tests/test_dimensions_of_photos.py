"""Dimensions from photos to files by the commands: a ray-traced sample photo with its own lens, hints beside it."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path

import pytest

from rigging.batch.find import find_photos
from rigging.cli.main import run
from rigging.preflight.job import check_job
from shared.job.file import load_job

SAMPLE = Path(__file__).parent.parent / "samples" / "trainer"
TRUTH = json.loads((SAMPLE / "truth.json").read_text())["photos"]["R1"]
ASKED = """
[[dimension]]
name = "built in"
kind = "angle"
at = "R1"
between = ["chord", "spar"]
design_deg = 88.0
tolerance_deg = 0.5
[[dimension]]
name = "front to spar"
kind = "distance"
at = "R1"
between = ["mark front", "chord x spar"]
design_mm = 350
tolerance_mm = 20
[[dimension]]
name = "by hand"
kind = "distance"
at = "R1"
between = ["mark front", "mark rear"]
[[dimension]]
name = "marks"
kind = "chord length"
at = "R1"
[[dimension]]
name = "joint"
kind = "gap"
at = "tip"
between = ["edge a", "edge b"]
[[place]]
name = "tip"
side = "right"
span_mm = 4000
cards = [30]
"""


@pytest.fixture(scope="module")
def home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wing")
    for name in ("lens", "boards"):
        if (SAMPLE / name).is_dir():
            shutil.copytree(SAMPLE / name, folder / name)
    text = (SAMPLE / "trainer.toml").read_text("utf-8").replace('readings = "gauge.csv"', "")
    text = text.replace("[wing]", '[wing]\nlength_unit = "in"\ninch_fractions = true', 1)
    (folder / "trainer.toml").write_text(text + ASKED, "utf-8")
    (folder / "photos").mkdir()
    shutil.copy(SAMPLE / "photos" / "R1.jpg", folder / "photos" / "R1.jpg")
    (ax, ay), (bx, by) = TRUTH["le_px"], TRUTH["te_px"]
    (folder / "photos" / "R1.jpg.hints").write_text(f"mark front {ax},{ay}\nmark rear {bx},{by}\n")
    assert run(["survey", str(folder / "trainer.toml"), str(folder / "photos"), "--jobs", "1"]) == 0
    return folder


def rows(home: Path) -> dict[str, dict[str, str]]:
    text = (home / "trainer-report" / "dimensions.csv").read_text("utf-8-sig")
    return {r["dimension"]: r for r in csv.DictReader(text.splitlines())}


def test_the_angle_between_two_lines_is_the_scenes(home: Path) -> None:
    row = rows(home)["built in"]
    true = TRUTH["spar_deg"] - TRUTH["chord_deg"]
    assert abs(float(row["value"]) - true) <= float(row["U"])
    assert float(row["U"]) < 0.3 and row["state"] == "conforming"


def test_a_length_between_pointed_ends_is_the_scenes(home: Path) -> None:
    """The drawn line's ends as projected by the scene; a print that nobody measured is good to 0.5 %, and limits all."""
    row = rows(home)["by hand"]
    true = (0.985 - 0.012) * TRUTH["chord_mm"]
    assert abs(float(row["value"]) - true) <= float(row["U"])
    assert 2 * 0.005 * true < float(row["U"]) < 1.2 * 2 * 0.005 * true
    assert row["limits"].startswith("print scale") and " in " in row["shown"]
    assert (row["state"], row["design"]) == ("measured", "")


def test_what_is_not_there_says_why(home: Path) -> None:
    found = rows(home)
    assert "printed reference mark" in found["marks"]["reason"]
    assert found["joint"]["reason"] == "no photo shows card 30"


def test_the_report_and_the_record_hold_it(home: Path) -> None:
    page = (home / "trainer-report" / "report.html").read_text("utf-8")
    assert "R1: built in" in page and "tip: joint" in page
    tree = json.loads((home / "trainer-report" / "survey.json").read_text())
    assert [d["name"] for d in tree["dimensions"]] == ["built in", "front to spar", "by hand", "marks", "joint"]
    assert run(["verify", str(home / "trainer.toml")]) == 0  # judged anew from the record, with the same verdict
    assert run(["show", str(home / "trainer.toml")]) == 0


def test_the_check_before_measuring_names_what_lacks(home: Path) -> None:
    job = load_job(home / "trainer.toml")
    found = check_job(job, find_photos([home / "photos"]), workers=1)
    tip = next(c for c in found.stations if c.station.name == "tip")
    assert "no photo shows it (card 30)" in [t.text for t in tip.troubles]
    (photo,) = next(s for s in found.stations if s.station.name == "R1").photos
    assert photo.fit and any("R1: marks: no printed reference mark" in t.text for t in photo.troubles)
