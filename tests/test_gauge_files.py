"""Readings files as people and spreadsheets write them, each with what is used and what is reported."""

from __future__ import annotations

import math
import random

import pytest

from shared.errors import UserError
from shared.gauge.angle_cell import angle, mangled
from shared.gauge.csv_file import parse_gauge_readings

STATIONS = [f"{s}{i}" for s in "RL" for i in range(1, 7)]


def read(text):
    found = parse_gauge_readings(text, STATIONS)
    return [(r.station, r.line, r.shown_deg) for r in found.readings], [str(o) for o in found.unused]


@pytest.mark.parametrize("delimiter", [";", "\t", "|", ",", " "])
def test_decimal_commas_with_any_separator(delimiter):
    rows = [["station", "line", "reading"], ["R1", "chord", "2,2"], ["R1", "spar", "90,3"], ["R2", "chord", "-0,5"]]
    assert read("\n".join(delimiter.join(r) for r in rows)) == (
        [("R1", "chord", 2.2), ("R1", "spar", 90.3), ("R2", "chord", -0.5)],
        [],
    )


def test_a_decimal_comma_between_commas_in_two_columns():
    rows, unused = read("rib,chord,spar\nR1,2,2,90,3\nR2,1.8,90.1\nR3,2,90\n")
    assert rows == [
        ("R1", "chord", 2.2), ("R1", "spar", 90.3), ("R2", "chord", 1.8), ("R2", "spar", 90.1),
        ("R3", "chord", 2.0), ("R3", "spar", 90.0),
    ]  # fmt: skip
    assert unused == []
    # 2,2 with no spar reading, or chord 2 and spar 2; chord 2.90 and spar 3, or 2 and 90.3
    rows, unused = read("rib,chord,spar\nR1,2,2\nR2,2,90,3\n")
    assert rows == [] and len(unused) == 2 and all("decimal comma" in u for u in unused)


def test_notes_with_line_breaks_and_quotes():
    text = (
        'station,reading,note\nR1,2.2,"gusty,\nread twice\n\nafter ""the shower"""\n'
        'R2,1.8,calm\nR3,1.5,6" straightedge\n'
    )
    found = parse_gauge_readings(text, STATIONS)
    assert [(r.station, r.row) for r in found.readings] == [("R1", 2), ("R2", 6), ("R3", 7)]
    assert found.readings[0].note == 'gusty, read twice after "the shower"'
    assert found.unused == ()


@pytest.mark.parametrize("closing", ["", '\nL1,chord,1.0,"calm"\n'])
def test_a_quote_that_is_not_closed_swallows_no_rows(closing):
    rows = "".join(f"R{i},chord,{i}.5,\n" for i in range(2, 7))
    found = parse_gauge_readings(f'station,line,reading,note\nR1,chord,2.2,"wind\n{rows}{closing}', STATIONS)
    assert len(found.readings) == 6 + bool(closing)
    assert any("not closed" in o.text for o in found.oddities)


@pytest.mark.parametrize(
    ("cell", "degrees", "said"),
    [
        ("2.2 deg", 2.2, None),
        ("2,2 degrees", 2.2, None),
        ("-0.5°", -0.5, None),
        ("minus 0.5", -0.5, None),
        ("neg. 0,5", -0.5, None),
        ("plus 0.5", 0.5, None),
        ("0.5-", -0.5, None),
        ("0.5 up", 0.5, "nose-up"),
        ("nose-up 0.5", 0.5, "nose-up"),
        ("0.5 (LE down)", 0.5, "nose-down"),
        ("0.5 TE up", 0.5, "nose-down"),
        ("trailing edge down 0.5", 0.5, "nose-up"),
        ("2.2 ± 0.1", 2.2, None),
        ("2.2 +/- 0.1", 2.2, None),
        ("1°30'", 1.5, None),
        ("38.4 mm/m", math.degrees(math.atan(0.0384)), None),
        ("3.84 %", math.degrees(math.atan(0.0384)), None),
        ("0.46 in/ft", math.degrees(math.atan(0.46 / 12)), None),
        ("0.0384 rad", math.degrees(0.0384), None),
    ],
)
def test_units_and_signs_as_words(cell, degrees, said):
    found = angle(cell)
    assert found.degrees == pytest.approx(degrees, rel=0, abs=1e-12) and found.said == said


@pytest.mark.parametrize("cell", ["minus -0.5", "-0.5 nose down", "minus 0.5 nose down", "tip up 0.5", "2.2 kg", "up"])
def test_cells_that_say_two_things_are_no_angle(cell):
    assert angle(cell) is None


def test_a_slope_in_the_head_is_not_read_as_degrees():
    rows, _ = read("station;reading [mm/m]\nR1;38,4\n")
    assert rows[0][2] == pytest.approx(math.degrees(math.atan(0.0384)), rel=0, abs=1e-12)
    assert read("station;reading (deg, nose up +)\nR1;2,2\n")[0] == [("R1", "chord", 2.2)]


def test_a_column_for_the_sign():
    rows, unused = read("station;reading;sign\nR1;0.5;-\nR2;0.5;+\nR3;0.5;\nR4;0.5;sideways\n")
    assert rows == [("R1", "chord", -0.5), ("R2", "chord", 0.5), ("R3", "chord", 0.5)]
    assert unused == ['row 5: R4: "0.5" is not an angle in degrees: not used']
    found = parse_gauge_readings("rib;angle;direction\nR1;0.5;down\nR2;0.5;nose up\n", STATIONS)
    assert [r.said for r in found.readings] == ["nose-down", "nose-up"]


@pytest.mark.parametrize(
    "cell",
    ["2-May", "02-May", "2. Mai", "May-02", "02.05.2026", "2026-05-02", "5/2/2026", "02:05", "45779", "2.Mai 26"],
)
def test_numbers_that_a_spreadsheet_made_dates_of_are_named(cell):
    rows, unused = read(f"station;line;reading\nR1;chord;{cell}\nR2;chord;1.0\n")
    assert mangled(cell) and rows == [("R2", "chord", 1.0)]
    assert unused[0].startswith(f'row 2: R1: "{cell}" is not an angle but a date')


def test_two_readings_of_one_line():
    for text in (
        "station;reading 1;reading 2\nR1;2.2;2.3\n",
        "station;1st reading;2nd reading\nR1;2.2;2.3\n",
        "station;reading\nR1;2.2 / 2.3\n",
        "station;reading\nR1;2,2 und\nR1;2.3\nR1;2,2\n",
        "station;reading\nR1;2.2\nr1;2.3\n",
    ):
        rows, _ = read(text)
        assert sorted(v for _, _, v in rows) == [2.2, 2.3]
        assert any("both count" in o.text for o in parse_gauge_readings(text, STATIONS).oddities)
    # half a degree, or two readings: not guessed
    assert read("station;reading\nR1;1/2\nR2;2\n")[0] == [("R2", "chord", 2.0)]


def test_stations_in_lower_case_and_by_side():
    rows, unused = read("rib;side;angle\nr1;;2.2\n1;left;1.9\nR2;left;1\nL 03;L;0.5\n;;3\n")
    assert rows == [("R1", "chord", 2.2), ("L1", "chord", 1.9), ("L3", "chord", 0.5)]
    assert [u.split(":")[0] for u in unused] == ["row 4", "row 6"]


def test_every_row_is_used_or_reported_with_its_reason():
    """Cells drawn from what people write: each row that holds anything leaves a reading or a reason."""
    rng = random.Random(22)
    names = ["R1", "l2", "R9", "", "rib R3", "L 4"]
    lines = ["chord", "spar", "C", "keel", ""]
    cells = ["2.2", "2,2", "", "-", "0.5 up", "2-May", "90.3", "?", "2.2/2.3", "abc", "1,5 deg", "400"]
    for _ in range(300):
        delimiter = rng.choice(";,\t|")
        rows = [[rng.choice(names), rng.choice(lines), rng.choice(cells), rng.choice(["", "windy"])] for _ in range(8)]
        text = "\n".join(delimiter.join(r) for r in [["station", "line", "reading", "note"], *rows])
        try:
            found = parse_gauge_readings(text, STATIONS)
        except UserError:
            pytest.fail(text)
        told = {r.row for r in found.readings} | {o.row for o in found.unused}
        for k, (name, _line, cell, _note) in enumerate(rows):
            if name or cell not in ("", "-", "?"):
                assert k + 2 in told, (delimiter, rows[k])
