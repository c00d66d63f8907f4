"""docs/formats.md names every key, with its bounds, and every column."""

from __future__ import annotations

import re
from pathlib import Path

import msgspec
import pytest

from calibration.gauge import file as gauge_file
from calibration.lens import profiles as lens_profiles
from calibration.level import reversal as level
from calibration.print import profile as print_profile
from rigging.batch.hints_file import check_names, hints_of, parse_given
from rigging.batch.readings_csv import COLUMNS
from shared.errors import UserError
from shared.job.schema import TABLES, describe
from shared.lines import POINTED
from shared.reading import Reading

TEXT = (Path(__file__).parent.parent / "docs" / "formats.md").read_text("utf-8")


def sections() -> dict[str, str]:
    parts = re.split(r"^#+ ", TEXT, flags=re.MULTILINE)
    return {match[1]: part for part in parts if (match := re.match(r"`\[+(\w+)\]+`", part))}


def test_every_key_of_the_job_file_is_described() -> None:
    found = sections()
    assert set(found) == set(TABLES)
    for table, struct in TABLES.items():
        rows = dict(re.findall(r"^\| `(\w+)` \| (.*) \|$", found[table], re.MULTILINE))
        assert set(rows) == set(struct.__struct_fields__), table
        for entry in msgspec.structs.fields(struct):
            row = rows[entry.name]
            assert row.endswith(describe(table, entry.name)), (table, entry.name)
            assert ("**required**" in row) == entry.required, (table, entry.name)
            if isinstance(entry.default, float):
                assert f"| {entry.default:g} |" in row, (table, entry.name)
            for bound in re.findall(r"\b(?:ge|le|gt|lt)=(-?[\d.]+)", repr(entry.type)):
                assert f"{float(bound):g}" in row, (table, entry.name, bound)


def test_every_column_and_part_of_a_reading_is_named() -> None:
    for column in COLUMNS:
        assert f"`{column}`" in TEXT
    for name in (*Reading.__dataclass_fields__, "built_in", "overlay"):
        assert f"`{name}`" in TEXT, name


def test_the_hints_shown_are_hints(tmp_path: Path) -> None:
    given = re.findall(r'--hint "([^"]+)"', TEXT)
    assert len(given) == 1
    assert parse_given(given) == (("R1.jpg", "chord 512,1680 3320,1644"),)
    (shown,) = re.findall(r"^```hints\n(.*?)^```", TEXT, flags=re.S | re.M)
    (tmp_path / "R1.jpg.hints").write_text(shown)
    assert hints_of(tmp_path / "R1.jpg", "R1.jpg", ()) == ("chord 512,1680 3320,1644", "plumb 1733,40 1741,2960")
    assert all(f"`{role}`" in TEXT for role in POINTED)
    check_names(parse_given(given), ["R1.jpg", "R2.jpg"])
    with pytest.raises(UserError, match=r"no such photo .* did you mean R1.jpeg"):
        check_names(parse_given(given), ["R1.jpeg", "X9.jpg"])


def test_every_profile_format_is_named() -> None:
    for form in (gauge_file.FORMAT, lens_profiles.FORMAT, level.FORMAT, print_profile.FORMAT):
        assert f"`{form}`" in TEXT
