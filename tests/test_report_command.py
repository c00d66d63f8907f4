import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from PIL import Image

from rigging.batch.readings_file import to_tree, write_readings
from rigging.cli.main import run
from rigging.record.chain import keep, record_folder
from rigging.record.materials import Asked, evaluated, gather
from samples import TRAINER
from shared.job.file import load_job
from tests.example_survey import example_survey, readings

NOW = "2024-05-14T18:30:00"


@pytest.fixture
def job_file(tmp_path: Path) -> Path:
    for name in ("trainer.toml", "gauge.csv"):
        shutil.copy(TRAINER / name, tmp_path / name)
    return tmp_path / "trainer.toml"


def measured(job_file: Path, overlay: bool = False) -> None:
    folder = job_file.parent / "trainer-readings"
    folder.mkdir()
    Image.new("RGB", (80, 60), "teal").save(folder / "seen.jpg")
    trees = (to_tree(r, "seen.jpg" if overlay else None) for r in readings())
    with (folder / "readings.json").open("wb") as stream:
        write_readings(stream, load_job(job_file), trees)


def test_report_of_what_was_measured_last(job_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    measured(job_file)
    assert run(["report", str(job_file)]) == 0
    said = capsys.readouterr()
    assert "L3" in said.out
    assert "report.html" in said.out
    page = (job_file.parent / "trainer-report" / "report.html").read_text(encoding="utf-8")
    assert "1.921°" in page
    assert said.err == ""


def test_nothing_measured_is_one_line_with_the_remedy(job_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["report", str(job_file)]) == 2
    assert capsys.readouterr().err.splitlines() == [
        "ribangle: trainer.toml: nothing was measured for this job yet; "
        "measure its photos first: ribangle measure trainer.toml PHOTOS"
    ]
    assert not (job_file.parent / "trainer-report").exists()


def test_a_survey_that_is_not_kept_is_one_line(job_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    measured(job_file)
    assert run(["report", str(job_file), "--survey", "7"]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1


@pytest.mark.parametrize("changed", [False, True])
def test_kept_survey_is_reported_and_a_changed_verdict_is_told(
    job_file: Path, changed: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    materials = gather(job_file, (), (), Asked(NOW))
    survey = evaluated(materials, readings(), job_file.parent)
    if changed:
        survey = replace(survey, verdict="All is well.")
    keep(record_folder(job_file), materials, readings(), survey)
    assert run(["report", str(job_file), "--out", str(job_file.parent / "out")]) == 0
    page = (job_file.parent / "out" / "report.html").read_text(encoding="utf-8")
    assert ("All is well." in capsys.readouterr().err) == changed
    assert ("said: All is well." in page) == changed
    assert NOW.replace("T", " ") in page


def test_pictures_of_another_result_are_left_out(job_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    measured(job_file, overlay=True)
    materials = gather(job_file, (), (), Asked(NOW))
    kept = tuple(
        replace(r, chord=replace(r.chord, quantity=r.chord.quantity.shifted(0.2)))
        if r.photo.name == "R1.jpg" and r.chord.quantity
        else r
        for r in readings()
    )
    keep(record_folder(job_file), materials, kept, evaluated(materials, kept, job_file.parent))
    assert run(["report", str(job_file)]) == 0
    assert "annotated pictures left out: 1," in capsys.readouterr().err
    page = (job_file.parent / "trainer-report" / "report.html").read_text(encoding="utf-8")
    assert page.count("<img ") == len(readings()) - 1


def test_a_missing_gauge_profile_is_told_not_passed_over(job_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    measured(job_file)
    text = job_file.read_text(encoding="utf-8")
    job_file.write_text(text.replace("[gauge]", '[gauge]\nprofile = "gauge.json"'), encoding="utf-8")
    assert run(["report", str(job_file)]) == 2
    assert "gauge.json" in capsys.readouterr().err


def test_example_is_judged_like_the_trainer() -> None:
    states = {s.station.name: s.state for s in example_survey().stations}
    assert states["L3"] == states["R5"] == states["R6"] == "nonconforming"
