import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from rigging.cli.main import run
from rigging.materials import Asked, gather
from rigging.readings_file import to_tree, write_readings
from rigging.record import keep, record_folder
from samples import TRAINER
from shared.job_file import load_job
from tests.example_survey import example_survey, readings

NOW = "2024-05-14T18:30:00"


@pytest.fixture
def job_file(tmp_path: Path) -> Path:
    for name in ("trainer.toml", "gauge.csv"):
        shutil.copy(TRAINER / name, tmp_path / name)
    return tmp_path / "trainer.toml"


def measured(job_file: Path) -> None:
    folder = job_file.parent / "trainer-readings"
    folder.mkdir()
    with (folder / "readings.json").open("wb") as stream:
        write_readings(stream, load_job(job_file), (to_tree(r) for r in readings()))


def test_report_of_what_was_measured_last(job_file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    measured(job_file)
    assert run(["report", str(job_file)]) == 0
    said = capsys.readouterr()
    assert "L3" in said.out
    assert "report.html" in said.out
    page = (job_file.parent / "trainer-report" / "report.html").read_text(encoding="utf-8")
    assert "1.921°" in page
    assert said.err == ""


def test_nothing_measured_is_one_line_with_the_remedy(
    job_file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
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
    from rigging.materials import evaluated

    survey = evaluated(materials, readings(), job_file.parent)
    if changed:
        survey = replace(survey, verdict="All is well.")
    keep(record_folder(job_file), materials, readings(), survey)
    assert run(["report", str(job_file), "--out", str(job_file.parent / "out")]) == 0
    page = (job_file.parent / "out" / "report.html").read_text(encoding="utf-8")
    assert ("All is well." in capsys.readouterr().err) == changed
    assert ("said: All is well." in page) == changed
    assert NOW.replace("T", " ") in page


def test_example_is_judged_like_the_trainer() -> None:
    states = {s.station.name: s.state for s in example_survey().stations}
    assert states["L3"] == states["R5"] == states["R6"] == "nonconforming"
