"""Dimensions from the job to the verdict: rules, decisions against tolerances, left against right, files and words."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from datetime import datetime

import jsonschema
import pytest
from readings import angle, reading
from rich.console import Console

from rigging.batch.readings_csv import row
from rigging.batch.readings_file import from_tree, json_schema, to_tree
from rigging.report import as_json
from rigging.report.as_html import to_html
from rigging.report.dimensions_csv import dimensions_csv
from rigging.report.document import document
from rigging.survey.dimension_words import design_words, limit_of, value_words
from rigging.survey.model import Survey, evaluate
from rigging.survey.table import survey_view
from shared.dimensions import Dimension, Kind, parse_feature
from shared.errors import UserError
from shared.flags import FlagCode
from shared.job.file import parse_job
from shared.job.model import Job, Station, Wing
from shared.job.named import Place
from shared.lengths import INCH_MM, as_fraction
from shared.quantity import Component, Quantity
from shared.reading import NO_RIB, Angle, Measured, Reading

WING = """
[wing]
name = "Trainer"
root = "R1"
"""
STATION = """
[[station]]
name = "{name}"
side = "{side}"
span_mm = 400
chord_mm = 1200
cards = [{card}]
chord_deg = 2
chord_tolerance_deg = 0.25
"""
SKIN = """
[[place]]
name = "lower skin"
side = "centre"
span_mm = 0
cards = [20]
"""
BOTH = WING + STATION.format(name="R1", side="right", card=1) + STATION.format(name="L1", side="left", card=13) + SKIN
STEP = """
[[dimension]]
name = "joint"
kind = "step"
at = "lower skin"
between = ["edge fixed", "edge free"]
design_mm = 0
tolerance_mm = "1/32 in"
"""
NOW = datetime(2026, 5, 16, 9, 0)


def mistake(text: str) -> str:
    with pytest.raises(UserError) as caught:
        parse_job(BOTH + text, "wing.toml")
    line = str(caught.value)
    assert line.startswith("wing.toml: dimension") and "\n" not in line
    return line


# --- the job


def test_a_dimension_arrives_as_written() -> None:
    job = parse_job(BOTH + STEP)
    (d,) = job.dimensions
    assert d == Dimension(
        "joint", Kind.STEP, "lower skin", (20,), "centre", (parse_feature("edge fixed"), parse_feature("edge free")),
        0.0, pytest.approx(INCH_MM / 32), 0.3,
    )  # fmt: skip
    assert d.key == "lower skin: joint"


def test_chord_length_and_spar_place_need_no_features_and_take_the_stations_card_and_side() -> None:
    text = """
[[dimension]]
name = "chord"
kind = "chord length"
at = "L1"
[[dimension]]
name = "spar"
kind = "place on chord"
at = "L1"
design_mm = 300
tolerance_mm = 1
"""
    chord, spar = parse_job(BOTH + text).dimensions
    assert [f.text for f in chord.between] == ["nose", "tail"]
    assert [f.text for f in spar.between] == ["nose", "spar"]
    assert (chord.cards, chord.side, chord.design) == ((13,), "left", None)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('kind = "step"', 'kind = "stp"', "did you mean step"),
        ('at = "lower skin"', 'at = "lower skn"', "did you mean lower skin"),
        ('at = "lower skin"', "", "at: is missing"),
        ('"edge fixed", ', "", "must have at least 2 entries"),
        ('"edge fixed"', '"mark fixed"', "is a point; a step has a line as its first"),
        ('"edge fixed"', '"edge free"', "both features are"),
        ('"edge fixed"', '"fixed"', "is not one of"),
        ('"edge fixed"', '"chord"', "is of a rib, and the place is none"),
        ("design_mm = 0\n", "", "design_mm: is missing"),
        ("design_mm = 0", "design_deg = 0", "is measured in mm"),
        ('kind = "step"', 'kind = "gap"\nu_depth_mm = 0', "u_depth_mm: must be over 0"),
    ],
)
def test_each_mistake_is_one_line(old: str, new: str, words: str) -> None:
    assert old in STEP
    assert words in mistake(STEP.replace(old, new))


def test_one_name_twice_at_a_place_is_refused() -> None:
    assert "used twice at lower skin" in mistake(STEP + STEP)


def test_a_distance_has_no_negative_design() -> None:
    text = STEP.replace("step", "distance").replace("edge", "mark").replace("design_mm = 0", "design_mm = -3")
    assert "has no sign" in mistake(text)


# --- words


@pytest.mark.parametrize(
    ("inches", "text", "left"),
    [
        (1 / 32, "1/32", 0.0),
        (0.25, "1/4", 0.0),
        (47.25, "47 1/4", 0.0),
        (47.25 + 0.003, "47 1/4", 0.003),
        (-0.1, "\N{MINUS SIGN}3/32", -0.1 + 3 / 32),
        (0.002, "0", 0.002),
        (63.999, "64", -0.001),
        (2 + 63 / 64, "2 63/64", 0.0),
    ],
)
def test_inches_come_to_the_nearest_64th_with_what_is_left(inches: float, text: str, left: float) -> None:
    """A machinist's rule is divided so (common practice, no source); the inch is 25.4 mm exactly (ISO 80000-3)."""
    words, rest = as_fraction(inches * INCH_MM)
    assert words == text
    assert rest == pytest.approx(left, abs=1e-9)


def test_no_fraction_is_further_off_than_half_a_64th() -> None:
    for k in range(-400, 400):
        _, left = as_fraction(k * 0.37)
        assert abs(left) <= 1 / 128 + 1e-12


def job_of(*dimensions: Dimension, **more: object) -> Job:
    stations = (
        Station("R1", "right", 400.0, 1200.0, (1,), 2.0, 0.25),
        Station("L1", "left", 400.0, 1200.0, (13,), 2.0, 0.25),
    )
    faces = {d.place: d for d in dimensions if d.place not in ("R1", "L1")}
    places = tuple(Place(name, d.side, 0.0, d.cards) for name, d in faces.items())
    return replace(Job(Wing("Trainer", "R1"), stations, dimensions=dimensions, places=places), **more)  # type: ignore[arg-type]


def quantity(value: float, *parts: tuple[str, str, float]) -> Quantity:
    return Quantity(value, tuple(Component(*p) for p in parts) or (Component("line and edge fit", "x", 0.05),))


@pytest.mark.parametrize(
    ("unit", "fractions", "words"),
    [
        ("mm", False, "0.80 ± 0.10 mm"),
        ("in", False, "0.0315 ± 0.0039 in"),
        ("in", True, "1/32 in + 0.0002 ± 0.0039"),
    ],
)
def test_a_length_is_written_in_the_jobs_unit(unit: str, fractions: bool, words: str) -> None:
    job = job_of(length_unit=unit, inch_fractions=fractions)
    assert value_words(job, "mm", quantity(0.8)) == words


def test_a_design_is_written_in_the_jobs_unit() -> None:
    d = dimension("joint", Kind.STEP, design=0.0, tolerance=INCH_MM / 32)
    assert design_words(job_of(length_unit="in", inch_fractions=True), d) == "0 in ± 1/32 in"
    assert design_words(job_of(), d) == "0 mm ± 0.79 mm"


# --- the verdict


def dimension(
    name: str, kind: Kind = Kind.STEP, place: str = "lower skin", side: str = "centre", card: int = 20,
    design: float | None = 0.0, tolerance: float | None = INCH_MM / 32,
) -> Dimension:  # fmt: skip
    first, second = ("edge fixed", "edge free") if kind is Kind.STEP else ("mark a", "mark b")
    return Dimension(
        name,
        kind,
        place,
        (card,),
        side,
        (parse_feature(first), parse_feature(second)),
        design,
        tolerance,  # type: ignore[arg-type]
    )


def photo(name: str, *measured: Measured, station: str | None = None) -> Reading:
    made = reading(station or "R1", angle(2.0, name))
    if station is None:
        made = replace(made, station=measured[0].place, chord=Angle(None, NO_RIB), evidence=None)
    return replace(made, photo=replace(made.photo, name=name, sha256=(name * 64)[:64]), dimensions=measured)


def seen(d: Dimension, value: Quantity | None, **more: object) -> Measured:
    reason = None if value is not None else "nobody has pointed at edge fixed"
    return Measured(d.place, d.name, d.kind.unit, value, reason, **more)  # type: ignore[arg-type]


def survey(job: Job, *readings: Reading) -> Survey:
    roots = [photo("r.jpg", station="R1"), replace(photo("l.jpg", station="L1"), station="L1")]
    return evaluate(job, [*roots, *readings], now=NOW)


@pytest.mark.parametrize(
    ("value", "u", "state"),
    [
        (0.3, 0.1, "conforming"),
        (0.7, 0.1, "undecided"),
        (-0.9, 0.1, "undecided"),
        (1.2, 0.1, "nonconforming"),
        (-1.2, 0.1, "nonconforming"),
        (6.35, 0.5, "nonconforming"),
    ],
)
def test_a_step_is_judged_with_its_u(value: float, u: float, state: str) -> None:
    """JCGM 106:2012, 8.3: conforming where |d| + U <= T, nonconforming where |d| - U > T. A step of 1/32 in is good work, one of
    1/4 in a spoilt part (common practice, no source)."""
    d = dimension("joint")
    found = survey(job_of(d), photo("j.jpg", seen(d, quantity(value, ("line and edge fit", "j", u)))))
    (r,) = found.dimensions
    assert r.state == state
    assert r.decision is not None and r.decision.tolerance_deg == pytest.approx(0.79375)
    wrong = state == "nonconforming"
    assert found.verdict.startswith("Not right as it stands: lower skin: joint") is wrong
    assert any("lower skin: joint" in f for f in found.findings) is wrong
    assert (document(found).state == "nonconforming") is wrong
    assert not found.refusals  # a photo of a place lacks nothing


def test_photos_combine_what_they_share_once() -> None:
    """Two photos: their own errors shrink, the print's does not."""
    d = dimension("width", Kind.DISTANCE, design=None, tolerance=None)
    both = [
        photo(f"{n}.jpg", seen(d, quantity(100.0 + off, ("print scale", "print", 0.05), ("rib plane tilt", n, 0.05))))
        for n, off in (("a", 0.02), ("b", -0.02))
    ]
    (r,) = survey(job_of(d), *both).dimensions
    assert r.quantity is not None
    assert r.quantity.value == pytest.approx(100.0, abs=1e-9)
    assert r.quantity.u == pytest.approx((0.05**2 + 0.05**2 / 2) ** 0.5, rel=1e-3)
    assert (r.state, r.decision) == ("measured", None)


def test_the_lines_own_waviness_is_one_error_of_all_its_photos() -> None:
    d = dimension("joint")
    both = [
        photo(
            f"{n}.jpg", seen(d, quantity(0.1, ("waviness of line or edge", f"{n} 1", 0.03), ("pen waviness", n, 0.04)))
        )
        for n in "ab"
    ]
    (r,) = survey(job_of(d), *both).dimensions
    assert r.quantity is not None and r.quantity.u == pytest.approx(0.05, rel=1e-3)


def test_photos_that_contradict_each_other_decide_nothing() -> None:
    d = dimension("joint")
    both = [photo(f"{n}.jpg", seen(d, quantity(v, ("fit", n, 0.03)))) for n, v in (("a", 0.0), ("b", 0.5))]
    (r,) = survey(job_of(d), *both).dimensions
    assert r.state == "undecided" and r.combined.doubtful
    assert "contradict" in (r.combined.doubt or "") and "mm" in (r.combined.doubt or "")


def test_a_doubt_keeps_a_dimension_undecided() -> None:
    d = dimension("joint")
    flag = FlagCode.LINE_BESIDE.flag("beside edge free runs another")
    found = survey(job_of(d), photo("j.jpg", seen(d, quantity(0.0), flags=(flag,))))
    assert found.dimensions[0].state == "undecided"
    assert any(f.text.startswith("lower skin: joint: beside edge free") for f in found.flags)


def test_what_was_not_measured_says_why() -> None:
    d, e = dimension("joint"), dimension("other", place="floor", card=21)
    found = survey(job_of(d, e), photo("j.jpg", seen(d, None)))
    assert [r.state for r in found.dimensions] == ["not measured", "not measured"]
    assert "nobody has pointed at edge fixed" in found.dimensions[0].words
    assert "no photo shows card 21" in found.dimensions[1].words
    assert "2 not measured" in found.verdict
    assert [r.photo for r in found.refusals] == ["j.jpg"]


def test_left_minus_right_is_free_of_what_both_share() -> None:
    """One print of one sheet: its scale cancels in the difference, as far as the lengths are alike."""
    sides = [
        dimension("tip chord", Kind.DISTANCE, p, s, c, 400.0, 1.0)
        for p, s, c in (("L", "left", 20), ("R", "right", 21))
    ]
    shots = [
        photo(f"{d.place}.jpg", seen(d, quantity(v, ("print scale", "print", 0.4), ("fit", d.place, 0.05))))
        for d, v in zip(sides, (401.0, 399.9), strict=True)
    ]
    found = survey(job_of(*sides), *shots)
    (pair,) = found.sides
    assert pair.quantity.value == pytest.approx(1.1)
    assert pair.quantity.u == pytest.approx(0.05 * 2**0.5, rel=1e-6)
    assert pair.decision is not None and pair.decision.outcome == "undecided"
    assert "left against right" not in found.verdict


def test_the_budget_says_what_limits_it() -> None:
    name, share, remedy = limit_of(quantity(850.0, ("print scale", "print", 0.4), ("fit", "x", 0.3)))
    assert name == "print scale" and share == pytest.approx(0.64) and "calibrate print" in remedy


def test_a_sweep_is_judged_in_degrees() -> None:
    d = Dimension(
        "sweep",
        Kind.SWEEP,
        "wing from above",
        (20,),
        "left",
        (parse_feature("line string"), parse_feature("edge nose")),
        3.0,
        0.5,
    )
    found = survey(job_of(d), photo("s.jpg", seen(d, quantity(3.1, ("lens", "l", 0.05)))))
    assert found.dimensions[0].state == "conforming"
    assert "+3.10° ± 0.10°" in found.dimensions[0].words


# --- files


def filled() -> Survey:
    d, e = dimension("joint"), dimension("=width", Kind.DISTANCE, "floor", card=21, design=100.0, tolerance=0.5)
    return survey(job_of(d, e, length_unit="in", inch_fractions=True), photo("j.jpg", seen(d, quantity(1.3))))


def test_the_csv_has_a_row_for_each_safe_to_open() -> None:
    text = dimensions_csv(filled())
    rows = list(csv.DictReader(io.StringIO(text.lstrip("\N{ZERO WIDTH NO-BREAK SPACE}"))))
    assert [r["state"] for r in rows] == ["nonconforming", "not measured"]
    assert (rows[0]["value"], rows[0]["U"], rows[0]["unit"], rows[0]["shown"]) == (
        "1.3000", "0.1000", "mm", "3/64 in + 0.0043 ± 0.0039",
    )  # fmt: skip
    assert rows[1]["dimension"] == "'=width" and rows[1]["value"] == ""


def test_json_report_and_table_show_it() -> None:
    found = filled()
    tree = json.loads(as_json.to_json(found))
    jsonschema.validate(tree, as_json.json_schema())
    (first, second) = tree["dimensions"]
    assert first["value"]["value"] == pytest.approx(1.3) and first["decision"]["outcome"] == "nonconforming"
    assert second["value"] is None and "no photo shows card 21" in second["reason"]
    page = to_html(document(found))
    assert "lower skin: joint (step, edge fixed to edge free)" in page and "3/64 in" in page
    for width in (200, 70):
        console = Console(width=width, record=True, file=io.StringIO())
        console.print(survey_view(found))
        shown = console.export_text()
        assert "lower skin: joint" in shown and "+3/64 in + 0.0043" in shown


def test_readings_keep_it_without_loss() -> None:
    d = dimension("joint")
    before = photo("j.jpg", seen(d, quantity(1.3), paths=(((1.0, 2.0), (3.0, 4.0)), ((5.0, 6.0),))))
    tree = json.loads(json.dumps(to_tree(before)))
    assert from_tree(tree) == before
    (part,) = tree["dimensions"]
    assert (part["value"], part["U"]) == (pytest.approx(1.3), pytest.approx(0.1))
    jsonschema.validate(tree, {**json_schema(), **json_schema()["$defs"]["Reading"]})
    assert row(job_of(d), tree)["dimensions"] == "lower skin: joint 1.3000 U 0.1000 mm"
