"""Named lines read from drawn photos: webs, fittings, bolts, marks; what is refused, and why."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from shop import PHONE, draw
from shop.jobs import lens_for
from shop.named import Case, Named, named_scene
from shop.scene import Line, Pen

from shared.job.model import Job
from shared.reading import NO_RIB, Reading
from vision.overlay import draw_overlay
from vision.reader import read_photo, read_stations

CALM = Pen(0.8, cover=0.9, wave_mm=0.0, gaps=0)


@cache
def shot(case: Case, seed: int) -> tuple[Named, np.ndarray]:  # type: ignore[type-arg]
    """A scene at 3 megapixels and its photo."""
    named = named_scene(case, seed, PHONE)
    return named, draw(named.scene)[0]


def read(case: Case, seed: int, job: Job | None = None) -> Reading:
    named, bgr = shot(case, seed)
    return read_photo(bgr, job or named.job, lens=lens_for(PHONE))


@pytest.mark.parametrize(
    ("case", "seed"),
    [("web, panel", 1), ("web, two panels", 1), ("web, two marks", 1), ("fitting, panel, bolt", 12), ("rib, panel", 4)],
)
def test_what_is_given_without_a_flag_is_right(case: Case, seed: int):
    # of any right U, 99.99 % lie within 4 u; seeds of the test are no proof of coverage: benchmarks/named_lines.py is
    named, _ = shot(case, seed)
    reading = read(case, seed)
    given = [line for line in reading.lines if line.angle.quantity is not None and not line.angle.flags]
    assert given
    for line in given:
        assert line.angle.quantity is not None
        assert abs(line.angle.quantity.value - named.truth[line.name]) < 4 * line.angle.quantity.u


def test_a_place_is_no_rib_and_is_measured_all_the_same():
    reading = read("web, panel", 1)
    assert reading.station == "web" and reading.chord.reason == NO_RIB and reading.measured
    assert reading.evidence is not None
    assert {line.name for line in reading.evidence.lines if line.role == "named"} == {"flange", "strut"}
    named, bgr = shot("web, panel", 1)
    picture = draw_overlay(bgr, reading, max_width=600)
    assert picture.shape[1] == 600 and named.scene.plate_mm is not None


def test_the_design_angle_does_not_choose():
    named, _ = shot("web, panel", 1)
    other = replace(named.job, lines=tuple(replace(line, deg=line.deg + 3.0) for line in named.job.lines))
    a, b = read("web, panel", 1), read("web, panel", 1, other)
    assert [x.angle.quantity for x in a.lines] == [x.angle.quantity for x in b.lines]


def test_of_two_lines_as_likely_none_is_taken():
    named, _ = shot("web, panel", 1)
    scene = replace(named.scene, lines=())
    flange = next(line for line in named.job.lines if line.name == "flange")
    c = scene.chord_mm
    drawn = named.scene.lines[0]
    twin = [Line((drawn.a[0], drawn.a[1] + off), (drawn.b[0], drawn.b[1] + off), CALM) for off in (-7.0, 7.0)]
    assert c > 0 and flange.from_card_mm is not None
    job = replace(named.job, lines=(replace(flange, within_mm=20.0),))
    reading = read_photo(draw(replace(scene, lines=tuple(twin)))[0], job, lens=lens_for(PHONE))
    (line,) = reading.lines
    assert line.angle.quantity is None or line.angle.flags
    assert line.angle.quantity is not None or "two lines are about as likely" in (line.angle.reason or "")


def test_a_line_that_is_not_there_is_not_found():
    named, _ = shot("web, panel", 1)
    bare = draw(replace(named.scene, lines=()))[0]
    for line in read_photo(bare, named.job, lens=lens_for(PHONE)).lines:
        assert line.angle.quantity is None and line.angle.reason


def test_the_place_is_counted_from_the_first_card():
    named, bgr = shot("web, two panels", 1)
    place = named.job.places[0]
    gone = replace(named.job, places=(replace(place, cards=(29, *place.cards)),))
    for line in read_photo(bgr, gone, lens=lens_for(PHONE)).lines:
        assert "card 29, which is not in the photo" in (line.angle.reason or "")


def test_a_bolt_of_another_width_is_not_taken():
    named, bgr = shot("fitting, panel, bolt", 12)
    bolt = next(line for line in named.job.lines if line.name == "bolt")
    assert bolt.width_mm is not None
    job = replace(named.job, lines=(replace(bolt, width_mm=bolt.width_mm + 5.0),))
    (line,) = read_photo(bgr, job, lens=lens_for(PHONE)).lines
    assert line.angle.quantity is None and "mm apart" in (line.angle.reason or "")


def test_without_a_string_only_what_lines_say_of_each_other():
    named, _ = shot("web, panel", 1)
    (reading,) = read_stations(draw(replace(named.scene, strings=()))[0], named.job, lens=lens_for(PHONE))
    assert not reading.measured and reading.reference is None
    loose = {line.name: line.relative for line in reading.lines}
    a, b = loose["flange"], loose["strut"]
    assert a is not None and b is not None
    between = b - a
    assert between.value == pytest.approx(named.truth["strut"] - named.truth["flange"], abs=4 * between.u)
    assert between.u < 0.2 < a.u


def test_a_rib_s_named_lines_need_no_chord_line():
    named, _ = shot("rib, panel", 4)
    reading = read_photo(draw(replace(named.scene, chord_pen=None, marks="none"))[0], named.job, lens=lens_for(PHONE))
    assert reading.chord.quantity is None and not reading.measured
    q = next(line.angle.quantity for line in reading.lines if line.name == "waterline")
    assert q is not None and abs(q.value - named.truth["waterline"]) < 4 * q.u


def test_a_place_without_lines_says_so():
    named, bgr = shot("web, panel", 1)
    reading = read_photo(bgr, replace(named.job, lines=()), lens=lens_for(PHONE))
    assert "names no line" in (reading.chord.reason or "")
