"""The job file: what is written arrives as it stands; every mistake is one line that helps."""

from __future__ import annotations

import ast
from pathlib import Path

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigging.planning.new_job import DraftWing, starting_job
from shared.errors import UserError
from shared.job import schema
from shared.job.file import load_job, parse_job
from shared.job.model import Gauge, Glue, Height, Jig, Level, SparLevel, Station, Step, Typed, Wing
from shared.job.schema import TABLES, describe

FULL = """
[wing]
name = "Trainer"
root = "R1"
dihedral_deg = 3
u_lean_deg = 0.3
symmetry_tolerance_deg = 0.15
root_setting = "taken out"
stage = "before glue"
marking_u_deg = 0.05
[camera]
lens = "lens/f1.json"
lens_folder = "profiles"
[level]
profile = "laser.json"
u_deg = 0.017
zero_error_deg = -0.01
[gauge]
readings = "gauge.csv"
resolution_deg = 0.05
u_deg = 0.07
sense = "0-180"
profile = "gauge.json"
[cards]
scale = 1.002
u_scale = 0.0004
[[jig]]
thread = "1/4-20"
arm_mm = 250
clockwise = "nose-down"
notch = 0.25
[[jig]]
kind = "shim"
step_mm = 0.4
panel = "outer"
acts_on = "leading"
at_span_mm = 2000
[[height]]
station = "R1"
mm = 812.5
u_mm = 0.4
[[spar_level]]
side = "left"
deg = 2.9
[[typed]]
name = "level on the root"
deg = 0
tolerance_deg = 0.1
u_deg = 0.05
[[typed]]
name = "tip over the datum"
mm = "10 in"
tolerance_mm = 1.5
u_mm = 0.5
[[step]]
name = "root"
checks = ["R1/chord", "level on the root"]
[[step]]
name = "clamped"
after = []
[glue]
working_min = 35
gel_min = 60
mixed_at = 2026-05-16T09:15:00
[[station]]
name = "R1"
side = "right"
span_mm = 400
chord_mm = 1200.5
cards = [1, 13]
chord_deg = 2.0
chord_tolerance_deg = 0.25
spar_deg = 91.5
spar_tolerance_deg = 0.3
spar_at = 0.28
lean_deg = -1.5
u_lean_deg = 0.2
panel = "outer"
built_in_tolerance_deg = 0.1
card = "strip"
[[station]]
name = "肋 2"
side = "left"
span_mm = 0
chord_mm = 900
cards = []
chord_deg = -1
chord_tolerance_deg = 0.5
[[place]]
name = "web"
kind = "spar web"
side = "left"
span_mm = 700
cards = [20, 21]
lean_deg = 0.5
u_lean_deg = 0.2
[[line]]
at = "web"
name = "flange"
deg = 2.5
tolerance_deg = 0.2
positive = "outboard end up"
runs = "level"
marked = "two marks"
from_card_mm = [40, -62.5]
within_mm = 10
length_mm = "1 1/2 ft"
[[line]]
at = "R1"
name = "bolt"
to = "chord"
deg = 88
tolerance_deg = 0.2
positive = "top forward"
marked = "two edges"
from_card_mm = [40, -62.5]
length_mm = 80
width_mm = 8
[[pair]]
at = "R1"
line = "chord"
base = "bolt"
tolerance_deg = 0.2
[[dimension]]
name = "skin joint"
kind = "step"
at = "web"
between = ["edge fixed", "edge free"]
design_mm = 0
tolerance_mm = "1/32 in"
u_depth_mm = 0.1
"""


def mistake(text: str) -> str:
    with pytest.raises(UserError) as caught:
        parse_job(text, "wing.toml")
    line = str(caught.value)
    assert "\n" not in line
    assert line.startswith("wing.toml")
    assert caught.value.rule
    assert caught.value.remedy
    return line


def test_every_key_arrives_where_it_belongs() -> None:
    job = parse_job(FULL, folder=Path("shop"))
    assert job.wing == Wing("Trainer", "R1", 3.0, 0.3, 0.15, "taken out")
    assert job.stations == (
        Station("R1", "right", 400.0, 1200.5, (1, 13), 2.0, 0.25, 91.5, 0.3, 0.28, -1.5, 0.2, "outer", 0.1, "strip"),
        Station("肋 2", "left", 0.0, 900.0, (), -1.0, 0.5),
    )
    assert (job.folder, job.lens, job.lens_folder) == (Path("shop"), "lens/f1.json", "profiles")
    assert job.level == Level("laser.json", 0.017, -0.01)
    assert job.gauge == Gauge("gauge.csv", 0.05, 0.07, "0-180", "gauge.json")
    assert (job.prints.scale, job.prints.u_scale, job.marking_u_deg) == (1.002, 0.0004, 0.05)
    assert job.jigs == (
        Jig("screw", "1/4-20", 250.0, "nose-down", 0.25),
        Jig("shim", step_mm=0.4, panel="outer", acts_on="leading", at_span_mm=2000.0),
    )
    assert (job.heights, job.stage) == ((Height("R1", 812.5, 0.4),), "before glue")
    assert job.spar_levels == (SparLevel("left", 2.9, 0.1),)
    assert job.typed == (
        Typed("level on the root", 0.0, 0.1, 0.05),
        Typed("tip over the datum", 254.0, 1.5, 0.5, "mm"),
    )
    assert job.steps == (Step("root", ("R1/chord", "level on the root")), Step("clamped"))
    assert job.glue == Glue(35.0, 60.0, "2026-05-16T09:15:00")


def test_the_defaults_are_those_of_the_job_itself() -> None:
    job = parse_job(starting_job(DraftWing()))
    assert (job.level, job.gauge, job.glue, job.jigs) == (Level(), Gauge(), None, ())
    assert job.wing == Wing("My wing", "R1")
    tables = {"level": Level(), "gauge": Gauge(), "jig": Jig()}
    for table, ours in tables.items():
        for entry in msgspec.structs.fields(TABLES[table]):
            assert getattr(ours, entry.name) == entry.default, (table, entry.name)


def test_every_key_says_what_it_means() -> None:
    for table, struct in TABLES.items():
        for key in struct.__struct_fields__:
            assert len(describe(table, key)) > 10, (table, key)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('side = "right"', 'sid = "right"', ["station R1: sid", "unknown key", "did you mean side?"]),
        ('side = "right"', 'side = "Right"', ["R1: side", "one of left, right, centre", "did you mean right?"]),
        ("[cards]", "[card]", ["card", "unknown", "did you mean cards?"]),
        ("[wing]\nname", "root='R1'\n[wing]\nname", ["root", "belongs under [wing]"]),
        ("u_scale = 0.0004", "u_scale = 0", ["[cards]: u_scale", "over 0"]),
        ("chord_mm = 1200.5", 'chord_mm = "1200"', ["R1: chord_mm", "a number, not text", "length of the chord"]),
        ("chord_mm = 1200.5", "", ["station R1: chord_mm", "missing", "length of the chord"]),
        ("cards = [1, 13]", "cards = [1, 1]", ["station R1: cards", "listed twice"]),
        ("cards = []", "cards = [13]", ["station 肋 2: cards", "card 13 belongs to station R1"]),
        ("cards = []", "cards = [31]", ["station 肋 2: cards", "at most 30, is 31"]),
        ("cards = []", "cards = [-1]", ["station 肋 2: cards", "at least 0, is -1"]),
        ("cards = []", "cards = [1.5]", ["cards", "a whole number"]),
        ("cards = []", "cards = [true]", ["cards", "a whole number, not true or false"]),
        ('root = "R1"', 'root = "R 1"', ["[wing]: root", "not the name of a station", "did you mean R1?"]),
        ('name = "肋 2"', 'name = "R1"', ["station R1: name", "used twice"]),
        ('name = "肋 2"', 'name = "r1"', ["station r1: name", "case only"]),
        ('name = "肋 2"', 'name = " R2"', ["name", "printable text"]),
        ('name = "肋 2"', 'name = "R\\n2"', ["name", "cannot be seen"]),
        ('name = "肋 2"', 'name = ""', ["[[station]] number 2: name", "at least 1"]),
        ("chord_deg = -1", "chord_deg = -30.5", ["chord_deg", "at least -30, is -30.5"]),
        ("chord_deg = -1", "chord_deg = nan", ["station 肋 2: chord_deg", "not nan"]),
        ("chord_deg = -1", "chord_deg = inf", ["station 肋 2: chord_deg", "not inf"]),
        ("chord_deg = -1", "chord_deg = 1" + "0" * 400, ["station 肋 2: chord_deg", "too large"]),
        ("chord_tolerance_deg = 0.5", "chord_tolerance_deg = 0", ["chord_tolerance_deg", "over 0"]),
        ("span_mm = 0", "span_mm = -1", ["span_mm", "at least 0"]),
        ("spar_tolerance_deg = 0.3", "", ["station R1: spar_tolerance_deg", "missing"]),
        ("spar_deg = 91.5", "", ["station R1: spar_deg", "missing"]),
        ("spar_at = 0.28", "spar_at = 28", ["spar_at", "under 1"]),
        ('thread = "1/4-20"', "", ["[[jig]] number 1: thread", "needs its thread"]),
        ('thread = "1/4-20"', 'thread = "quarter inch"', ["[[jig]] number 1: thread", "not a thread"]),
        ("step_mm = 0.4", "", ["[[jig]] number 2: step_mm", "thickness"]),
        ("step_mm = 0.4", 'step_mm = 0.4\nthread = "M6"', ["[[jig]] number 2: thread", "has no thread"]),
        ('step_mm = 0.4\npanel = "outer"', 'step_mm = 0.4\npanel = "outr"', ["panel", "did you mean outer?"]),
        ('step_mm = 0.4\npanel = "outer"', "step_mm = 0.4", ["[[jig]] number 2: panel", "already"]),
        ("notch = 0.25", 'panel = "outer"', ["[[jig]] number 2: at_span_mm", "several jigs"]),
        ("notch = 0.25", 'panel = "outer"\nat_span_mm = 2000.0', ["[[jig]] number 2: at_span_mm", "already"]),
        ('station = "R1"', 'station = "R3"', ["[[height]] number 1: station", "not the name of a station"]),
        ("u_mm = 0.4", 'u_mm = 0.4\n[[height]]\nstation = "R1"\nmm = 1', ["[[height]] number 2", "already"]),
        ("[glue]", "[[glue]]", ["glue", "must be a table"]),
        ("working_min = 35", "working_min = 80", ["[glue]: working_min", "after the gel time"]),
        ("2026-05-16T09:15:00", '"this morning"', ["[glue]: mixed_at", "no date"]),
        ("2026-05-16T09:15:00", "2026-05-16T09:15:00Z", ["[glue]: mixed_at", "local time"]),
        ('sense = "0-180"', 'sense = "180"', ["[gauge]: sense", "one of nose-up, unsigned, 0-90, 0-180"]),
        ("[wing]", "[wing", ["not TOML", "line 2"]),
        ('name = "Trainer"', 'name = "Trainer"\nname = "Trainer"', ["not TOML", "line 4"]),
        ("lens_folder = ", "lens_foldr = ", ["[camera]: lens_foldr", "did you mean lens_folder?"]),
    ],
)
def test_every_mistake_is_one_line(old: str, new: str, words: list[str]) -> None:
    assert FULL.count(old) == 1, "the change must hit one place"
    line = mistake(FULL.replace(old, new))
    for word in words:
        assert word in line, line


def test_missing_tables() -> None:
    assert "[wing]: is missing" in mistake("")
    assert "[[station]]: is missing" in mistake('[wing]\nname="a"\nroot="b"')
    assert "at least 1" in mistake('station = []\n[wing]\nname="a"\nroot="b"')


def test_odd_files(tmp_path: Path) -> None:
    def refused(path: Path) -> str:
        with pytest.raises(UserError) as caught:
            load_job(path)
        return str(caught.value)

    assert "is not there" in refused(tmp_path / "none.toml")
    assert "is a folder" in refused(tmp_path)
    assert "cannot be read" in refused(Path("a\0b")) or "is not there" in refused(Path("a\0b"))
    file = tmp_path / "wing.toml"
    file.write_bytes(FULL.encode("utf-16"))
    assert "UTF-8" in refused(file)
    file.write_bytes(b"\xff\xd8\xff" * 500_000)
    assert "at most 1000 kB" in refused(file)
    file.write_text("a=" + "[" * 100_000)
    assert refused(file).startswith("wing.toml")
    file.write_text("a=" + "1" * 10_000)
    assert refused(file).startswith("wing.toml")
    file.write_bytes(b"\xef\xbb\xbf" + FULL.replace("\n", "\r\n").encode())
    assert load_job(str(file)).folder == tmp_path


@settings(max_examples=150, deadline=None)
@given(
    st.text(alphabet=st.sampled_from("[]=\"'.,#{}\n- _0123456789einfatrue" + "wgsdR1"), max_size=60),
    st.integers(0, len(FULL)),
    st.integers(0, 40),
)
def test_a_garbled_file_loads_or_is_refused_in_one_line(noise: str, at: int, cut: int) -> None:
    try:
        parse_job(FULL[:at] + noise + FULL[at + cut :], "wing.toml")
    except UserError as error:
        assert "\n" not in str(error)


values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=6,
)


@settings(max_examples=150, deadline=None)
@given(st.sampled_from([(t, k) for t, s in TABLES.items() for k in s.__struct_fields__]), values)
def test_any_value_of_any_key_loads_or_is_refused(place: tuple[str, str], value: object) -> None:
    import tomllib

    import tomli_w

    tree = tomllib.loads(FULL)
    table = tree[place[0]]
    entry = table[0] if isinstance(table, list) else table
    before = entry.get(place[1])
    entry[place[1]] = value
    try:
        text = tomli_w.dumps(tree)
    except (TypeError, ValueError):
        return  # no TOML can hold it
    try:
        parse_job(text)
    except UserError as error:
        said = str(error)
        named_elsewhere = (
            place[1] == "name" and str(before) in said
        )  # what refers to the old name says that it is missing
        assert place[1] in said or place[0] in said or named_elsewhere


def test_a_starting_job_loads_whatever_its_name() -> None:
    start = DraftWing('He said "1 = [x]" \\ 肋', 15, (0.0, 5000.0), (1500.0, 400.0), (3.0, -1.5), 0.2)
    job = parse_job(starting_job(start))
    assert job.wing.name == start.name
    assert len(job.stations) == 30
    assert sorted(c for s in job.stations for c in s.cards) == list(range(1, 31))
    assert [s.chord_deg for s in job.stations][:15:14] == [3.0, -1.5]
    with pytest.raises(UserError, match="1 to 15"):
        starting_job(DraftWing(stations=16))


def test_a_starting_job_with_its_comments_taken_off_loads_too() -> None:
    lines = starting_job(DraftWing()).splitlines()
    keys = [
        line[2:]
        if line.startswith(("# [", "# "))
        and ("=" in line.split("#")[1] or line[2] == "[")
        and not line.startswith(("# One", "# two", "# profile"))
        else line
        for line in lines
    ]
    text = "\n".join(keys).replace("[cards]", "[cards]", 1)
    job = parse_job(text)
    assert job.jigs[0].thread == "M6"
    assert job.glue is not None
    assert job.stations[0].spar_deg == 90.0


def test_every_default_stands_once() -> None:
    """In the values of `shared.job.model`: the schema names them, and holds none of its own."""
    tree = ast.parse(Path(schema.__file__).read_text("utf-8"))
    tables = [n for n in tree.body if isinstance(n, ast.ClassDef) and n.name.endswith("Table")]
    own = [
        (t.name, ast.unparse(a.target), ast.unparse(a.value))
        for t in tables
        for a in t.body
        if isinstance(a, ast.AnnAssign) and isinstance(a.value, ast.Constant) and a.value.value is not None
    ]
    assert tables and not own
