"""Lines by name before any photo: expected U, printed cards and list, the check."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
from pypdf import PdfReader

import samples
from rigging.planning.lens import planned_lens
from rigging.planning.lines import plan_lines
from rigging.planning.plan import PhotoSetup
from rigging.preflight.job import check_job, find_station
from rigging.printed.lines_page import line_words
from rigging.printed.pack import cards_of, print_pack
from shared.errors import UserError
from shared.job.file import load_job

JOB = load_job(samples.SETUP / "setup.toml")
LENS = planned_lens("27mm")


def test_every_line_has_an_expected_u_of_the_size_that_photos_give():
    found = {p.line.name: p for p in plan_lines(JOB, LENS, PhotoSetup())}
    assert set(found) == {"root level", "fitting", "flange"}
    for plan in found.values():
        # the drawn photos of the sample came to 0.05 to 0.10; a plan foretells to a factor of two
        assert 0.02 < plan.U < 0.2 and plan.largest
        assert plan.needed == pytest.approx(0.05)


def test_a_lean_not_known_and_short_marks_cost_u():
    flange = next(line for line in JOB.lines if line.name == "flange")
    base = next(p.U for p in plan_lines(JOB, LENS, PhotoSetup()) if p.line.name == "flange")
    leaning = replace(JOB, places=(replace(JOB.places[0], u_lean_deg=3.0),))
    short = replace(JOB, lines=(replace(flange, length_mm=60.0),))
    assert next(p.U for p in plan_lines(leaning, LENS, PhotoSetup()) if p.line.name == "flange") > base
    assert base < plan_lines(short, LENS, PhotoSetup())[0].U


def test_places_have_cards_whose_arrow_says_which_way():
    cards = {c.number: c for c in cards_of(JOB, 0)}
    assert cards[20].outboard and cards[20].name == "web R" and cards[20].kind == "panel"
    assert not cards[1].outboard


def test_the_pack_lists_the_lines():
    text = "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(print_pack(JOB))).pages)
    for word in ("lines by name", "fitting", "flange", "arrow OUTBOARD", "OUT"):
        assert word in text
    bare = print_pack(replace(JOB, lines=(), places=(), pairs=()))
    assert "lines by name" not in "\n".join(p.extract_text() for p in PdfReader(io.BytesIO(bare)).pages)


def test_words_of_a_line_say_where_and_how():
    said = line_words(next(line for line in JOB.lines if line.name == "fitting"))
    assert "194 mm towards the arrow" in said and "20 mm below" in said and "8.0 mm wide" in said and "90.00" in said


def test_the_check_asks_for_photos_of_places_too():
    found = check_job(JOB, (), lines=False)
    assert [s.station.name for s in found.stations] == ["R1", "R6", "web R"]
    assert not found.ready and find_station(JOB, "WEB r").name == "web R"
    with pytest.raises(UserError):
        find_station(JOB, "web L")
