"""Telling the rib from the jig, and what that means."""

from __future__ import annotations

import pytest
from readings import angle

from rigging.survey.causes import washout_left
from rigging.survey.decision import decide
from rigging.survey.rib_or_jig import built_in_design, edge_mm, split
from shared.job.model import Station
from shared.quantity import Quantity

RIB = Station("L3", "left", 1800.0, 1024.0, (), 1.0, 0.25, 90.0, 0.25)


def parts(chord: float, spar: float, own: float = 0.02, doubt: str | None = None):
    c, s = angle(chord, "c", own=own).quantity, angle(spar, "s", own=own).quantity
    assert c is not None and s is not None
    built = (c - s).shifted(90.0)
    off = c.shifted(-RIB.chord_deg), s.shifted(-90.0), built.shifted(-1.0)
    return split(RIB, *off, decide(off[0], RIB.chord_tolerance_deg, doubt), doubt)


def test_lean_of_1_7_aft_against_3_5_of_washout_leaves_1_8():
    # common practice, no source: 49 % is lost, 1.8 deg are left
    left, lost = washout_left(3.5, 1.7)
    assert left == pytest.approx(1.8)
    assert lost == pytest.approx(0.49, abs=0.005)


def test_that_lean_through_the_whole_split():
    # a tip designed 3.5 nose-down of a level root, its spar leaning 1.7 aft, rib true to the spar
    tip = Station("T", "left", 4000.0, 900.0, (), -3.5, 0.25, 90.0, 0.25)
    c, s = angle(-1.8, "c").quantity, angle(91.7, "s").quantity
    assert c is not None and s is not None
    chord, spar = c.shifted(3.5), s.shifted(-90.0)
    built = (c - s).shifted(90.0 + 3.5)
    r = split(tip, chord, spar, built, decide(chord, 0.25))
    assert r.cause == "jig" and r.rib is not None and r.rib.value == pytest.approx(0.0)
    assert "top aft" in r.words and "1.70° nose-down" in r.before_glue


def test_parts_add_up_to_the_chords_deviation():
    r = parts(1.6, 90.2)
    assert r.jig is not None and r.rib is not None
    assert r.jig.value + r.rib.value == pytest.approx(0.6)


@pytest.mark.parametrize(
    ("chord", "spar", "cause"),
    [
        (1.0, 90.0, "neither"),
        (0.2, 89.2, "jig"),
        (1.6, 90.0, "rib"),
        (1.0, 89.2, "both"),
        (1.8, 89.4, "both"),
        (1.36, 90.18, "sum"),
    ],
)
def test_causes(chord: float, spar: float, cause: str):
    assert parts(chord, spar).cause == cause


def test_wide_uncertainty_blames_nobody():
    assert parts(0.7, 89.7, own=0.2).cause == "untold"
    assert "measure again" in parts(0.7, 89.7, own=0.2).before_glue


def test_doubtful_angles_blame_nobody():
    assert parts(1.6, 90.0, doubt="blurred").cause == "untold"


def test_before_and_after_the_glue_in_words():
    jig, rib = parts(0.2, 89.2), parts(1.6, 90.0)
    assert "0.80° nose-up" in jig.before_glue and "Leave the rib alone" in jig.before_glue
    assert "Only regluing" in rib.after_glue and "jig cannot" in rib.after_glue
    assert "0.60° nose-down, 10.7 mm over the chord" in rib.before_glue  # 1024 tan 0.6 deg = 10.72 mm


def test_sine_bar_height():
    # 5 in sine bar on 0.30524 in of blocks is 3.5 deg (sine); over the chord the rise is its tangent
    station = Station("S", "left", 0.0, 127.0, (), 0.0, 0.2)
    assert edge_mm(station, 3.5) == pytest.approx(0.30524 * 25.4 / 0.998135, rel=1e-4)


def test_without_a_spar_line_rib_and_jig_are_not_told_apart():
    r = split(RIB, Quantity(0.6), None, None, decide(Quantity(0.6), 0.25))
    assert r.cause == "untold" and "spar line was not read" in r.words and "before turning" in r.before_glue


def test_design_built_in_angle():
    assert built_in_design(Station("X", "left", 0.0, 1.0, (), 1.0, 0.2, 91.5, 0.2)) == pytest.approx(-0.5)
