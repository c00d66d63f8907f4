"""Readings files as people write them."""

import pytest

from shared.errors import UserError
from shared.gauge.csv_file import load_gauge_readings, parse_gauge_readings
from shared.gauge.table import decode

STATIONS = [f"{s}{i}" for s in "RL" for i in range(1, 7)]


def read(text):
    found = parse_gauge_readings(text, STATIONS)
    return [(r.station, r.line, r.shown_deg) for r in found.readings], [o.text for o in found.oddities]


def test_plain_file_has_no_oddities():
    assert read("station,line,reading_deg\nR1,chord,2.2\nR1,spar,90.3\n") == (
        [("R1", "chord", 2.2), ("R1", "spar", 90.3)],
        [],
    )


def test_spreadsheet_export_with_decimal_comma_marks_blanks_and_comments():
    rows, odd = read(
        "sep=;\nRib No;Line;Reading [°];Time;Initials\n# second go\nR1;chord;2,2°;10:01;x\n;;;;\n"
        "L 6;Chord line;−0,3;10:03;x\nr02;spar;90,1 deg;10:04;x\nR3;chord;—;;\n"
    )
    assert rows == [("R1", "chord", 2.2), ("L6", "chord", -0.3), ("R2", "spar", 90.1)]
    assert odd == [
        'column "Initials" not used',
        '"L 6" taken as station L6',
        '"r02" taken as station R2',
        'R3: no reading ("—")',
    ]


def test_words_for_the_sense_are_kept_and_told():
    found = parse_gauge_readings("station,reading\nR1,0.5 nose up\nR2,nose-down 0.5\n", STATIONS)
    assert [(r.shown_deg, r.said) for r in found.readings] == [(0.5, "nose-up"), (0.5, "nose-down")]
    assert sum("taken as nose" in o.text for o in found.oddities) == 2


@pytest.mark.parametrize("cell", ["0.3?", "about 2", "2.2.1", "-0.5 nose down", "1e3", "2°75'", "400", "O.5"])
def test_doubtful_cells_are_not_used(cell):
    rows, odd = read(f"station;line;reading\nR1;chord;{cell}\nR2;chord;1.0\n")
    assert rows == [("R2", "chord", 1.0)]
    assert any("not an angle" in o for o in odd)


def test_decimal_comma_between_commas_is_refused_not_cut():
    rows, odd = read("station,line,reading,note\nR1,chord,2,2,\nR2,chord,1,8\nR3,chord,1.5,windy\n")
    assert rows == [("R3", "chord", 1.5)]
    assert sum("decimal comma" in o for o in odd) == 2


def test_degrees_and_minutes():
    rows, odd = read("station;line;reading\nR1;chord;-1°30'\n")
    assert rows == [("R1", "chord", -1.5)]
    assert "degrees and minutes" in odd[0]


def test_chord_and_spar_in_columns_of_their_own():
    rows, _ = read("Station\tChord\tSpar\nR1\t2.2\t90.3\nR2\t1.8\t\n")
    assert rows == [("R1", "chord", 2.2), ("R1", "spar", 90.3), ("R2", "chord", 1.8)]


def test_no_head_is_told():
    rows, odd = read("R1,chord,2.2\nR2,chord,1.8\n")
    assert rows == [("R1", "chord", 2.2), ("R2", "chord", 1.8)]
    assert odd == ["no head: columns taken as station, line, reading"]


def test_missing_line_column_unknown_station_and_repeats_are_told():
    rows, odd = read("rib,angle\nR1,2.2\nR9,1.0\nR1,2.3\n")
    assert rows == [("R1", "chord", 2.2), ("R1", "chord", 2.3)]
    assert odd == [
        "no column says which line was read: all taken as chord",
        'station "R9" is not in the job: not used',
        "R1 chord was read before (row 2): both count",
    ]


def test_times():
    found = parse_gauge_readings(
        "station;reading;date;time\nR1;1;2025-04-03;10:01\nR2;1;03.04.2025;10:02\nR3;1;3/4/2025;10:03\n"
        "R4;1;;10.04\nR5;1;;soon\n",
        STATIONS,
    )
    assert [r.taken for r in found.readings] == [
        "2025-04-03T10:01:00",
        "2025-04-03T10:02:00",
        None,
        "10:04:00",
        None,
    ]
    told = [o.text for o in found.oddities if "time" in o.text]
    assert ["either way" in t for t in told] == [True, False]
    assert ["not understood" in t for t in told] == [False, True]


def test_codings():
    for coding in ("utf-8", "utf-8-sig", "utf-16", "cp1252"):
        assert decode("Lesung 2,2°".encode(coding), "f") == "Lesung 2,2°"


def test_mistakes_are_told_in_one_line(tmp_path):
    with pytest.raises(UserError, match="no such readings file"):
        load_gauge_readings(tmp_path / "none.csv", STATIONS)
    (tmp_path / "b.csv").write_bytes(b"\x00\x01PK")
    with pytest.raises(UserError, match="not a text file"):
        load_gauge_readings(tmp_path / "b.csv", STATIONS)
    (tmp_path / "c.csv").write_text("colour,size\nred,3\n")
    with pytest.raises(UserError, match="no column of readings"):
        load_gauge_readings(tmp_path / "c.csv", STATIONS)
    with pytest.raises(UserError, match="both look like reading"):
        parse_gauge_readings("station,reading,angle\nR1,1,2\n", STATIONS)
