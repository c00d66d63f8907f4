"""What must hold of every survey, whatever readings it is given."""

from __future__ import annotations

import math
from datetime import datetime

from hypothesis import given, settings
from hypothesis import strategies as st
from readings import reading

from rigging.survey.model import Survey, evaluate
from rigging.survey.table import survey_view
from shared.flags import Flag, FlagCode
from shared.job.model import Glue, Jig, Job, Station, Wing
from shared.quantity import Component, Quantity
from shared.reading import Angle, Reading

STATIONS = tuple(
    Station(f"{side[0].upper()}{k}", side, 700.0 * k, 1000.0, (), 2.0 - 0.5 * k, 0.25,
            90.0 if k < 4 else None, 0.25 if k < 4 else None,
            panel="outer" if side == "right" and k > 2 else None)
    for side in ("right", "left") for k in range(1, 5))  # fmt: skip
JOB = Job(
    Wing("invented", "R1"),
    STATIONS,
    jigs=(
        Jig(thread="M6"),
        Jig(thread="M8", panel="outer", at_span_mm=2100.0),
        Jig("shim", step_mm=0.5, panel="outer", at_span_mm=2800.0),
    ),
    glue=Glue(35.0, 60.0, "2026-05-16T09:00"),
    marking_u_deg=0.03,
)
NAMES = [s.name for s in STATIONS]

us = st.floats(0.001, 0.5) | st.just(math.nan)
sources = st.sampled_from(["lens:x axis 0", "level:string", "lean of the ribs"])


@st.composite
def angles(draw: st.DrawFn, near: float) -> Angle:
    if draw(st.integers(0, 7)) == 0:
        return Angle(None, draw(st.sampled_from(["no card", "blurred"])))
    own = Component("chord line fit", f"photo:{draw(st.integers(0, 99))}", draw(us))
    shared = [Component("shared", s, draw(st.floats(-0.2, 0.2))) for s in draw(st.lists(sources, max_size=2))]
    flags = (Flag(FlagCode.BLURRED, "the photo is soft"),) if draw(st.integers(0, 5)) == 0 else ()
    return Angle(Quantity(near + draw(st.floats(-2, 2)), (own, *shared)), flags=flags)


@st.composite
def readings(draw: st.DrawFn) -> list[Reading]:
    found = []
    for k in range(draw(st.integers(0, 14))):
        name = draw(st.sampled_from([*NAMES, "Z9", None]))
        chord = draw(angles(0.5))
        found.append(reading(name, chord, draw(angles(90.0)), name=f"{k}.jpg"))
    return found


@given(readings(), st.sampled_from(["kept", "taken out"]))
@settings(max_examples=80, deadline=None)
def test_rules_of_every_survey(given_readings, root_setting):
    s = evaluate(JOB, given_readings, root_setting=root_setting, now=datetime(2026, 5, 16, 9, 30))
    check_states(s)
    check_corrections(s)
    assert "\n" not in s.verdict and all("\n" not in f for f in s.findings)
    assert sorted(t.station for t in s.order) == sorted(NAMES)
    survey_view(s)  # whatever it is, it can be shown


def check_states(s: Survey) -> None:
    assert [r.station.name for r in s.stations] == NAMES
    for r in s.stations:
        d = r.chord.decision
        if r.state == "conforming":
            assert d is not None and abs(d.deviation_deg) + d.U_deg <= d.tolerance_deg
            assert not r.chord.combined.doubtful
        if r.state == "nonconforming":
            assert d is not None and abs(d.deviation_deg) - d.U_deg > d.tolerance_deg
        used = sum(p.weight for p in r.chord.combined.photos)
        assert used == 0 if r.chord.quantity is None else math.isclose(used, 1.0, rel_tol=1e-9)
        part = r.rib_or_jig
        if part.rib is not None and part.jig is not None and r.chord.deviation is not None:
            assert math.isclose(part.rib.value + part.jig.value, r.chord.deviation.value, abs_tol=1e-9)
    if all(r.state == "conforming" for r in s.stations):
        assert s.verdict.startswith(("All", "Not right"))
    else:
        assert s.verdict.startswith("Not")


def check_corrections(s: Survey) -> None:
    for c in s.corrections:
        assert c.needed or c.rounded == 0.0
        if c.needed:
            assert abs(c.change_deg.value) > c.change_deg.U
            results = [s.station(n) for n in c.stations]
            assert any(r.rib_or_jig.jig is not None or r.station.spar_deg is None for r in results)


@given(readings())
@settings(max_examples=25, deadline=None)
def test_more_readings_of_another_station_change_nothing_here(given_readings):
    now = datetime(2026, 5, 16, 9, 30)
    mine = [r for r in given_readings if r.station == "L2"]
    alone, among = evaluate(JOB, mine, now=now), evaluate(JOB, given_readings, now=now)
    assert repr(alone.station("L2").chord) == repr(among.station("L2").chord)  # NaN equals itself here
    assert alone.station("L2").state == among.station("L2").state
