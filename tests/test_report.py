import base64
import io
import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import html5lib
import pytest
from PIL import Image

from rigging.report import document, front
from rigging.report.as_html import to_html
from rigging.report.blocks import Document
from rigging.report.wording import chance, design
from rigging.survey.model import Survey
from shared.cautions import CAUTIONS
from shared.errors import UserError
from shared.flags import Flag, FlagCode
from shared.rounding import degrees
from tests.contrast import contrast, from_hex
from tests.example_survey import WING, example_survey


def sha(file: str) -> str:
    return (file.encode().hex() * 32)[:64]


@pytest.fixture(scope="module")
def overlays(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("overlays")
    made = {}
    for name, colour in (("R1.jpg", (200, 120, 40)), ("holiday.jpg", (20, 90, 200))):
        path = folder / name
        Image.new("RGB", (1600, 2000), colour).save(path)
        made[sha(name)] = path
    made["77" * 32] = made.pop(sha("holiday.jpg"))
    return made


@pytest.fixture(scope="module")
def doc(overlays: dict[str, Path]) -> Document:
    return document(example_survey(), overlays)


@pytest.fixture(scope="module")
def page(doc: Document) -> str:
    return to_html(doc)


@pytest.fixture(scope="module")
def tree(page: str) -> object:
    # html5lib follows the parsing rules of the WHATWG HTML standard; strict stops at any parse error
    return html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(page)


def texts(tree: object, tag: str) -> list[str]:
    return ["".join(e.itertext()).strip() for e in tree.iter(tag)]  # type: ignore[attr-defined]


def test_page_parses_without_an_error_and_says_what_it_is(tree: object) -> None:
    assert tree.get("lang") == "en"  # type: ignore[attr-defined]
    assert texts(tree, "title")[0] == f"Rib angles: {WING}"
    assert texts(tree, "h1") == [f"Rib angles: {WING}"]


def test_verdict_comes_first_then_everything_the_reader_needs(tree: object, page: str) -> None:
    assert page.index('class="verdict') < page.index("<dl") < page.index("<nav") < page.index("<h2")
    verdict = next(e for e in tree.iter("p") if "verdict" in (e.get("class") or ""))  # type: ignore[attr-defined]
    assert example_survey().verdict in "".join(verdict.itertext())
    assert texts(tree, "h2") == [
        "What was found",
        "What to turn",
        "The set-up, step by step",
        "Stations",
        "Rib or jig",
        "Along the span",
        "Left against right",
        "The inclinometer's word",
        "Flags and refusals",
        "Where the uncertainty comes from",
        "Annotated photos",
        "Calibration and references",
        "Provenance",
        "Cautions",
        "Signatures",
    ]


def test_headings_go_down_one_level_at_a_time(tree: object) -> None:
    levels = [
        int(e.tag[1])
        for e in tree.iter()
        if isinstance(e.tag, str)  # type: ignore[attr-defined]
        and re.fullmatch(r"h[1-6]", e.tag)
    ]
    assert levels[0] == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))


def test_nothing_is_fetched_and_nothing_runs(tree: object, page: str) -> None:
    for e in tree.iter():  # type: ignore[attr-defined]
        for name, value in e.attrib.items():
            key = name[1] if isinstance(name, tuple) else name
            assert not key.startswith("on")
            if key in ("src", "href", "srcset", "data", "action", "poster"):
                assert value.startswith(("#", "data:image/jpeg;base64,"))
    assert not any(True for _ in tree.iter("script"))  # type: ignore[attr-defined]
    assert not any(True for _ in tree.iter("link"))  # type: ignore[attr-defined]
    style = "".join(texts(tree, "style"))
    assert "@import" not in style
    assert "url(" not in style
    policy = next(
        e.get("content")
        for e in tree.iter("meta")  # type: ignore[attr-defined]
        if e.get("http-equiv") == "Content-Security-Policy"
    )
    assert policy.startswith("default-src 'none'; img-src data:;")
    assert set(re.findall(r"https?://[^\s\"'<]+", page)) == {"http://www.w3.org/2000/svg"}  # a name, not a request


def test_ids_are_unique_and_links_lead_somewhere(tree: object) -> None:
    ids = [e.get("id") for e in tree.iter() if e.get("id")]  # type: ignore[attr-defined]
    assert len(ids) == len(set(ids))
    links = [e.get("href") for e in tree.iter("a")]  # type: ignore[attr-defined]
    assert links
    assert all(link[1:] in ids for link in links)


def test_pictures_have_words_and_tables_have_heads(tree: object) -> None:
    images = list(tree.iter("img"))  # type: ignore[attr-defined]
    assert len(images) == 2
    assert all(len(i.get("alt")) > 20 and i.get("width") and i.get("height") for i in images)
    for table in tree.iter("table"):  # type: ignore[attr-defined]
        assert table.find("caption") is not None
        assert all(th.get("scope") == "col" for th in table.find("thead").iter("th"))
        assert all(tr.find("th").get("scope") == "row" for tr in table.find("tbody").iter("tr"))


def test_names_from_the_job_are_text_never_markup(page: str) -> None:
    assert "<b>demo</b>" not in page
    assert "&lt;b&gt;demo&lt;/b&gt; &amp; test" in page


def test_every_station_value_and_reason_is_in_the_table(tree: object) -> None:
    everything = " ".join("".join(tree.itertext()).split()).replace("\N{NO-BREAK SPACE}", " ")  # type: ignore[attr-defined]
    for s in example_survey().stations:
        if s.chord.quantity is not None:
            assert degrees(s.chord.quantity) in everything
    assert "no plumb line or level line found in the photo" in everything
    assert "no station card in the photo" in everything
    for caution in CAUTIONS:
        assert caution in everything
    for name, digest in example_survey().provenance.photos:
        assert name in everything
        assert digest in everything


def test_state_is_told_by_word_and_sign_not_by_colour_alone(tree: object) -> None:
    signs = {"conforming": "✓", "nonconforming": "✗", "undecided": "?", "not measured": "–"}
    states = [e for e in tree.iter("span") if (e.get("class") or "").startswith("state")]  # type: ignore[attr-defined]
    seen = {"".join(e.itertext()) for e in states}
    assert seen <= {f"{sign} {word}" for word, sign in signs.items()}
    assert len(seen) == 4


def test_colours_of_the_style_sheet_stand_out(page: str) -> None:
    # W3C WCAG 2.1, 1.4.3: 4.5 to 1 for text
    named = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", page))
    grounds = re.findall(r"\.verdict\.([\w-]+) \{ background: (#[0-9a-f]{6})", page)
    tint = {"conforming": "good", "nonconforming": "bad", "undecided": "open"}
    for ink in ("ink", "quiet", "good", "bad", "open", "none", "link"):
        for ground in ("paper", "tint"):
            assert contrast(from_hex(named[ink]), from_hex(named[ground])) >= 4.5
    assert len(grounds) == 3
    for state, ground in grounds:
        assert contrast(from_hex(named[tint[state]]), from_hex(ground)) >= 4.5


def test_photos_are_embedded_at_a_moderate_size(tree: object) -> None:
    for e in tree.iter("img"):  # type: ignore[attr-defined]
        data = base64.b64decode(e.get("src").split(",", 1)[1])
        with Image.open(io.BytesIO(data)) as picture:
            assert picture.size == (1000, 1250) == (int(e.get("width")), int(e.get("height")))


def test_an_overlay_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    broken = tmp_path / "R1-angles.jpg"
    broken.write_bytes(b"no picture")
    with pytest.raises(UserError, match=r"R1-angles\.jpg: the overlay cannot be read"):
        document(example_survey(), {sha("R1.jpg"): broken})


def test_same_survey_same_page(page: str, overlays: dict[str, Path]) -> None:
    assert to_html(document(example_survey(), overlays)) == page


def only(survey: Survey, *names: str) -> Survey:
    stations = tuple(s for s in survey.stations if s.station.name in names)
    return replace(survey, stations=stations, symmetry=(), twist=(), unfair=(), corrections=(), crosscheck=None)


def test_state_at_a_glance_is_the_gravest_and_never_conforming_with_a_gap() -> None:
    survey = example_survey()
    assert front.overall(survey) == "nonconforming"
    assert front.overall(only(survey, "L4")) == "conforming"
    assert front.overall(only(survey, "L4", "L5")) == "undecided"  # L5 has no value
    assert front.overall(only(survey, "L5")) == "not measured"
    assert front.overall(only(survey)) == "not measured"


def test_a_wing_without_gauge_jig_or_values_still_makes_a_report() -> None:
    for survey in (only(example_survey(), "L5"), only(example_survey())):
        page = to_html(document(survey))
        html5lib.HTMLParser(strict=True).parse(page)
        assert "nothing independent stands beside the camera" in page


def test_survey_flags_reach_the_reader() -> None:
    survey = replace(example_survey(), flags=(Flag(FlagCode.LENS_PROFILE_OLD, "the lens profile is 400 days old"),))
    assert "the lens profile is 400 days old" in to_html(document(survey))


def test_chances_are_never_rounded_to_certainty() -> None:
    decision = example_survey().station("L4").chord.decision
    assert decision is not None
    assert chance(replace(decision, p_conforming=0.99999)) == "> 99.9 %"
    assert chance(replace(decision, p_conforming=1e-9)) == "< 0.1 %"
    assert chance(replace(decision, p_conforming=0.5)) == "50.0 %"
    assert chance(replace(decision, p_conforming=float("nan"))) == "–"
    assert chance(None) == "–"


def test_design_numbers_are_shown_in_full() -> None:
    assert design(2.0, 0.25) == "2.00° ± 0.25°"
    assert design(1.125) == "1.125°"
    assert design(-0.5) == "−0.50°"
    assert design(None) == "–"
