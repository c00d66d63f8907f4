"""The planned uncertainty against geometry, against the scatter of simulated photos, and against readings."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner
from planned import hold, of_scene
from shop import PHONE, CardAt, Pen, Scene, String, draw
from shop.jobs import job_for, lens_for

from rigging.cli.main import run
from rigging.cli.plan import plan
from rigging.planning.advice_worth import SPOILERS, Worth, compute_one, kept
from rigging.planning.lens import planned_lens, typical_lens
from rigging.planning.plan import STEPS, PhotoSetup, cards_for, distance_of, expect, ladders, plan_job
from rigging.planning.scene import PlacedCard, SeeingNoise, SetUp, Viewpoint, imagine
from shared.errors import UserError
from shared.job.model import Job, Level, Station, Wing
from vision.reader import read_photo
from vision.solution.propagate import angles, values
from vision.solution.solve import solve, starts

PLAIN = Scene(
    seed=11, camera=PHONE, surface="white", grain=0.0, clutter=0, holes=False, yaw_deg=6.0, pitch_deg=-4.0,
    chord_mm=900.0, chord_deg=1.0, cards=(CardAt("panel", 3, 0.5, 2.0),), chord_pen=Pen(0.9, cover=0.9),
    strings=(String(-150.0, 15.0, 0.8, (0.06, 0.06, 0.07)),), fill=0.72, label="R4",
)  # fmt: skip
LENS = planned_lens("27mm@4000x3000")
PANEL = (PlacedCard("panel", 0.47, 3.0),)


def setup(**changes) -> SetUp:
    usual = SetUp(LENS, 1000.0, PANEL, Viewpoint(1180.0, 5.0, 3.0, -2.0, (30.0, 20.0)), (150.0,), u_lean_deg=0.5)
    return replace(usual, **changes)


def station(chord_mm: float = 1000.0, **changes) -> Station:
    return replace(Station("R1", "right", 500.0, chord_mm, (1,), 1.0, 0.25, spar_at=0.3), **changes)


def job(*stations: Station, u_lean_deg: float = 0.5) -> Job:
    return Job(Wing("wing", "R1", 0.0, u_lean_deg), stations or (station(),), level=Level(u_deg=0.02))


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"cards": (PlacedCard("strip", 0.17, 4.0), PlacedCard("panel", 0.68, -3.0))},
        {"lean_deg": 3.0, "strings_mm": (-200.0, 250.0)},
        {"strings_mm": (), "level_at": -14.0},
    ],
)
def test_an_imagined_scene_is_exact_and_its_state_the_solution(changes):
    scene, state = imagine(setup(**changes))
    lean = changes.get("lean_deg", 0.0)
    want = [math.degrees(math.asin(math.sin(math.radians(1.0)) * math.cos(math.radians(lean)))), 91.0, lean]
    assert values(scene.lines, state) == pytest.approx(want, abs=1e-9)
    found = min((solve(scene, s) for s in starts(scene)), key=lambda s: s.cost)
    assert found.cost < 1e-6
    assert values(scene.lines, found.state) == pytest.approx(want, abs=1e-4)


def test_planned_uncertainty_is_the_scatter_of_photos_with_that_noise():
    still_things = {"pen_wave_mm": 0.0, "string_wave_px": 0.0, "aspect": 0.0, "seat_deg": 0.0}
    noise = SeeingNoise(corner_px=0.05, edge_px=0.03, line_px=0.4, **still_things)
    exact, state = imagine(setup(noise=noise, u_level_deg=1e-4, u_lean_deg=1e-4, lens=still(LENS)))
    planned = angles(solve(exact, state, max_rounds=0)).chord.u
    rng, got = np.random.default_rng(7), []
    for _ in range(150):
        cards = tuple(shaken(c, rng) for c in exact.cards)
        lines = tuple(
            replace(
                s,
                pixels=s.pixels + rng.normal(0, 1, (len(s.pixels), 1)) * s.noise_px[:, None] * across(s.pixels),
            )
            for s in exact.lines
        )
        scene = replace(exact, cards=cards, lines=lines)
        got.append(values(lines, solve(scene, state).state)[0])
    assert np.mean(got) == pytest.approx(1.0, abs=4 * planned / math.sqrt(150))
    assert np.std(got) == pytest.approx(planned, rel=0.18)  # three standard errors of a spread from 150


def shaken(card, rng):
    e = card.edges
    edges = replace(e, pixels=e.pixels + rng.normal(0, 0.03, (len(e.board), 1)) * e.normal)
    return replace(card, pixels=card.pixels + rng.normal(0, 0.05, card.pixels.shape), edges=edges)


def still(lens):
    return replace(lens, covariance=np.zeros((9, 9)))


def across(pixels):
    along = pixels[-1] - pixels[0]
    return np.array([-along[1], along[0]]) / np.linalg.norm(along)


@pytest.mark.parametrize(("string", "yaw"), [(200.0, 0.0), (-300.0, 0.0), (0.0, 6.0), (150.0, -5.0)])
def test_an_unknown_lean_costs_lean_times_offset_over_distance(string, yaw):
    """Geometry: the string's distance from the foot of the perpendicular, over the camera's distance."""
    view = Viewpoint(1200.0, yaw_deg=yaw)
    got = angles(solve(*imagine(setup(view=view, strings_mm=(string,), gap_mm=0.5)), max_rounds=0)).chord
    away = 1200.0 * math.cos(math.radians(yaw))
    foot = 1200.0 * math.sin(math.radians(yaw))
    assert got.budget()["lean of the rib plane"] == pytest.approx(0.5 * abs(string - foot) / away, rel=0.03)


def test_a_level_line_and_two_strings_make_the_lean_harmless():
    level = angles(solve(*imagine(setup(strings_mm=(), level_at=-14.0)), max_rounds=0)).chord
    two = angles(solve(*imagine(setup(strings_mm=(-200.0, 250.0))), max_rounds=0)).chord
    assert level.budget()["lean of the rib plane"] < 0.001
    assert two.budget()["lean of the rib plane"] < 0.005


@pytest.mark.parametrize(
    "better",
    [
        {"cards": 2},
        {"fill": 0.8},
        {"aside": 0.0},
        {"photos": 4},
        {"strings": 2},
        {"level_line": True},
        {"u_lean_deg": 0.1},
    ],
)
def test_what_should_help_helps(better):
    base = PhotoSetup(
        string_at=0.0 if {"fill", "photos"} & set(better) else 0.2,
        fill=0.25,
        aside=0.0 if {"fill", "photos"} & set(better) else None,
    )
    strip = station(card="strip")
    poor, good = (expect(job(strip), strip, LENS, c, SeeingNoise()).chord for c in (base, replace(base, **better)))
    assert good < poor


def test_the_cheapest_steps_reach_what_is_needed_and_nothing_cheaper_does():
    rib = station(card="strip")
    (plan,) = plan_job(job(rib), LENS, [PhotoSetup()], 1 / 3)
    assert plan.needed == pytest.approx(0.25 / 3)
    assert plan.now.chord > plan.needed >= plan.then.chord and plan.steps
    spent = sum(s.cost for s in plan.steps)
    for cheaper in ladders(PhotoSetup()):
        if sum(s.cost for s in cheaper) < spent:
            choice = PhotoSetup()
            for s in cheaper:
                choice = s.applied(choice)
            assert expect(job(rib), rib, LENS, choice, SeeingNoise()).chord > plan.needed


def test_a_tolerance_that_nothing_decides_is_told():
    rib = station(chord_tolerance_deg=0.02)
    (plan,) = plan_job(job(rib), LENS, [PhotoSetup()], 1 / 3)
    assert plan.steps is None and not plan.decides and plan.then.chord < plan.now.chord


def test_a_set_up_that_decides_needs_no_steps():
    rib = station(chord_tolerance_deg=2.0)
    (plan,) = plan_job(job(rib), LENS, [PhotoSetup()], 1 / 3)
    assert plan.decides and plan.steps == () and plan.then == plan.now


def test_ladders_rise_in_cost_and_never_hang_strings_beside_a_laser_line():
    steps = ladders(PhotoSetup())
    costs = [sum(s.cost for s in c) for c in steps]
    assert costs == sorted(costs) and len(STEPS) == 6
    assert not any({"strings", "level_line"} <= {k for s in c for k, _ in s.change} for c in steps)
    assert all(s.applied(PhotoSetup(cards=2)) != PhotoSetup(cards=2) for c in ladders(PhotoSetup(cards=2)) for s in c)


def test_distance_and_fill_are_two_words_for_one_thing():
    far = distance_of(station(), LENS, PhotoSetup(fill=0.5))
    assert far == pytest.approx(float(LENS.theta[0]) * 1000.0 / (0.5 * 4000))
    near = expect(job(), station(), LENS, PhotoSetup(distance_mm=far), SeeingNoise(), hands=4)
    assert near.chord == pytest.approx(
        expect(job(), station(), LENS, PhotoSetup(fill=0.5), SeeingNoise(), hands=4).chord
    )


def test_a_rib_that_does_not_fit_the_picture_is_told():
    with pytest.raises(UserError, match="does not fit into the picture"):
        expect(job(), station(), LENS, PhotoSetup(distance_mm=120.0), SeeingNoise(), hands=1)


def test_the_job_says_which_card_is_planned_for():
    assert [c.kind for c in cards_for(station(700.0), 2)] == ["strip", "strip"]
    assert cards_for(station(700.0, card="panel"), 1)[0].kind == "panel"


def test_a_typical_lens_is_as_well_known_as_a_calibrated_one():
    """14 views at 0.10 px: f to some 0.02 %, as calibrations of real phones' photos come out (Zhang 2000)."""
    lens = typical_lens(3050.0, (4000, 3000))
    u = np.sqrt(np.diag(lens.covariance))
    assert lens.sound and u[0] == u[1]
    assert 0.3 < u[0] < 2.0 and 0.2 < u[2] < 1.5
    assert np.linalg.eigvalsh(lens.covariance).min() > -1e-9


@pytest.mark.parametrize("word", ["a phone", "5mm", "27mm@40x30", "27 mm@4000"])
def test_a_camera_that_is_none_is_refused(word):
    with pytest.raises(UserError, match=r"camera '"):
        planned_lens(word)


def test_cameras_in_words():
    assert planned_lens("26,5mm").size == (4000, 3000)
    assert planned_lens("27mm@4032x3024").size == (4032, 3024)
    assert not planned_lens("27mm@4000x3000 uncalibrated").sound


@pytest.mark.parametrize(
    "changes",
    [
        {"cards": (CardAt("strip", 3, 0.45, 4.0),)},
        {"cards": (CardAt("strip", 3, 0.68, 4.0), CardAt("strip", 5, 0.15, -3.0))},
    ],
)
def test_planned_against_achieved_on_drawn_photos(changes):
    """The benchmark in small: `benchmarks/planned.py` does many, at 12 megapixels."""
    scene = replace(PLAIN, **changes)
    wing = job_for(scene, u_lean_deg=0.5)
    lens = lens_for(scene.camera)
    reading = read_photo(draw(scene)[0], wing, lens=lens)
    assert reading.chord.quantity is not None, reading.chord.reason
    held = hold("drawn", wing, wing.stations[0], lens, of_scene(scene), reading.chord.quantity.U)
    assert held.known / held.achieved == pytest.approx(1.0, abs=0.15)


@pytest.mark.parametrize("name", ["square", "level-line", "stretched", "zoom"])
def test_the_kept_worth_of_advice_is_what_the_solver_says(name):
    now, then = compute_one(name), kept()[name]
    assert now == Worth(
        pytest.approx(then.followed, rel=0.1, abs=0.002), pytest.approx(then.ignored, rel=0.1), then.kind
    )


def test_all_advice_is_kept_and_worth_something():
    assert set(SPOILERS) < set(kept())
    assert all(w.followed < w.ignored for w in kept().values())


JOB = """
[wing]
name = "trainer"
root = "R1"
dihedral_deg = 0.0
[[station]]
name = "R1"
side = "right"
span_mm = 400
chord_mm = "39 3/8 in"
cards = [1]
chord_deg = 2.0
chord_tolerance_deg = 0.25
"""


def test_the_command(tmp_path, capsys):
    place = tmp_path / "wing.toml"
    place.write_text(JOB)
    assert run(["plan", str(place), "--distance", "4 ft", "--units", "in"]) == 0
    shown = capsys.readouterr().out
    assert "48.00 in" in shown and "typical" in shown and "stand square to the rib" in shown
    assert run(["plan", str(place), "--camera", "none"]) == 2
    assert "27mm@4000x3000" in capsys.readouterr().err


@pytest.mark.parametrize(("answer", "asked"), [("0\n", False), ("8 in\n", False), ("\n", True)])
def test_the_command_asks_where_the_lens_stands(tmp_path, monkeypatch, answer, asked):
    """The one thing that decides most and that no default can know."""
    place = tmp_path / "wing.toml"
    place.write_text(JOB)
    monkeypatch.setattr("rigging.cli.plan._somebody_there", lambda: True)
    done = CliRunner().invoke(plan, [str(place)], input=answer)
    assert done.exit_code == 0, done.output
    assert "How far along the chord" in done.output
    assert ("is not stated" in done.output) is asked


@pytest.mark.parametrize("string", [0.1, 0.25])
def test_a_plan_not_told_where_the_lens_stands_spans_near_and_far(string):
    """Hands go to either side: the range must hold the U of a lens opposite the string and of one far from it."""
    wing, rib = job(), station()
    anywhere = expect(wing, rib, LENS, PhotoSetup(string_at=string), SeeingNoise())
    far = expect(wing, rib, LENS, PhotoSetup(string_at=string, aside=string + 0.1), SeeingNoise()).chord
    low, high = anywhere.chord_range
    assert low < anywhere.chord < far <= high
    assert high > 2.5 * low
