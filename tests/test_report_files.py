import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import html5lib
import jsonschema
import pytest
from pypdf import PdfReader

from rigging.plots import rib_or_jig_plot
from rigging.report import document, write_report
from rigging.report.as_csv import to_csv
from rigging.report.as_html import to_html
from rigging.report.as_json import json_schema, to_json
from rigging.report.as_pdf import to_pdf
from rigging.survey.model import Survey
from shared.errors import UserError
from shared.flags import Flag, FlagCode
from tests.example_survey import WING, example_survey

SCHEMA = Path(__file__).parent.parent / "docs" / "report.schema.json"


def renamed(survey: Survey, name: str) -> Survey:
    first = survey.stations[0]
    return replace(survey, stations=(replace(first, station=replace(first.station, name=name)),))


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text.removeprefix("\ufeff"), newline="")))


def test_csv_gives_the_numbers_back() -> None:
    table = rows(to_csv(example_survey()))
    for row, s in zip(table, example_survey().stations, strict=True):
        assert (row["station"], row["state"]) == (s.station.name, s.state)
        if s.chord.quantity is None:
            assert row["chord_deg"] == row["chord_U_deg"] == row["chord_decision"] == ""
            assert "no plumb line" in row["reason"]
        else:
            assert float(row["chord_deg"]) == pytest.approx(s.chord.quantity.value, abs=5e-5)
            assert float(row["chord_U_deg"]) == pytest.approx(s.chord.quantity.U, abs=5e-5)
    assert not any("-0.0000" in row.values() for row in table)


@pytest.mark.parametrize("name", ["=HYPERLINK(1)", "+1", "-2", "@SUM(A1)", " =1", "\t=1"])
def test_no_cell_is_a_formula(name: str) -> None:
    # OWASP, "CSV Injection": cells that begin with = + - @ are run by spreadsheets
    cell = rows(to_csv(renamed(example_survey(), name)))[0]["station"]
    assert cell.startswith("'")


def test_csv_ends_lines_as_rfc_4180_says_and_begins_with_a_mark() -> None:
    text = to_csv(example_survey())
    assert text.startswith("\ufeffstation,")
    assert text.count("\r\n") == text.count("\n") == 1 + len(example_survey().stations)


def test_json_keeps_to_its_published_schema() -> None:
    schema = json.loads(SCHEMA.read_text(encoding="utf-8"))
    assert schema == json_schema()  # else: python -m rigging.report.as_json
    jsonschema.Draft202012Validator.check_schema(schema)
    tree = json.loads(to_json(example_survey()))
    jsonschema.validate(tree, schema, cls=jsonschema.Draft202012Validator)
    tree["stations"][0]["state"] = "fine"
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(tree, schema, cls=jsonschema.Draft202012Validator)


def test_json_budget_adds_up_to_u() -> None:
    # JCGM 100:2008 (GUM), eq. 10, and U = 2 u (6.2.1)
    for station in json.loads(to_json(example_survey()))["stations"]:
        angle = station["chord"]["angle"]
        if angle is not None:
            assert sum(u * u for u in angle["budget"].values()) == pytest.approx(angle["u"] ** 2, rel=1e-9)
            assert angle["U"] == pytest.approx(2 * angle["u"], rel=1e-12)


@pytest.mark.parametrize(
    ("paper", "width", "height"),
    [
        ("a4", 210 / 25.4 * 72, 297 / 25.4 * 72),  # ISO 216
        ("letter", 8.5 * 72, 11 * 72),  # ANSI/ASME Y14.1
    ],
)
def test_pdf_is_complete_and_on_the_right_paper(paper: str, width: float, height: float) -> None:
    survey = example_survey()
    pdf = PdfReader(io.BytesIO(to_pdf(document(survey), paper)))  # type: ignore[arg-type]
    text = " ".join(" ".join(p.extract_text() for p in pdf.pages).split())
    for page in pdf.pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx((width, height), abs=0.1)
    assert pdf.metadata is not None
    assert pdf.metadata.title == f"Rib angles: {WING}"
    assert survey.verdict[:60] in text
    assert f"1 / {len(pdf.pages)}" in text
    assert pdf.trailer["/Root"]["/ViewerPreferences"]["/DisplayDocTitle"]  # type: ignore[index]
    assert pdf.trailer["/Root"]["/Lang"] == "en"  # type: ignore[index]
    assert "licensed inspector decide" in text
    assert [o.title for o in pdf.outline][:2] == ["What was found", "What to turn"]  # type: ignore[union-attr]
    for s in survey.stations:
        assert s.station.name in text
    assert "metres from the centre line" in text  # lettering inside a plot: it is a drawing, not a picture
    assert not any(len(page.images) for page in pdf.pages)


def test_texts_of_any_kind_and_length_are_set() -> None:
    names = ("</text><script>x</script>", "a$b$_{c}", "日本 ①", 'id="a" url(#', '"onload="', "N" * 90)
    survey = example_survey()
    stations = tuple(
        replace(s, station=replace(s.station, name=name)) for s, name in zip(survey.stations, names, strict=False)
    )
    survey = replace(
        survey,
        stations=stations,
        symmetry=(),
        corrections=(),
        crosscheck=None,
        twist=(),
        verdict="wrong " * 2000,
        flags=(Flag(FlagCode.JOB_SLIP, "doubt " * 3000),),
    )
    doc = document(survey)
    page = to_html(doc)
    html5lib.HTMLParser(strict=True).parse(page)
    assert "<script" not in page
    assert '>id="a" url(#<' in page  # as it was written, in lettering of plots whose ids are rewritten
    pdf = PdfReader(io.BytesIO(to_pdf(replace(doc, sections=doc.sections[:6]))))
    text = " ".join(" ".join(p.extract_text() for p in pdf.pages).split())
    assert text.count("wrong") >= 2000
    assert "a$b$_{c}" in text


def test_sixty_stations_get_wide_plots_with_every_name() -> None:
    survey = example_survey()
    row = [s for s in survey.stations if s.rib_or_jig.jig is not None]
    many = tuple(
        replace(row[k % len(row)], station=replace(row[k % len(row)].station, name=f"S{k}")) for k in range(60)
    )
    plot = rib_or_jig_plot(replace(survey, stations=many))
    assert plot is not None
    assert plot.wide
    picture = plot.svg()
    assert all(f">S{k}<" in picture for k in range(60))


def test_pdf_is_the_same_every_time() -> None:
    whole = document(example_survey())
    doc = replace(whole, sections=whole.sections[:5])  # with tables, lists and plots
    assert to_pdf(doc) == to_pdf(doc)


def test_files_are_written_whole_into_a_new_folder(tmp_path: Path) -> None:
    files = write_report(example_survey(), tmp_path / "deep" / "report")
    assert sorted(f.name for f in files) == ["report.html", "stations.csv", "survey.json"]
    assert sorted(p.name for p in (tmp_path / "deep" / "report").iterdir()) == sorted(f.name for f in files)


def test_a_folder_that_is_a_file_is_told_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "report").write_text("in the way")
    with pytest.raises(UserError, match="cannot be written to") as caught:
        write_report(example_survey(), tmp_path / "report")
    assert "\n" not in str(caught.value)
