"""Washout, symmetry, fairness along the span, twist, spanwise level."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from readings import LEVEL, angle

from rigging.survey.fairness import fairness, unfair
from rigging.survey.span_level import rise_of, roll, span_levels
from rigging.survey.wing import pairs, symmetry, twist, twists, washout
from shared.job.model import Height, Job, SparLevel, Station, Wing
from shared.quantity import Component, Quantity


def wing(n: int = 6, washout_deg: float = 2.5, root: str = "R1", **kw: float) -> Job:
    stations = tuple(
        Station(
            f"{side[0].upper()}{i + 1}",
            side,
            400.0 + 700 * i,
            1200.0 - 88 * i,
            (),
            2.0 - washout_deg * i / (n - 1),
            0.25,
            90.0,
            0.25,
        )
        for side in ("right", "left")
        for i in range(n)
    )
    return Job(Wing("invented", root, **kw), stations)


def design(job: Job, off: dict[str, float] | None = None, own: float = 0.02) -> dict[str, Quantity]:
    found = {}
    for s in job.stations:
        q = angle(s.chord_deg + (off or {}).get(s.name, 0.0), s.name, own=own).quantity
        assert q is not None
        found[s.name] = q
    return found


def test_washout_is_root_minus_station_and_shared_errors_cancel():
    job = wing()
    chords = design(job, {"R6": 0.1}, own=0.03)
    w = washout(job, chords)["R6"]
    assert w.quantity.value == pytest.approx(2.4)  # tip 0.1 nose-up of design: washout 2.5 - 0.1
    assert w.deviation.value == pytest.approx(-0.1)
    assert_allclose(w.quantity.u, 0.03 * math.sqrt(2), rtol=1e-12)
    assert "level reference itself" not in {c.name for c in w.quantity.components if c.u}
    assert w.decision.outcome == "conforming"


def test_washout_needs_the_root_and_inherits_its_doubt():
    job = wing()
    chords = design(job)
    del chords["R1"]
    assert washout(job, chords) == {}
    doubted = washout(job, design(job), {"R1": "blurred"})
    assert {w.decision.outcome for w in doubted.values()} == {"undecided"}


def test_symmetry_takes_the_designs_own_difference_out():
    job = wing()
    s = symmetry(job, design(job, {"L3": 0.6}))
    off = {p.left: p.quantity.value for p in s}
    assert off["L3"] == pytest.approx(0.6)
    assert [p.left for p in s if p.decision.outcome == "nonconforming"] == ["L3"]
    assert all(c.source != LEVEL or c.u == 0 for c in s[0].quantity.components)


def test_pairs_need_equal_span():
    job = wing()
    moved = Job(
        job.wing,
        tuple(
            s if s.name != "L4" else Station("L4", "left", s.span_mm + 11, s.chord_mm, (), 0.5, 0.2)
            for s in job.stations
        ),
    )
    assert [a.name for a, _ in pairs(moved)] == ["L1", "L2", "L3", "L5", "L6"]


def test_twisted_panel_of_known_geometry_is_recovered_from_its_stations():
    # a flat board of span 3.5 m whose tip trailing edge is packed up by 1 in 40: atan(1/40) = 1.4321 deg
    tip = math.degrees(math.atan(1 / 40))
    job = wing(8, washout_deg=tip)
    rng = np.random.default_rng(11)
    off = {s.name: float(rng.normal(0, 0.02)) for s in job.stations}
    t = twist("right wing", [s for s in job.stations if s.side == "right"], design(job, off))
    assert t is not None
    assert t.design_per_metre == pytest.approx(-tip / 4.9, abs=1e-9)  # 7 steps of 0.7 m
    assert abs(t.per_metre.value + tip / 4.9) < t.per_metre.U
    # textbook: u of a slope is u / sqrt(sum of squares about the mean), independent equal errors
    span = np.arange(8) * 0.7
    assert_allclose(t.per_metre.u, 0.02 / math.sqrt(((span - span.mean()) ** 2).sum()), rtol=1e-3)


def test_every_bay_has_its_twist():
    names = [t.name for t in twists(wing(3), design(wing(3)))]
    assert names == ["left wing", "L1 to L2", "L2 to L3", "right wing", "R1 to R2", "R2 to R3"]


def test_fairness_is_the_distance_from_the_neighbours_line():
    job = wing()
    right = [s for s in job.stations if s.side == "right"]
    offs = {
        s.name: Quantity(v, (Component("own", s.name, 0.02),))
        for s, v in zip(right, (0, 0.1, 0.2, 0.9, 0.4, 0.5), strict=True)
    }
    fair = fairness(right, offs)
    assert fair["R4"].off.value == pytest.approx(0.6) and fair["R4"].neighbours == ("R3", "R5")
    assert fair["R4"].off.u == pytest.approx(0.02 * math.sqrt(1 + 0.25 + 0.25))
    assert fair["R6"].extended and fair["R6"].off.value == pytest.approx(0.5 - (0.4 - 0.5))


@pytest.mark.parametrize(
    ("pattern", "kind", "names"),
    [
        ((0, 0, 0.7, 0, 0, 0), "station", ("R3",)),
        ((0, 0, 0, 0, -0.8, -0.8), "step", ("R5", "R6")),
        ((0, 0, 0, 0, 0, 0.9), "station", ("R6",)),
        ((0, 0, 0, 0.8, 0.8, 0.8), "step", ("R4", "R5", "R6")),
    ],
)
def test_breaks_in_the_run_are_named(pattern, kind, names):
    job = wing()
    right = [s for s in job.stations if s.side == "right"]
    rng = np.random.default_rng(2)
    for _ in range(20):
        offs = {
            s.name: Quantity(v + rng.normal(0, 0.03), (Component("own", s.name, 0.02),))
            for s, v in zip(right, pattern, strict=True)
        }
        (found,) = unfair("right", right, offs)
        assert (found.kind, found.stations) == (kind, names)


def test_fair_work_within_tolerance_is_not_blamed():
    job = wing()
    right = [s for s in job.stations if s.side == "right"]
    rng = np.random.default_rng(4)
    blamed = 0
    for _ in range(400):
        offs = {
            s.name: Quantity(0.3 - 0.1 * i + rng.normal(0, 0.1), (Component("own", s.name, 0.02),))
            for i, s in enumerate(right)
        }
        blamed += bool(unfair("right", right, offs))
    assert blamed <= 8  # 2 %


def test_spanwise_level_from_two_heights():
    # 105 mm over 2 m: atan(0.0525) = 3.0053 deg; u of two heights of 1 mm each over 2 m: sqrt(2)/2000 rad
    heights = [Quantity(0.0, (Component("h", "a", 1.0),)), Quantity(105.0, (Component("h", "b", 1.0),))]
    rise = rise_of([500.0, 2500.0], heights)
    assert rise.value == pytest.approx(3.0053, abs=1e-4)
    assert rise.u == pytest.approx(math.degrees(math.sqrt(2) / 2000) / (1 + 0.0525**2), rel=1e-4)
    # 1 mm per metre is 0.0573 deg (checks of the sine bar, geometry)
    flat = rise_of([0.0, 1000.0], [Quantity(0.0), Quantity(1.0)])
    assert flat.value == pytest.approx(0.0573, abs=5e-5)


def test_roll_is_half_the_difference_of_the_sides():
    job = wing(dihedral_deg=3.0)
    told = Job(
        job.wing,
        job.stations,
        spar_levels=(SparLevel("right", 2.8),),
        heights=(Height("L1", 0.0), Height("L6", 3500 * math.tan(math.radians(3.4)))),
    )
    levels = span_levels(told)
    r = roll(levels)
    assert r is not None and r.value == pytest.approx(0.3, abs=1e-6)
    assert "0.40" in levels[0].words and roll(levels[:1]) is None
