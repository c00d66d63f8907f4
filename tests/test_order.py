"""The order of the set-up: what hangs on what, and states that follow from record and readings alone."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import datetime, timedelta
from graphlib import TopologicalSorter
from pathlib import Path

import pytest
from example_survey import REFUSED, job, readings
from hypothesis import given, settings
from hypothesis import strategies as st

from rigging.order.happened import Happened, Told, mended
from rigging.order.state import Found, SetUp, StepState, states
from rigging.order.usual import steps_of_job
from rigging.order.words import next_words, step_line
from rigging.survey.bonding import window
from rigging.survey.model import Survey, evaluate
from shared.errors import UserError
from shared.job.file import load_job, parse_job
from shared.job.model import Glue, Step, Typed
from shared.job.order import in_order, job_checks, named_by

SAMPLE = Path(__file__).parent.parent / "samples" / "trainer" / "trainer.toml"
BASE = SAMPLE.read_text("utf-8")
NOON = datetime(2026, 5, 16, 12, 0)
LEVEL = Typed("level", 0.0, 0.5, 0.1)
STATIONS, LINES = ("A", "B", "C"), ("chord", "spar")
CHECKS = (*(f"{s}/{line}" for s in STATIONS for line in LINES), LEVEL.name)


def at(minute: int) -> str:
    return (NOON + timedelta(minutes=minute)).isoformat()


# --- the job's own words


def test_a_step_without_after_hangs_on_the_one_before_it_and_stars_stand_for_anything():
    told = parse_job(
        f'{BASE}\n[[step]]\nname = "root"\nchecks = ["*1/chord"]\n'
        '[[step]]\nname = "spars"\nchecks = ["*/spar", "R1/chord"]\n[[step]]\nname = "clamp"\nafter = []\n'
    )
    root, clamp, spars = (next(s for s in told.steps if s.name == n) for n in ("root", "clamp", "spars"))
    assert root == Step("root", ("R1/chord", "L1/chord"))
    assert spars.after == ("root",) and clamp == Step("clamp")
    assert spars.checks == (*(f"{side}{k}/spar" for side in "RL" for k in range(1, 7)), "R1/chord")
    assert named_by("R1/chord", job_checks(told)) == ("R1/chord",)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[[step]]\nname = "a"\nafter = ["c"]\n[[step]]\nname = "b"\n[[step]]\nname = "c"\n', "a hangs on c hangs on b"),
        ('[[step]]\nname = "a"\nafter = ["a"]\n', "in a circle (a hangs on a)"),
        ('[[step]]\nname = "a"\nchecks = ["R1/cord"]\n', "there is no check 'R1/cord'; did you mean R1/chord?"),
        ('[[step]]\nname = "a"\nchecks = ["X*/chord"]\n', "there is no check 'X*/chord'"),
        ('[[step]]\nname = "root"\n[[step]]\nname = "b"\nafter = ["rot"]\n', "there is no step 'rot'; did you mean root?"),
        ('[[step]]\nname = "a"\n[[step]]\nname = "A"\n', "used twice"),
        ('[[typed]]\nname = "R1/chord"\ndeg = 0\ntolerance_deg = 0.1\nu_deg = 0.1\n', "used twice"),
        ('[[typed]]\nname = "level"\ndeg = 0\ntolerance_deg = 0.1\n', "needs what it is to read, its tolerance and its u"),
        ('[[typed]]\nname = "l"\ndeg = 0\ntolerance_deg = 1\nu_deg = 1\nmm = 2\n', "all in one unit"),
        ('[[step]]\nname = "a"\nchecks = "R1/chord"\n', "must be a list in [ ]"),
        ('[step]\nname = "a"\n', "write [[step]] once for each"),
    ],
)  # fmt: skip
def test_circles_and_unknown_names_are_refused_in_one_line(text: str, words: str):
    with pytest.raises(UserError) as caught:
        parse_job(f"{BASE}\n{text}", "wing.toml")
    assert words in str(caught.value) and "\n" not in str(caught.value) and str(caught.value).startswith("wing.toml: ")


def test_where_the_job_states_none_root_comes_first_and_clamping_last():
    steps = steps_of_job(load_job(SAMPLE))
    assert [s.name for s in steps] == ["root level", "spars and fittings plumb", "washout", "locked and clamped"]
    assert steps[0].checks == ("R1/chord", "L1/chord")  # both wings have a rib at the root's place
    assert [s.after for s in steps] == [(), *((s.name,) for s in steps[:-1])]
    assert "L6/spar" in steps[1].checks and "R6/chord" in steps[2].checks and not steps[3].checks
    assert not {"R1/chord", "L1/chord"} & set(steps[2].checks)


def test_the_spars_rise_is_a_check_where_the_job_says_what_is_allowed():
    text = BASE.replace("dihedral_deg = 0.0", "dihedral_deg = 0.0\ndihedral_tolerance_deg = 0.2", 1)
    told = parse_job(f'{text}\n[[spar_level]]\nside = "right"\ndeg = 0.6\nu_deg = 0.05\n')
    found = evaluate(told, [], now=NOON).setup.step("spanwise level")
    assert [c.name for c in found.checks] == ["left spar/rise", "right spar/rise"]
    assert [c.state for c in found.checks] == ["to do", "wrong"] and "right spar/rise" not in job_checks(job())


# --- states: held against a machine that lives through the events one by one


@st.composite
def stories(draw: st.DrawFn) -> tuple[tuple[Step, ...], list[tuple[str, str, object]]]:
    """Steps that hang on earlier ones, and what happened, in order."""
    steps: list[Step] = []
    for k in range(draw(st.integers(1, 5))):
        checks = draw(st.lists(st.sampled_from(CHECKS), max_size=3, unique=True))
        after = draw(st.lists(st.sampled_from([s.name for s in steps]), max_size=2, unique=True)) if steps else []
        steps.append(Step(f"step {k}", tuple(checks), tuple(after)))
    outcomes = st.sampled_from(["conforming", "nonconforming", "undecided"])
    done = [s.name for s in steps if not s.checks]
    kinds = [
        st.tuples(st.just("photo"), st.sampled_from(STATIONS), st.tuples(outcomes, outcomes)),
        st.tuples(st.just("turn"), st.sampled_from(STATIONS), st.none()),
        st.tuples(st.just("read"), st.just(LEVEL.name), st.sampled_from([0.0, 0.05, 0.29, 0.45, 2.0])),
    ]
    kinds += [st.tuples(st.just("done"), st.sampled_from(done), st.none())] if done else []
    return tuple(steps), draw(st.lists(st.one_of(kinds), max_size=12))


WORDS = {"conforming": "right", "nonconforming": "wrong", "undecided": "to do"}


def judged(value: float) -> str:
    # JCGM 106:2012, 8.3: U = 2u guards the tolerance from both sides
    off, U = abs(value), 2 * LEVEL.u
    return "conforming" if off + U <= LEVEL.tolerance else "nonconforming" if off - U > LEVEL.tolerance else "undecided"


def lived(steps: tuple[Step, ...], events: list[tuple[str, str, object]]) -> dict[tuple[str, str], str]:
    """(step, check) -> state, by living through the events: the other way round than `states` works it out."""
    above = {s.name: set(s.after) for s in steps}
    for s in steps:
        above[s.name] |= {x for a in s.after for x in above[a]}
    state = {(s.name, c): "to do" for s in steps for c in s.checks or ("",)}
    has: set[str] = set()
    last: float | None = None

    def open_below(causes: set[str]) -> None:
        for s in steps:
            if above[s.name] & causes:
                for c in s.checks or ("",):
                    if (c or s.name) in has:
                        state[s.name, c] = "open again"

    for kind, name, what in events:
        holders = {s.name for s in steps if any(c.split("/")[0] == name for c in s.checks)}
        if kind == "photo":
            has |= {f"{name}/{line}" for line in LINES}
            for step, check in state:
                if check.startswith(f"{name}/"):
                    state[step, check] = WORDS[what[LINES.index(check.split("/")[1])]]  # type: ignore[index]
        elif kind == "turn":
            has -= {f"{name}/{line}" for line in LINES}
            for key in state:
                if key[1].startswith(f"{name}/"):
                    state[key] = "open again"
            open_below(holders)
        elif kind == "read":
            value = float(what)  # type: ignore[arg-type]
            turned = last is not None and (
                (judged(last) != "conforming" and value != last) or abs(value - last) > 2 * 2**0.5 * LEVEL.u
            )
            if turned:
                open_below(holders)
            last = value
            has.add(name)
            for key in state:
                if key[1] == name:
                    state[key] = WORDS[judged(value)]
        else:
            has.add(name)
            state[name, ""] = "right"
            open_below({name})
    plain = {s.name for s in steps if not s.checks}
    for s in steps:
        if any(a in plain and a not in has for a in above[s.name]):
            state |= {(s.name, c): "to do" for c in s.checks}  # nothing shows how it will stand once that is done
    return state


def evidence(events: list[tuple[str, str, object]]) -> tuple[dict[str, Found], Happened]:
    """What readings and record hold after these events."""
    found = {f"{s}/{line}": Found(f"{s}/{line}", (s,), None, "no photo") for s in STATIONS for line in LINES}
    found[LEVEL.name] = Found(LEVEL.name, (LEVEL.name,), None, "not read yet", by_hand=True)
    turned: dict[str, str] = {}
    moved: dict[str, str] = {}
    came: dict[str, str] = {}
    told: dict[str, Told] = {}
    for k, (kind, name, what) in enumerate(events):
        if kind == "photo":
            came[f"sha {k}"] = at(k)
            for line, outcome in zip(LINES, what, strict=True):  # type: ignore[call-overload]
                found[f"{name}/{line}"] = Found(f"{name}/{line}", (name,), outcome, "read", (f"sha {k}",))
        elif kind == "turn":
            turned[name] = at(k)
            for line in LINES:
                found[f"{name}/{line}"] = Found(f"{name}/{line}", (name,), None, "set aside")
        else:
            value = None if kind == "done" else float(what)  # type: ignore[arg-type]
            if kind == "read" and mended(LEVEL, told.get(name), value):
                moved[name] = at(k)
            told[name] = Told(at(k), value)
            if value is not None:
                found[name] = Found(name, (name,), judged(value), "read", (name,), by_hand=True)  # type: ignore[arg-type]
    return found, Happened(turned, moved, came, told)


def by_check(made: tuple[StepState, ...]) -> dict[tuple[str, str], str]:
    return {(s.step.name, c.name): c.state for s in made for c in s.checks} | {
        (s.step.name, ""): s.state for s in made if not s.checks
    }


@settings(max_examples=400, deadline=None)
@given(stories())
def test_states_are_those_of_living_through_the_events_one_by_one(story):
    steps, events = story
    assert by_check(states(steps, *evidence(events))) == lived(steps, events)


@settings(max_examples=150, deadline=None)
@given(stories(), st.randoms(use_true_random=False))
def test_states_are_pure_and_the_order_of_writing_changes_none(story, shuffle: random.Random):
    steps, events = story
    found, happened = evidence(events)
    made = states(steps, found, happened)
    again = list(steps)
    shuffle.shuffle(again)
    hung = {s.name: s.after for s in again}
    placed = tuple(next(s for s in steps if s.name == name) for name in in_order(hung))
    assert {s.step.name: s for s in states(placed, found, happened)} == {s.step.name: s for s in made}
    assert states(steps, found, happened) == made


@settings(max_examples=150, deadline=None)
@given(stories())
def test_nothing_is_right_on_evidence_from_before_something_above_was_turned(story):
    steps, events = story
    found, happened = evidence(events)
    by_name = {s.name: s for s in steps}
    for s in states(steps, found, happened):
        above = list(s.step.after)
        for name in above:
            above += by_name[name].after
        things = {c.split("/")[0] for name in above for c in by_name[name].checks}
        turned = max((happened.last_turned(t) or "" for t in things), default="")
        for c in s.checks:
            if c.state in ("right", "wrong"):
                assert c.found.evidence and all(happened.last_came(e) >= turned for e in c.found.evidence)


@settings(max_examples=150, deadline=None)
@given(stories())
def test_the_next_step_waits_for_none_and_there_is_one_until_all_are_right(story):
    steps, events = story
    made = states(steps, *evidence(events))
    setup = SetUp(made, True)
    right = {s.step.name for s in made if s.state == "right"}
    if setup.next is None:
        assert len(right) == len(steps) and next_words(setup, None) == "Every step is right."
    else:
        assert setup.next.step.name not in right and set(setup.next.step.after) <= right
        assert setup.next.step.name in next_words(setup, None)
    for s in made:
        assert set(s.waits) == set(s.step.after) - right
        assert step_line(s).startswith(f"{s.step.name}: {s.state}")


@settings(max_examples=100, deadline=None)
@given(st.dictionaries(st.integers(0, 9), st.lists(st.integers(0, 9), max_size=3), min_size=1))
def test_steps_stand_behind_what_they_hang_on_and_else_as_written(graph: dict[int, list[int]]):
    # against the standard library's own sorter, which says whether there is a circle
    hung = {str(k): [str(v) for v in after if v in graph and v < k] for k, after in graph.items()}
    order = in_order(hung)
    assert sorted(order) == sorted(hung) and set(TopologicalSorter(hung).static_order()) == set(order)
    assert all(order.index(a) < order.index(name) for name in hung for a in hung[name])
    free = [name for name in hung if not hung[name]]
    if len(free) == len(hung):
        assert list(order) == free


# --- evidence never depends on the order


def angles(survey: Survey) -> object:
    return survey.verdict, survey.findings, survey.stations, survey.corrections, survey.symmetry, survey.flags


@settings(max_examples=15, deadline=None)
@given(st.lists(st.lists(st.sampled_from(job_checks(job())), max_size=4, unique=True), max_size=4), st.integers(0, 11))
def test_no_step_and_nothing_that_happened_changes_an_angle_or_a_decision(checks: list[list[str]], minute: int):
    plain = evaluate(job(), readings(), now=NOON)
    steps = tuple(Step(f"s{k}", tuple(c), (f"s{k - 1}",) if k else ()) for k, c in enumerate(checks))
    happened = Happened(
        moved=dict.fromkeys(("R1", "L3"), at(minute)),
        came={r.photo.sha256: at(k) for k, r in enumerate(readings())},
        told={"s0": Told(at(3))},
    )
    made = evaluate(replace(job(), steps=steps), readings(), now=NOON, happened=happened)
    assert angles(made) == angles(plain) and len(made.setup.steps) == (len(steps) or 4)


def test_a_turned_root_opens_what_hangs_on_it_and_a_new_photo_closes_it():
    photos = [r for r in readings() if r.measured and r.station is not None]
    came = {r.photo.sha256: at(0) for r in photos}
    before = evaluate(job(), photos, now=NOON, happened=Happened(came=came)).setup
    assert before.step("washout").state == "wrong"  # R5 and R6 stand on a jig that is too low
    turned = Happened({"R1": at(5)}, came=came | {r.photo.sha256: at(5) for r in photos if r.station == "R1"})
    setup = evaluate(job(), photos, now=NOON, happened=turned).setup
    assert {c.name for c in setup.step("washout").checks if c.state != "open again"} == {f"{REFUSED}/chord"}
    assert "R1 was turned at 12:05" in step_line(setup.step("washout")) and setup.opened()["R2"] == at(5)
    anew = replace(turned, came=dict.fromkeys(came, at(6)))
    assert evaluate(job(), photos, now=NOON, happened=anew).setup.step("washout").state == "wrong"


def test_a_root_that_was_mended_by_hand_opens_what_hangs_on_it():
    assert mended(LEVEL, Told(at(0), 2.0), 0.0) and mended(LEVEL, Told(at(0), -0.4), 0.4)
    assert not mended(LEVEL, Told(at(0), 0.05), 0.0) and not mended(LEVEL, None, 0.0)
    assert not mended(LEVEL, Told(at(0), 2.0), 2.0)  # read again, the same


@pytest.mark.parametrize(
    ("minutes", "words"),
    [(5, "30 min left to move and clamp"), (40, "move nothing"), (90, "The glue has gelled"), (None, "photograph")],
)
def test_what_is_next_is_said_with_the_time_that_is_left(minutes: int | None, words: str):
    glue = Glue(35, 60, None if minutes is None else (NOON - timedelta(minutes=minutes)).isoformat())
    setup = SetUp(states((Step("root", ("A/chord",)), Step("clamp", (), ("root",))), {}, Happened()), True)
    said = next_words(setup, window(glue, NOON))
    assert "root" in said and words in said
    assert ("2 steps not right" in said) == (minutes == 5)


def test_a_dimension_is_a_check_of_its_own_beside_the_line_of_its_name():
    dimension = '[[dimension]]\nname = "chord"\nkind = "chord length"\nat = "L4"\ndesign_mm = 936\ntolerance_mm = 1.5\n'
    told = parse_job(f'{BASE}\n{dimension}[[step]]\nname = "size"\nchecks = ["L4/chord*"]\n')
    assert told.steps[0].checks == ("L4/chord", "L4/chord mm")
    found = evaluate(told, [], now=NOON).setup.step("size").checks
    assert [(c.state, c.found.things) for c in found] == [("to do", ("L4",))] * 2
    assert len({c.why for c in found}) == 2
