"""Before and after, and left against right: what moved by more than its uncertainty."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np
import pytest
from readings import angle, reading

from rigging.record.compare import compare, mirror
from rigging.survey.model import Survey, evaluate
from shared.errors import UserError
from shared.job.model import Job, Station, Wing
from shared.quantity import Component
from shared.reading import Reading

NOW = datetime(2026, 5, 16, 9, 30)
JOB = Job(
    Wing("invented", "R1"),
    tuple(
        Station(f"{side[0].upper()}{i}", side, 700.0 * i, 1000.0, (), 2.0 - 0.5 * i, 0.25, 90.0, 0.25)
        for side in ("right", "left")
        for i in range(1, 6)
    ),
    marking_u_deg=0.1,
)


def survey(
    day: str,
    seed: int,
    chord: dict[str, float] | None = None,
    spar: dict[str, float] | None = None,
    tilt: float = 0.0,
    level: float = 0.01,
    own: float = 0.02,
) -> Survey:
    return evaluate(JOB, taken(day, seed, chord, spar, tilt, level, own), now=NOW)


def taken(
    day: str,
    seed: int,
    chord: dict[str, float] | None = None,
    spar: dict[str, float] | None = None,
    tilt: float = 0.0,
    level: float = 0.01,
    own: float = 0.02,
) -> list[Reading]:
    rng = np.random.default_rng(seed)
    found = []
    for s in JOB.stations:
        c = s.chord_deg + (chord or {}).get(s.name, 0.0) + tilt + rng.normal(0, own)
        p = 90.0 + (spar or {}).get(s.name, 0.0) + tilt + rng.normal(0, own)
        name = f"{day}-{s.name}"
        found.append(
            reading(
                s.name,
                angle(c, name, own=own, level=level),
                angle(p, name + "s", own=own, level=level),
                name=f"{name}.jpg",
            )
        )
    return found


def test_what_both_surveys_share_cancels_in_the_change():
    result = compare(survey("a", 1, level=0.3), survey("b", 2, level=0.3))
    c = result.changes[0]
    assert c.a.u > 0.3 and c.b.u > 0.3
    assert c.change.u == pytest.approx(0.02 * np.sqrt(2), rel=1e-9)  # neither level nor marking is left


def test_false_movement_is_about_as_rare_as_u_promises():
    moved = [c.moved for seed in range(40) for c in compare(survey("a", seed), survey("b", seed + 500)).of("chord")]
    assert 0.02 < np.mean(moved) < 0.08  # U at k = 2 leaves 4.6 %


def test_a_rib_that_moved_is_told_from_a_jig_that_moved():
    before = survey("a", 3, own=0.01)
    rib = compare(before, survey("b", 4, chord={"L3": 0.3}, own=0.01))
    jig = compare(before, survey("c", 5, chord={"R4": -0.3}, spar={"R4": -0.3}, own=0.01))
    assert any("L3: chord line moved" in f and "rib moved on its spar" in f for f in rib.findings)
    assert any("R4: chord line moved" in f and "jig or fitting moved" in f for f in jig.findings)


def test_a_wing_set_down_anew_is_one_finding_and_the_rest_is_told_beside_it():
    result = compare(survey("a", 6), survey("b", 7, tilt=0.5, chord={"L3": 0.4}))
    assert result.common is not None and result.common.value == pytest.approx(0.5, abs=0.03)
    assert result.findings[0].startswith("All stations turned alike by +0.")
    named = [f for f in result.findings[1:] if "chord" in f]
    assert any(f.startswith("L3") and "against the rest" in f for f in named)
    assert all(c.moved for c in result.of("chord"))
    assert sum(c.moved_beside for c in result.of("chord")) <= 3


def test_the_very_same_photos_are_no_witness_of_movement():
    s = survey("a", 8)
    with pytest.raises(UserError, match="very same 10 photos: nothing can have moved"):
        compare(s, s)


def test_a_station_whose_photo_is_the_same_in_both_is_left_out():
    a, b = survey("a", 8), survey("b", 9)
    old = [r for r in taken("a", 8) if r.station == "R2"]
    mixed = evaluate(JOB, [*old, *(r for r in taken("b", 9) if r.station != "R2")], now=NOW)
    result = compare(a, mixed)
    assert [n for n, _ in result.left_out] == ["R2"] and "R2" not in {c.station for c in result.changes}
    assert len(result.changes) == len(compare(a, b).changes) - 3


def test_a_station_whose_cards_or_lean_the_job_changed_is_left_out_or_doubted():
    stations = [replace(s, cards=(k,)) for k, s in enumerate(JOB.stations)]
    swapped = [replace(stations[0], cards=(1,)), replace(stations[1], cards=(0,)), *stations[2:]]
    swapped[3] = replace(stations[3], lean_deg=3.0)
    a, b = (
        evaluate(replace(JOB, stations=tuple(jobs)), taken(day, seed), now=NOW)
        for jobs, day, seed in ((stations, "a", 8), (swapped, "b", 9))
    )
    result = compare(a, b)
    assert [n for n, _ in result.left_out] == ["R1", "R2"] and "two different ribs" in result.left_out[0][1]
    assert {c.station for c in result.changes if c.doubt} == {"R4"}
    assert not any(c.moved for c in result.changes if c.station == "R4")


def test_stations_that_one_survey_lacks_are_named():
    full = survey("a", 9)
    half = evaluate(JOB, [reading("R1", angle(1.5, "x"))], now=NOW)
    result = compare(full, half)
    assert ("R2", "chord") in result.missing and ("R1", "spar") in result.missing
    assert [c.station for c in result.changes] == ["R1"]


def test_mirror_compares_left_with_right():
    result = mirror(survey("a", 10, chord={"L4": 0.5}, own=0.01))
    moved = {c.station: c.change.value for c in result.of("chord") if c.moved}
    assert "L4/R4" in moved and moved["L4/R4"] == pytest.approx(0.5, abs=0.06)
    assert any("L4/R4: left minus right +0.5" in f for f in result.findings)


def test_a_string_hung_anew_does_not_cancel():
    def one(day: str) -> Survey:
        r = reading("R1", angle(1.5, day, own=0.01), name=day)
        string = Component("string's own error", "string 1 at R1", 0.02)
        return evaluate(JOB, [replace(r, chord=replace(r.chord, quantity=r.chord.quantity.plus(string)))], now=NOW)

    a, b = one("a"), one("b")
    (c,) = compare(a, b).changes
    assert c.change.budget()["string's own error"] == pytest.approx(0.02 * np.sqrt(2))
