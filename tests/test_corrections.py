"""Screw, shim and packing corrections against hand calculations; panels; instructions."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from readings import angle

from rigging.survey.corrections import Standing, amount_for, corrections, effect, shares
from rigging.survey.instructions import clock_time, clock_words, screw_words, turns_words
from rigging.survey.threads import pitch_mm
from shared.errors import UserError
from shared.job.model import Jig, Job, Station, Wing
from shared.quantity import Quantity


@pytest.mark.parametrize(
    ("thread", "mm"),
    [
        ("M5", 0.8),
        ("M6", 1.0),
        ("M8", 1.25),
        ("M10", 1.5),  # ISO 261, coarse
        ("1/4-20", 1.270),
        ("5/16-18", 1.411),
        ("3/8-16", 1.5875),  # ASME B1.1, UNC
        ("M6x0.75", 0.75),
        ("m8×1", 1.0),
        ("#10-24", 25.4 / 24),
        ("1.0 mm", 1.0),
        ("0.5mm", 0.5),
    ],
)
def test_pitches(thread: str, mm: float):
    assert pitch_mm(thread) == pytest.approx(mm, abs=5e-4)


@pytest.mark.parametrize("thread", ["", "M", "M9.7", "1/4", "1/4-0", "6", "0 mm", "M6x0", "inch"])
def test_what_is_no_thread_is_refused(thread: str):
    with pytest.raises(UserError):
        pitch_mm(thread)


@pytest.mark.parametrize(
    ("jig", "change", "turns"),
    [
        # by hand: travel = arm tan(change); turns = travel / pitch
        (Jig(thread="M6", arm_mm=300.0), 1.0, 5.2365),  # 300 tan 1 deg = 5.2365 mm over 1.0
        (Jig(thread="1/4-20", arm_mm=250.0), 0.5, 1.7179),  # 2.1817 mm over 1.270
        (
            Jig(thread="M10", arm_mm=520.0, clockwise="nose-down"),
            0.8,
            -4.8407,
        ),  # 7.2610 mm over 1.5, the other way
        (Jig(thread="3/8-16", arm_mm=400.0), -0.25, -1.0994),
    ],
)
def test_screw_turns_by_hand(jig: Jig, change: float, turns: float):
    assert amount_for(jig, change) == pytest.approx(turns, abs=1e-4)
    assert effect(jig, turns) == pytest.approx(change, abs=2e-5)


def test_shims_by_hand():
    # 0.3 deg nose-down at 420 mm: 2.199 mm under the trailing edge, or as much out from under the leading
    jig = Jig("shim", arm_mm=420.0, step_mm=0.5)
    assert amount_for(jig, -0.3) == pytest.approx(2.1991, abs=1e-4)
    front = Jig("shim", arm_mm=420.0, step_mm=0.5, acts_on="leading")
    assert amount_for(front, -0.3) == pytest.approx(-2.1991, abs=1e-4)


@given(
    st.floats(-5, 5),
    st.sampled_from(["M6", "M10", "5/16-18"]),
    st.floats(50, 3000),
    st.sampled_from(["nose-up", "nose-down"]),
)
@settings(max_examples=50, deadline=None)
def test_amount_and_effect_undo_each_other(change, thread, arm, clockwise):
    jig = Jig(thread=thread, arm_mm=arm, clockwise=clockwise)
    assert effect(jig, amount_for(jig, change)) == pytest.approx(change, abs=1e-9)


@pytest.mark.parametrize(
    ("turns", "words"),
    [
        (0.125, "1/8 turn"),
        (1.0, "1 turn"),
        (4.5, "4 1/2 turns"),
        (0.375, "3/8 turn"),
        (2.875, "2 7/8 turns"),
        (0.0, "0 turn"),
    ],
)
def test_turns_in_words(turns: float, words: str):
    assert turns_words(turns) == words


def test_clock_positions():
    assert clock_words(0.375) == "from 12 o'clock on to half past 4"
    assert clock_words(-0.125) == "from 12 o'clock on to half past 10"
    assert clock_words(1.25) == "from 12 o'clock once round, on to 3 o'clock"
    assert clock_words(-2.0) == "from 12 o'clock twice round, back to 12"
    assert clock_time(0.75) == "a quarter to 1" and clock_time(11.9) == "12 o'clock"
    assert screw_words(-1.5).startswith("turn the screw anticlockwise 1 1/2 turns")


def station(name: str, span: float, panel: str | None = "outer") -> Station:
    return Station(name, "right", span, 900.0, (), 0.0, 0.25, 90.0, 0.25, panel=panel)


def bare(name: str) -> Station:
    """A station on its own jig, of a job that gives it no spar line."""
    return Station(name, "right", 2000.0, 900.0, (), 0.0, 0.25)


def standing(s: Station, chord: float, spar: float | None = None, **kw) -> Standing:
    jig = None if spar is None else angle(spar, s.name + "s").quantity
    return Standing(s, angle(chord, s.name).quantity, jig, **kw)


def test_rigid_panel_turns_as_one_and_all_its_stations_follow():
    a, b, c = (station(n, x) for n, x in (("A", 1000.0), ("B", 2000.0), ("C", 3000.0)))
    jig = Jig(thread="M6", arm_mm=400.0, panel="outer")
    job = Job(Wing("w", "A"), (a, b, c), jigs=(jig,))
    (fix,) = corrections(job, {s.name: standing(s, v, v) for s, v in ((a, -0.8), (b, -0.9), (c, -0.7))})
    assert fix.needed and fix.change_deg.value == pytest.approx(0.8, abs=1e-6)
    assert fix.rounded == 5.625  # 400 tan 0.8 deg = 5.585 mm: 5.585 turns, to the nearest eighth
    assert fix.rounded % jig.notch == 0
    shift = math.degrees(math.atan(5.625 / 400))
    assert [m.after.value - m.before.value for m in fix.moved] == pytest.approx([shift] * 3)
    assert all(abs(m.after.value) < m.tolerance_deg for m in fix.moved)


def test_a_rib_wrong_in_itself_does_not_pull_the_jig():
    a, b = station("A", 1000.0), station("B", 2000.0)
    job = Job(Wing("w", "A"), (a, b), jigs=(Jig(thread="M6", panel="outer"),))
    (fix,) = corrections(job, {"A": standing(a, 0.6, 0.0), "B": standing(b, 0.0, 0.01)})
    assert not fix.needed and fix.rounded == 0.0 and "leave it" in fix.words


def test_two_jigs_untwist_a_panel():
    spans = (1000.0, 2000.0, 3000.0)
    stations = tuple(station(n, x) for n, x in zip("ABC", spans, strict=True))
    jigs = tuple(Jig(thread="M6", arm_mm=300.0, panel="outer", at_span_mm=x) for x in (1000.0, 3000.0))
    job = Job(Wing("w", "A"), stations, jigs=jigs)
    inner, outer = corrections(
        job, {s.name: standing(s, v, v) for s, v in zip(stations, (0.0, -0.5, -1.0), strict=True)}
    )
    assert inner.change_deg.value == pytest.approx(0.0, abs=1e-6)
    assert outer.change_deg.value == pytest.approx(1.0, abs=1e-6)
    assert outer.needed and not inner.needed
    assert [m.after.value for m in outer.moved] == pytest.approx([0.0, 0.0, 0.0], abs=0.02)


def test_share_of_a_jig_is_even_between_and_constant_beyond():
    jigs = [Jig(thread="M6", at_span_mm=x) for x in (1000.0, 3000.0)]
    assert shares(jigs, [500.0, 1500.0, 3500.0]).tolist() == [[1, 0], [0.75, 0.25], [0, 1]]


def test_jigs_that_cannot_be_told_apart_say_so():
    a = station("A", 2000.0)
    jigs = tuple(Jig(thread="M6", panel="outer", at_span_mm=x) for x in (1000.0, 3000.0))
    fixes = corrections(Job(Wing("w", "A"), (a,), jigs=jigs), {"A": standing(a, 1.0, 1.0)})
    assert not any(f.needed for f in fixes) and "too few stations" in fixes[0].words


def test_doubtful_station_is_not_acted_on():
    a = station("A", 2000.0, None)
    job = Job(Wing("w", "A"), (a,), jigs=(Jig(thread="M6"),))
    assert corrections(job, {"A": standing(a, 1.0, 1.0, doubt="blurred")}) == ()


def test_uncertain_deviation_is_not_chased():
    a = bare("A")
    job = Job(Wing("w", "A"), (a,), jigs=(Jig(thread="M6"),))
    (fix,) = corrections(job, {"A": Standing(a, angle(0.4, "A", own=0.3).quantity, None)})
    assert not fix.needed


def test_shim_instructions_name_side_and_count():
    a = station("A", 2000.0, None)
    job = Job(Wing("w", "A"), (a,), jigs=(Jig("shim", arm_mm=420.0, step_mm=0.5),))
    (up,) = corrections(job, {"A": standing(a, 0.7, 0.7)})
    assert "put 10 shims of 0.5 mm (5 mm) under the trailing-edge side" in up.words  # 420 tan 0.7 = 5.131 mm
    (down,) = corrections(job, {"A": standing(a, -0.7, -0.7)})
    assert "take 10 shims" in down.words and "leading-edge side" in down.words


def test_uncertainty_of_the_amount():
    a = bare("A")
    job = Job(Wing("w", "A"), (a,), jigs=(Jig(thread="M6", arm_mm=300.0),))
    (fix,) = corrections(job, {"A": Standing(a, Quantity(1.0, angle(1.0, "A").quantity.components), None)})
    assert fix.u_amount == pytest.approx(300 * math.radians(fix.change_deg.u), rel=1e-2)


def test_no_turn_is_given_while_an_expected_spar_line_is_unread():
    # a rib set wrong on a true spar must not be cured at the jig
    a = station("A", 2000.0, None)
    job = Job(Wing("w", "A"), (a,), jigs=(Jig(thread="M6"),))
    (fix,) = corrections(job, {"A": standing(a, 0.7)})
    assert not fix.needed and fix.rounded == 0.0 and "until the spar line is read" in fix.words
    assert corrections(job, {"A": standing(a, 0.1)}) == ()


def test_panel_is_turned_by_the_spar_lines_that_were_read():
    a, b = station("A", 1000.0), station("B", 2000.0)
    job = Job(Wing("w", "A"), (a, b), jigs=(Jig(thread="M6", arm_mm=300.0, panel="outer"),))
    (fix,) = corrections(job, {"A": standing(a, -0.8, -0.8), "B": standing(b, 0.4)})
    assert fix.needed and fix.change_deg.value == pytest.approx(0.8, abs=1e-6)
    assert [m.station for m in fix.moved] == ["A", "B"]
