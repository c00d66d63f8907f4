"""Every batch checks by itself what it was measured against: flags in table, report and JSON."""

from __future__ import annotations

import io
import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from rich.console import Console

from calibration.level.reversal import reversal, save_level
from rigging.batch.drift import BatchWatch
from rigging.batch.readings_file import iter_trees, load_readings, to_tree
from rigging.batch.run import Options
from rigging.batch.table import readings_table
from rigging.report import write_report
from rigging.survey.model import evaluate
from shared.flags import FlagCode, Severity, of_batch
from shared.job.model import CardPrint, Level
from tests.batch_help import job as small_job
from tests.batch_help import run, small_folder
from tests.drift_reader import LENS, PROFILE, readings

DRIFTING = Options(workers=0, reader="tests.drift_reader:read_photo", drawer="tests.fake_reader:draw")


def watched(batch, job, earlier=()):
    watch = BatchWatch()
    for r in batch:
        watch.see(to_tree(r))
    return watch.check(job, earlier)


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    home = tmp_path_factory.mktemp("drift")
    (home / "lens").mkdir()
    shutil.copy(LENS, home / "lens")
    small_folder(home / "photos", 14)
    return home


@pytest.fixture(scope="module")
def batch(folder: Path):
    return run(folder / "photos", folder / "out", DRIFTING, small_job(folder))


def test_a_batch_as_calibrated_is_told_in_numbers_only(folder: Path):
    drift = watched(readings(), small_job(folder))
    assert drift.flags_of(PROFILE.ident) == ()
    (told,) = drift.told
    assert told["lens"] == PROFILE.ident and told["cards"] == 14 and told["flags"] == []
    assert abs(told["focal"] - 1) < 3 * told["u_focal"]


@pytest.mark.parametrize(
    ("changed", "code"),
    [({"focal": 1.08}, "lens-focal-moved"), ({"stretch": 0.01}, "cards-not-square"),
     ({"day": "2027-08-01"}, "lens-profile-old"), ({"rms": [0.05 + 0.012 * k for k in range(14)]}, "card-residuals-grow")],
)  # fmt: skip
def test_each_kind_of_drift_is_flagged(folder: Path, changed, code):
    assert [f.code for f in watched(readings(**changed), small_job(folder)).flags_of(PROFILE.ident)] == [code]


def test_a_stretch_that_is_known_or_usual_raises_no_doubt(folder: Path):
    job = small_job(folder)
    assert watched(readings(stretch=0.005), job).flags_of(PROFILE.ident) == ()
    known = replace(job, prints=CardPrint(stretch=0.01, u_stretch=0.0005))
    assert watched(readings(stretch=0.01), known).flags_of(PROFILE.ident) == ()
    wrong = replace(job, prints=CardPrint(stretch=0.005, u_stretch=0.0005))
    assert [f.code for f in watched(readings(stretch=0.01), wrong).flags_of(PROFILE.ident)] == ["cards-not-square"]


def test_residuals_are_held_against_the_batch_before(folder: Path):
    drift = watched(readings(rms=[0.2] * 14), small_job(folder), readings(rms=[0.05 + 0.001 * k for k in range(14)]))
    assert [f.code for f in drift.flags_of(PROFILE.ident)] == ["card-residuals-grown"]


def test_an_old_level_profile_is_flagged_with_every_reading(folder: Path):
    save_level(folder / "bar.json", reversal([0.15, 0.14], [-0.05, -0.04], ident="bar", date="2026-01-01"))
    job = replace(small_job(folder), level=Level("bar.json"))
    assert [f.code for f in watched(readings(), job).flags_of(None)] == ["level-profile-old"]


def test_the_check_does_not_depend_on_the_order_nor_grow_with_the_batch(folder: Path):
    batch, job = readings(focal=1.08), small_job(folder)
    assert watched(batch, job) == watched(batch[::-1], job)
    many = [replace(r, photo=replace(r.photo, name=f"{k}-{r.photo.name}")) for k in range(6) for r in batch]
    assert watched(many, job).told[0]["cards"] == 40


def test_the_flags_stand_in_json_csv_and_table(folder: Path, batch):
    tree = json.loads(batch.json.read_text("utf-8"))
    (told,) = tree["drift"]
    assert told["focal"] == pytest.approx(1.08, abs=0.02)
    assert all([f["code"] for f in r["flags"]] == ["lens-focal-moved"] for r in tree["readings"])
    assert batch.csv.read_text("utf-8").count("another zoom or focus") == 14
    console = Console(width=160, record=True, file=io.StringIO())
    console.print(readings_table(small_job(folder), iter_trees(batch.json), {}))
    shown = " ".join(console.export_text().split())
    assert shown.count("focal length") == 1 and "whole batch: the cards show a focal length +8" in shown


def test_the_survey_tells_it_once_and_trusts_no_angle(folder: Path, batch):
    survey = evaluate(small_job(folder), load_readings(batch.json))
    assert [f.code for f in of_batch(survey.flags)] == ["lens-focal-moved"]
    assert all(s.chord.combined.doubtful for s in survey.stations if s.chord.quantity is not None)
    write_report(survey, folder / "report", {}, "a4")
    assert "another zoom or focus" in (folder / "report" / "report.html").read_text("utf-8")
    told = json.loads((folder / "report" / "survey.json").read_text("utf-8"))
    assert any("another zoom or focus" in text for text in told["flags"])


def test_an_old_profile_is_told_but_sets_no_photo_aside(folder: Path):
    assert FlagCode.LENS_PROFILE_OLD.severity is Severity.NOTICE
    drift = watched(readings(day="2027-08-01"), small_job(folder))
    old = [replace(r, flags=drift.flags_of(PROFILE.ident)) for r in load_readings(folder / "out" / "readings.json")]
    survey = evaluate(small_job(folder), old)
    assert [f.code for f in of_batch(survey.flags)] == ["lens-profile-old"]
    assert not any(s.chord.combined.doubtful for s in survey.stations if s.chord.quantity is not None)
