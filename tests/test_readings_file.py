"""The files a batch leaves: read back without loss, as their schema says, harmless in a spreadsheet."""

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import fields, replace
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigging.batch.readings_csv import COLUMNS, safe_cell, write_csv
from rigging.batch.readings_file import from_tree, iter_trees, json_schema, load_readings, to_tree, write_readings
from shared.errors import UserError
from shared.flags import Flag, FlagCode
from shared.lines import Role
from shared.quantity import Component, Quantity
from shared.reading import Advice, Angle, Evidence, Made, Photo, Reading, SeenCard, SeenLine, SeenMark
from tests.batch_help import job

HOME = Path(__file__).parent.parent


def full_reading() -> Reading:
    """A reading that uses every part."""
    line = Component("line fit", "photo:ab line", 0.012345678901234567)
    lens = Component("lens", "lens:x 1", -0.004)
    evidence = Evidence(
        (4000, 3000),
        (SeenCard("strip", 4, ((0.1, 0.2), (3.0, 4.0)), ((1.0, 1.0),), (), 0.11),),
        (SeenLine(Role.CHORD, ((0.0, 1.0), (5.5, 2.25)), math.nan, 0.3, True, "longest", (("contrast", 3.5),)),),
        (SeenMark("cross", (10.0, 20.0), -0.2, math.nan),),
        (((0.0, 0.0), (1.0, 1.0)),),
    )
    return Reading(
        Photo("R4 肋.jpg", "ab" * 32, 4000, 3000, "2026-05-16T09:15:00", "Fieldcam F1"),
        "R4",
        Angle(Quantity(0.4873219, (line, lens)), flags=(Flag(FlagCode.LINE_DOUBTFUL, "two lines lie close"),)),
        Angle(Quantity(90.25, (Component("unknown", "unknown", math.nan), lens))),
        "right",
        "both",
        Made("0.1.0", "fieldcam", None, (("setting", "1"),), True),
        (Flag(FlagCode.BLURRED, "a dark photo"),),
        (Advice("come nearer", 0.05, 0.03), Advice("hold still")),
        evidence,
    )


def refused_reading() -> Reading:
    nothing = Angle(None, "=1+1 no card")
    return Reading(
        Photo("=cmd.jpg", "", 0, 0, None, None), None, nothing, nothing, None, None, Made("0.1.0", None, None)
    )


def written(readings: list[Reading]) -> bytes:
    stream = io.BytesIO()
    write_readings(stream, job(), [to_tree(r, "overlays/x.jpg") for r in readings])
    return stream.getvalue()


def same(a: object, b: object) -> bool:
    """Equal, with NaN equal to NaN."""
    return repr(a) == repr(b)


def test_read_back_without_loss(tmp_path: Path) -> None:
    readings = [full_reading(), refused_reading()]
    (tmp_path / "readings.json").write_bytes(written(readings))
    back = load_readings(tmp_path / "readings.json")
    assert same(back, readings)
    assert back[1] == readings[1]
    assert [from_tree(tree) for tree in iter_trees(tmp_path / "readings.json")][1] == readings[1]


numbers = st.floats(allow_infinity=False)


@settings(max_examples=60, deadline=None)
@given(
    value=st.floats(-90, 90),
    parts=st.lists(st.tuples(st.text(max_size=9), numbers), max_size=4),
    name=st.text(max_size=20),
    width=numbers,
)
def test_any_numbers_and_words_are_read_back(
    value: float, parts: list[tuple[str, float]], name: str, width: float
) -> None:
    name = name.encode("utf-8", "replace").decode()
    chord = Angle(
        Quantity(
            value, tuple(Component(n.encode("utf-8", "replace").decode(), f"s{i}", u) for i, (n, u) in enumerate(parts))
        )
    )
    line = SeenLine(Role.PLUMB, (), width, 0.0, False, name)
    reading = replace(full_reading(), chord=chord, station=name, evidence=Evidence((1, 1), lines=(line,)))
    assert same(from_tree(json.loads(json.dumps(to_tree(reading), allow_nan=False))), reading)


def test_sums_stand_beside_the_components() -> None:
    tree = to_tree(full_reading())
    assert tree["chord"]["u"] == pytest.approx(math.hypot(0.012345678901234567, 0.004), abs=1e-15)
    assert tree["chord"]["U"] == 2 * tree["chord"]["u"]
    assert tree["built_in"]["value"] == pytest.approx(0.4873219 - 90.25 + 90, abs=1e-12)
    assert tree["spar"]["u"] is None, "an unknown uncertainty is unknown, not zero"
    assert to_tree(refused_reading())["chord"]["value"] is None


def test_the_published_schema_is_the_one_in_force() -> None:
    published = json.loads((HOME / "docs/readings.schema.json").read_text("utf-8"))
    assert published == json.loads(json.dumps(json_schema())), "run: python -m rigging.batch.readings_file"


def refuse(name: str) -> float:
    raise AssertionError(f"{name} is not JSON")


def test_files_are_as_the_schema_says() -> None:
    schema = json_schema()
    check = jsonschema.Draft202012Validator(schema)
    check.check_schema(schema)
    tree = json.loads(written([full_reading(), refused_reading()]), parse_constant=refuse)
    check.validate(tree)
    for spoil in (
        lambda r: r.pop("photo"),
        lambda r: r["chord"].update(u="small"),
        lambda r: r.update(forward="up"),
        lambda r: r["chord"].pop("U"),
        lambda r: r.pop("overlay"),
    ):
        broken = json.loads(json.dumps(tree))
        spoil(broken["readings"][0])
        assert not check.is_valid(broken)
    assert {f.name for f in fields(Reading)} <= set(schema["$defs"]["Reading"]["properties"])


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"{",
        b"[]",
        b"{}",
        b'{"format":"ribangle readings 1"}',
        b"\xff\xfe",
        b'{"format":"ribangle readings 1","readings":[1]}',
        b"[" * 100_000,
        b'{"format":"ribangle readings 1","readings":[{"photo":{}}]}',
    ],
)
def test_what_is_no_readings_file_is_refused_in_one_line(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "r.json").write_bytes(data)
    with pytest.raises(UserError) as caught:
        load_readings(tmp_path / "r.json")
    assert "\n" not in str(caught.value)
    with pytest.raises(UserError, match="cannot be read"):
        load_readings(tmp_path / "none.json")


def test_csv_cells() -> None:
    stream = io.BytesIO()
    write_csv(stream, job(), [to_tree(full_reading()), to_tree(refused_reading())])
    first, second = csv.DictReader(io.StringIO(stream.getvalue().decode("utf-8"), newline=""))
    assert tuple(first) == COLUMNS
    assert (first["station"], first["chord_deg"], first["chord_design_deg"]) == ("R4", "0.4873", "0.8000")
    assert (first["spar_u_deg"], first["lens"], first["level"]) == ("", "fieldcam", "")
    assert first["flags"] == "a dark photo; two lines lie close"
    assert (second["photo"], second["reason"], second["chord_deg"]) == ("'=cmd.jpg", "'=1+1 no card", "")


# OWASP, "CSV Injection": a cell must not begin with = + - @ tab or carriage return (nor full-width forms).
@given(st.text(max_size=12), st.sampled_from("=+-@\t\r＝＋－＠"), st.sampled_from(["", " ", "\u00a0", "  "]))
def test_no_text_begins_a_formula(text: str, sign: str, blank: str) -> None:
    assert safe_cell(blank + sign + text) == "'" + blank + sign + text


def test_plain_text_stays() -> None:
    for text in ("R4", "肋", "", "two = one", "a-b"):
        assert safe_cell(text) == text
