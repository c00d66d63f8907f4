"""Inches and decimal commas out: in tables, words, plots and CSV, by a setting in the job."""

from __future__ import annotations

import csv
import io
import re
import tomllib
from dataclasses import replace

import pytest
from example_survey import example_survey
from example_survey import readings as example_readings
from rich.console import Console

from rigging.batch.readings_csv import write_csv
from rigging.batch.readings_file import to_tree
from rigging.batch.table import readings_table
from rigging.cli.main import run
from rigging.plots import chord_plot
from rigging.report.as_csv import to_csv
from rigging.survey.model import evaluate
from rigging.survey.units import in_units
from shared.flags import Flag, FlagCode
from shared.job.file import load_job, parse_job
from shared.job.model import Jig
from shared.lengths import shown_in
from tests.batch_help import job as small_job
from tests.drift_reader import readings


@pytest.mark.parametrize(("mm", "inch"), [
    ("0.9 mm wide", "0.035 in wide"), ("1.3 mm off", "0.051 in off"), ("300 mm from the pivot", "11.81 in from the pivot"),
    ("25.4 mm", "1.000 in"), ("\u22122.5 mm", "\u22120.098 in"), ("5 mmHg, M8x1.0, 27mm", "5 mmHg, M8x1.0, 1.06 in"),
    ("4.2 px", "4.2 px"), ("32 and 5 mm", "32 and 0.20 in"),
])  # fmt: skip
def test_millimetres_in_words_become_inches(mm, inch):
    """One inch is exactly 25.4 mm (ISO 80000-3)."""
    assert shown_in(mm, "in") == inch
    assert shown_in(mm, "mm") == mm


def in_inches():
    """The example survey's job with a shim jig, set to inches."""
    job = replace(example_survey().job, length_unit="in", decimal=",", jigs=(Jig("shim", arm_mm=420.0, step_mm=0.5),))
    return job, example_readings()


def words_of(survey) -> str:
    parts = [survey.verdict, *survey.findings, *(c.words for c in survey.corrections)]
    parts += [t for s in survey.stations for t in (s.headline, s.rib_or_jig.before_glue, s.rib_or_jig.after_glue)]
    return " ".join(parts)


def test_a_survey_tells_lengths_in_the_jobs_unit_and_changes_no_number():
    job, readings = in_inches()
    inch = evaluate(job, readings)
    mm = evaluate(replace(job, length_unit="mm"), readings)
    assert re.search(r"\d mm over the chord", words_of(mm)) and not re.search(r"\d in ", words_of(mm))
    assert not re.search(r"\d mm", words_of(inch)) and "16.54 in from the pivot" in words_of(inch)
    assert [s.chord.quantity for s in inch.stations] == [s.chord.quantity for s in mm.stations]
    assert inch.job == job and in_units(mm, "mm") is mm


def test_the_span_is_drawn_in_inches():
    job, readings = in_inches()
    plot = chord_plot(evaluate(job, readings))
    assert plot is not None
    assert plot.figure.axes[-1].get_xlabel().endswith("inches from the centre line")


def test_csv_with_decimal_commas():
    job, readings = in_inches()
    survey = evaluate(job, readings)
    rows = list(csv.DictReader(io.StringIO(to_csv(survey).lstrip("\ufeff")), delimiter=";"))
    first = survey.stations[0]
    assert rows[0]["span_mm"] == f"{first.station.span_mm:.4f}".replace(".", ",")
    stream = io.BytesIO()
    write_csv(stream, job, [to_tree(r) for r in readings[:1]])
    (row,) = csv.DictReader(io.StringIO(stream.getvalue().decode()), delimiter=";")
    assert "," in row["chord_deg"] and "." not in row["chord_deg"]


def test_remarks_in_the_table_are_in_inches():
    job = replace(small_job(), length_unit="in")
    tree = to_tree(replace(readings(count=1)[0], flags=(Flag(FlagCode.MARKS_OFF, "the marks lie up to 1.3 mm off"),)))
    console = Console(width=200, record=True, file=io.StringIO())
    console.print(readings_table(job, [tree], {}))
    assert "0.051 in off" in " ".join(console.export_text().split())


def test_a_new_job_in_inches_loads_and_says_so(tmp_path, capsys):
    path = tmp_path / "wing.toml"
    assert run(["new", str(path), "--units", "in", "--chord", "47 1/4 in", "36 in", "--stations", "2"]) == 0
    capsys.readouterr()
    job = load_job(path)
    assert job.length_unit == "in" and job.stations[0].chord_mm == pytest.approx(47.25 * 25.4)
    assert tomllib.loads(path.read_text())["station"][1]["chord_mm"] == "36.00 in"
    assert run(["plan", str(path), "--camera", "27mm@4000x3000"]) == 0
    assert " in " in capsys.readouterr().out
    assert run(["new", str(tmp_path / "x.toml"), "--chord", "1,200", "900"]) == 2
    assert "thousands" in capsys.readouterr().err


def test_units_are_checked():
    from shared.errors import UserError

    with pytest.raises(UserError, match="length_unit"):
        parse_job('[wing]\nname = "w"\nroot = "R1"\nlength_unit = "cm"\n')
