"""Named lines through the survey: counting, repeats, verdict, pairs, spanwise level, gauge, files."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import jsonschema
import pytest
from readings import angle, reading

from rigging.report import document
from rigging.report.as_csv import lines_csv
from rigging.report.as_html import to_html
from rigging.report.as_json import json_schema, to_json
from rigging.report.front import overall
from rigging.survey.model import Survey, evaluate
from rigging.survey.named_lines import between
from rigging.survey.span_level import JOINED
from rigging.survey.table import survey_view
from shared.flags import FlagCode
from shared.gauge.csv_file import parse_gauge_readings
from shared.job.model import Glue, Height, Job, SparLevel, Station, Wing
from shared.job.named import LinePair, NamedLine, Place
from shared.quantity import Component, Quantity
from shared.reading import NO_RIB, Angle, NamedAngle, Reading

ROOT = Station("R1", "right", 0.0, 1200.0, (1,), 3.5, 0.2)
TIP = Station("R9", "right", 4000.0, 700.0, (9,), 0.0, 0.2)
WEBS = tuple(
    Place(f"web {side[0]}", side, 1500.0, (20 + k,), "spar web", "outboard") for k, side in enumerate(("right", "left"))
)
BOLT = NamedLine("R9", "bolt", 90.0, 0.2, "level", "top aft", "upright", length_mm=100.0)
FLANGES = tuple(NamedLine(w.name, "flange", 2.0, 0.2, "level", "outboard end up") for w in WEBS)
JOB = Job(
    Wing("trainer", "R1", dihedral_deg=2.0),
    (ROOT, TIP),
    places=WEBS,
    lines=(BOLT, *FLANGES),
    pairs=(LinePair("R9", "chord", "bolt", 0.2),),
)


def named(name: str, value: float, photo: str = "", **kw: float) -> NamedAngle:
    return NamedAngle(name, angle(value, f"{photo or name}", **kw))  # type: ignore[arg-type]


def rib(station: str, chord: float, *lines: NamedAngle, name: str = "") -> Reading:
    return replace(reading(station, angle(chord, name or station), name=name or f"{station}.jpg"), lines=lines)


def web(place: str, value: float, name: str = "") -> Reading:
    plain = reading(place, Angle(None, NO_RIB), Angle(None, NO_RIB), name=name or f"{place}.jpg")
    return replace(plain, lines=(named("flange", value, name or place),))


def survey(*readings: Reading, job: Job = JOB) -> Survey:
    return evaluate(job, readings)


def line(found: Survey, at: str, name: str = "flange"):  # type: ignore[no-untyped-def]
    return next(r for r in found.lines if r.line.key == (at, name))


def test_a_fitting_1_7_aft_takes_1_7_of_3_5_of_washout():
    # common practice, no source: a fitting that leans back by 1.7 deg takes 1.7 off; of 3.5 that is 49 %, 1.8 are left
    found = survey(rib("R1", 3.5), rib("R9", 1.7, named("bolt", 91.7)))
    pair = next(p for p in found.pairs if p.pair.base == "bolt")
    assert pair.cause == "jig"
    assert pair.base_off is not None and pair.base_off.value == pytest.approx(1.7)
    assert pair.built_off is not None and pair.built_off.value == pytest.approx(0.0, abs=1e-9)
    assert "49 %" in pair.words and "1.800° are left" in pair.words.replace("1.80°", "1.800°")
    assert "top forward" in pair.todo
    assert line(found, "R9", "bolt").state == "nonconforming"
    assert "3.0 mm over its 100 mm" in line(found, "R9", "bolt").todo  # 100 mm x tan 1.7 deg = 2.97 mm
    assert overall(found) == "nonconforming"
    assert any("bolt" in f for f in found.findings)


@pytest.mark.parametrize(
    ("chord", "bolt", "cause"),
    [(0.0, 90.0, "neither"), (1.0, 91.0, "jig"), (1.0, 90.0, "rib"), (0.0, 91.0, "both"), (0.26, 90.13, "sum")],
)
def test_causes_of_a_pair(chord: float, bolt: float, cause: str):
    sharp = {"own": 0.005, "lens": 0.0, "level": 0.0}
    tip = replace(
        reading("R9", angle(chord, "R9", **sharp)),  # type: ignore[arg-type]
        lines=(NamedAngle("bolt", angle(bolt, "bolt", **sharp)),),  # type: ignore[arg-type]
    )
    assert next(p for p in survey(rib("R1", 3.5), tip).pairs).cause == cause


def test_between_lines_of_one_photo_gravity_cancels():
    tip = rib("R9", 0.0, named("bolt", 90.0))
    q = between(tip, "chord", "bolt").quantity
    assert q is not None
    assert q.u == pytest.approx(0.02 * 2**0.5)  # only each line's own fit is left of 0.02, 0.005 and 0.01


def test_without_gravity_a_pair_is_read_all_the_same():
    held = Component("how the camera was held", "photo:x roll", 5.0)

    def loose(value: float, source: str) -> Quantity:
        return Quantity(value, (Component("line fit", source, 0.02), held))

    none = Angle(None, "no level reference was found")
    tip = replace(
        reading("R9", none),
        relative=loose(4.0, "a"),
        lines=(NamedAngle("bolt", none, loose(94.3, "b")),),
    )
    q = between(tip, "bolt", "chord").quantity
    assert q is not None and q.value == pytest.approx(90.3) and q.u == pytest.approx(0.02 * 2**0.5)
    assert line(survey(rib("R1", 3.5), tip), "R9", "bolt").quantity is None


def test_photos_of_one_line_combine_and_doubtful_ones_stand_aside():
    doubt = FlagCode.NAMED_DOUBTFUL.flag("it may be a shadow")
    sound = [web("web r", v, f"w{k}") for k, v in enumerate((2.00, 2.02, 1.98))]
    wild = web("web r", 3.5, "wild")
    flagged = replace(wild, lines=(NamedAngle("flange", replace(wild.lines[0].angle, flags=(doubt,))),))
    found = line(survey(*sound, flagged), "web r")
    assert found.quantity is not None and found.quantity.value == pytest.approx(2.0, abs=0.01)
    assert found.combined.used == 3 and found.state == "conforming"
    alone = line(survey(flagged), "web r")
    assert alone.state == "undecided" and "doubtful" in (alone.decision.why or "")


def test_the_drawn_line_s_own_error_does_not_shrink_with_photos():
    waves = [
        replace(
            r, lines=(NamedAngle("flange", Angle(Quantity(2.0, (Component("pen waviness", f"photo:{k}", 0.03),)))),)
        )
        for k, r in enumerate(web("web r", 2.0, f"w{k}") for k in range(4))
    ]
    q = line(survey(*waves), "web r").quantity
    assert q is not None and q.u == pytest.approx(0.03)


def test_spanwise_level_is_joined_and_gives_the_roll():
    job = replace(
        JOB,
        spar_levels=(SparLevel("right", 2.1, 0.05),),
        heights=(Height("R1", 0.0, 0.5), Height("R9", 139.7, 0.5)),  # atan(139.7 / 4000) = 2.0003 deg
    )
    found = survey(web("web r", 2.3), web("web l", 1.9), job=job).span_levels
    right = [v for v in found if v.side == "right"]
    assert [round(v.rise.value, 2) for v in right[:3]] == [2.0, 2.1, 2.3]
    joined = right[-1]
    assert joined.how == JOINED and "contradict" in joined.words  # 2.3 +- 0.05 against 2.0 +- 0.02
    roll = found[-1]
    assert roll.side == "both" and roll.rise.value == pytest.approx(0.5 * (1.9 - joined.rise.value))


def test_a_flange_at_an_angle_to_the_spar_says_the_same_rise():
    tapered = replace(JOB, lines=(replace(FLANGES[0], deg=1.2),), pairs=())
    found = survey(web("web r", 1.35), job=tapered).span_levels
    assert found[0].rise.value == pytest.approx(2.15)


def test_the_inclinometer_s_row_for_a_named_line():
    text = "station,line,reading\nR9,bolt,90.4\nR9,chord,0.0\nweb r,flange,2.0\nweb r,chord,1\nR9,nose,1\n"
    gauge = parse_gauge_readings(text, ["R1", "R9"], "g.csv", JOB.gauge_lines)
    assert [(r.station, r.name) for r in gauge.named] == [("R9", "bolt"), ("web r", "flange")]
    assert [r.line for r in gauge.readings] == ["chord"]
    assert [o.row for o in gauge.unused] == [5, 6]
    found = evaluate(JOB, [rib("R1", 3.5), rib("R9", 0.0, named("bolt", 90.0)), web("web r", 2.0)], gauge)
    bolt, flange = line(found, "R9", "bolt").gauge, line(found, "web r").gauge
    assert bolt is not None and not bolt.agrees and bolt.en < -1
    assert flange is not None and flange.agrees
    assert any("disagree on R9: bolt" in f for f in found.findings)


def test_root_s_own_deviation_is_taken_out_of_what_looks_along_the_section():
    job = replace(JOB, wing=replace(JOB.wing, root_setting="taken out"))
    found = survey(rib("R1", 4.0), rib("R9", 0.5, named("bolt", 90.5)), web("web r", 2.0), job=job)
    bolt, flange = line(found, "R9", "bolt"), line(found, "web r")
    assert bolt.deviation is not None and bolt.deviation.value == pytest.approx(0.0)
    assert flange.deviation is not None and flange.deviation.value == pytest.approx(0.0)


def test_everything_shows_and_is_written():
    from rich.console import Console

    found = survey(rib("R1", 3.5), rib("R9", 1.7, named("bolt", 91.7)), web("web r", 2.0))
    html = to_html(document(found))
    assert "Lines by name" in html and "bolt" in html and "49 %" in html
    screen = Console(width=120, file=io.StringIO(), record=True)
    screen.print(survey_view(found))
    assert "Lines by name" in screen.export_text()
    rows = list(csv.DictReader(io.StringIO(lines_csv(found).removeprefix("\ufeff"), newline="")))
    assert [r["line"] for r in rows] == ["bolt", "flange", "flange"]
    assert float(rows[0]["off_deg"]) == pytest.approx(1.7)
    assert "no photo" in rows[2]["reason"]
    tree = json.loads(to_json(found))
    jsonschema.validate(tree, json_schema())
    assert tree["lines"][0]["state"] == "nonconforming" and tree["pairs"][0]["cause"] == "jig"


def test_once_the_working_time_is_over_nothing_tells_to_turn():
    job = replace(JOB, glue=Glue(35.0, 60.0, "2026-05-16T09:00"))
    late = evaluate(job, [rib("R1", 3.5), rib("R9", 1.7, named("bolt", 91.7))], now=datetime(2026, 5, 16, 10, 30))
    said = " ".join((*late.findings, *(r.todo for r in late.lines), *(p.todo for p in late.pairs)))
    assert "turn bolt" not in said and "turn bolt" in " ".join(
        evaluate(job, [rib("R1", 3.5), rib("R9", 1.7, named("bolt", 91.7))], now=datetime(2026, 5, 16, 9, 5)).findings
    )


def test_a_rib_without_a_spar_line_is_explained_by_its_pair():
    found = survey(rib("R1", 3.5), rib("R9", 1.7, named("bolt", 91.7)))
    assert not any("rib or jig not told apart" in f for f in found.findings)
    assert found.station("R9").rib_or_jig.by_pair and "bolt" in found.station("R9").rib_or_jig.words


def test_a_job_without_named_lines_says_nothing_of_them():
    bare = replace(JOB, places=(), lines=(), pairs=())
    found = survey(rib("R1", 3.5), rib("R9", 0.0), job=bare)
    assert "named" not in found.verdict and "Lines by name" not in to_html(document(found))


def test_readings_files_hold_the_lines(tmp_path: Path):
    from rigging.batch.lines_csv import write_lines
    from rigging.batch.readings_file import from_tree, is_measured, to_tree

    there = web("web r", 2.04)
    tree = to_tree(there)
    assert from_tree(tree) == there and is_measured(tree) and there.measured
    path = tmp_path / "lines.csv"
    with path.open("wb") as stream:
        write_lines(stream, JOB, [tree, to_tree(rib("R1", 3.5))])
    (row,) = csv.DictReader(io.StringIO(path.read_text("utf-8"), newline=""))
    assert float(row["angle_deg"]) == pytest.approx(2.04) and float(row["off_deg"]) == pytest.approx(0.04)
