"""How far a set-up has come: each check and step to do, right, wrong or open again, from record and readings alone.

A check's state is what its evidence says, whatever the state of the steps that it hangs on. It is open again when something
that it hangs on was turned, or a step that it hangs on was done, after a piece of that evidence came. It is to do as long as
a step that it hangs on is yet to be done: no photo shows how a rib will stand in its clamps.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from rigging.order.happened import Happened, latest
from rigging.survey.decision import Outcome
from shared.job.model import Step

State = Literal["to do", "right", "wrong", "open again"]
GRAVEST: tuple[State, ...] = ("wrong", "open again", "to do", "right")


@dataclass(frozen=True)
class Found:
    """What the evidence says of one check.

    things : the stations that it looks at, or its own name where it is read by hand. outcome : the decision, None without
    a value. words : value or reason. evidence : what the value rests on, as `Happened.came` names it. doubt : why the
    value must not be relied on.
    """

    name: str
    things: tuple[str, ...]
    outcome: Outcome | None
    words: str
    evidence: tuple[str, ...] = ()
    doubt: str | None = None
    by_hand: bool = False


@dataclass(frozen=True)
class CheckState:
    """One check of a step. why : what was turned since, or what the evidence says.

    since : where it is open again, when the last thing happened that opened it; turned : when one of them was turned last.
    """

    found: Found
    state: State
    why: str
    since: str = ""
    turned: str = ""

    @property
    def name(self) -> str:
        """The check's name."""
        return self.found.name


@dataclass(frozen=True)
class StepState:
    """One step. checks : none where it is done or not done. waits : steps that it hangs on and that are not right.

    why : of a step without checks, what was said or turned.
    """

    step: Step
    state: State
    checks: tuple[CheckState, ...]
    waits: tuple[str, ...]
    why: str = ""

    @property
    def open(self) -> tuple[CheckState, ...]:
        """The checks that are not right, the gravest first."""
        return tuple(sorted((c for c in self.checks if c.state != "right"), key=lambda c: GRAVEST.index(c.state)))


@dataclass(frozen=True)
class SetUp:
    """The whole order. stated : by the job; else a usual one. words : what comes next, in one line."""

    steps: tuple[StepState, ...] = ()
    stated: bool = False
    words: str = ""

    @property
    def next(self) -> StepState | None:
        """The first step that is not right and hangs on none that is not; None when all are right."""
        return next((s for s in self.steps if s.state != "right" and not s.waits), None)

    def step(self, name: str) -> StepState:
        """The step of this name. Raises KeyError."""
        for s in self.steps:
            if s.step.name == name:
                return s
        raise KeyError(name)

    def opened(self) -> dict[str, str]:
        """Stations with a check that is open again -> local time of the last thing that opened it."""
        return latest(*({c.found.things[0]: c.since} for c in self._again()))

    def taken_along(self) -> dict[str, str]:
        """Of these the stations of which something that they hang on was turned -> when, last."""
        return latest(*({c.found.things[0]: c.turned} for c in self._again() if c.turned))

    def _again(self) -> list[CheckState]:
        checks = (c for s in self.steps for c in s.checks)
        return [c for c in checks if c.state == "open again" and not c.found.by_hand]


def states(steps: Sequence[Step], found: Mapping[str, Found], happened: Happened) -> tuple[StepState, ...]:
    """The state of every step. steps : each behind what it hangs on. found : check name -> what the evidence says.

    A check without an entry in `found` has no evidence. Pure: the same arguments give the same states.
    """
    by_name = {s.name: s for s in steps}
    above: dict[str, frozenset[str]] = {}
    done: dict[str, StepState] = {}
    for s in steps:
        above[s.name] = frozenset(s.after).union(*(above[a] for a in s.after))
        state = _state(s, [by_name[a] for a in by_name if a in above[s.name]], found, happened)
        done[s.name] = replace(state, waits=tuple(a for a in s.after if done[a].state != "right"))
    return tuple(done.values())


Event = tuple[str, str, bool]
"""When, what happened, and whether something was turned."""


def _events(above: Sequence[Step], found: Mapping[str, Found], happened: Happened) -> list[Event]:
    """What was turned or done in the steps that one hangs on."""
    things = dict.fromkeys(t for s in above for c in s.checks for t in _of(c, found).things)
    turned = _turned(things, happened)
    told = [
        (happened.told[s.name].at, f"{s.name} was done", False)
        for s in above
        if not s.checks and s.name in happened.told
    ]
    return turned + told


def _turned(things: Iterable[str], happened: Happened) -> list[Event]:
    return [(at, f"{t} was turned", True) for t in things if (at := happened.last_turned(t)) is not None]


def _state(s: Step, above: Sequence[Step], found: Mapping[str, Found], happened: Happened) -> StepState:
    events = _events(above, found, happened)
    if not s.checks:
        said = happened.told.get(s.name)
        if said is None:
            return StepState(s, "to do", (), (), "not done yet")
        late = _since(events, [said.at])
        why = told(late) if late else f"done at {clock(said.at)}"
        return StepState(s, "open again" if late else "right", (), (), why)
    undone = [a.name for a in above if not a.checks and a.name not in happened.told]
    if undone:
        first = next((name for name in s.after if name in undone), min(undone))  # whatever the job writes first
        waiting = (CheckState(_of(c, found), "to do", f"{first} is not done yet") for c in s.checks)
        return StepState(s, "to do", tuple(waiting), ())
    checks = tuple(_check(_of(c, found), happened, events) for c in s.checks)
    return StepState(s, min((c.state for c in checks), key=GRAVEST.index), checks, ())


def _check(f: Found, happened: Happened, events: Sequence[Event]) -> CheckState:
    own = [] if f.by_hand else _turned(f.things, happened)
    late = _since([*events, *own], [happened.last_came(e) for e in f.evidence])
    if f.outcome is None and own:
        return _opened(f, own)
    if f.outcome is None:
        return CheckState(f, "to do", f.words)
    if late:
        return _opened(f, late)
    if f.outcome == "nonconforming":
        return CheckState(f, "wrong", f.words)
    if f.outcome == "undecided" or f.doubt is not None:
        return CheckState(f, "to do", f.doubt or f.words)
    return CheckState(f, "right", f.words)


def _opened(f: Found, events: Sequence[Event]) -> CheckState:
    turned = max((e[0] for e in events if e[2]), default="")
    return CheckState(f, "open again", told(events), max(e[0] for e in events), turned)


def _since(events: Sequence[Event], came: Sequence[str]) -> list[Event]:
    """The events that came after some of the evidence."""
    return [e for e in events if any(at < e[0] for at in came)]


def told(events: Sequence[Event]) -> str:
    """The last of some events in words; of several at once the first, which the others hang on."""
    last = max(events, key=lambda e: e[0])
    return f"{last[1]} at {clock(last[0])}"


def _of(name: str, found: Mapping[str, Found]) -> Found:
    return found.get(name) or Found(name, (name,), None, "no value")


def clock(at: str) -> str:
    """The time of day of a local time, ISO 8601."""
    return at[11:16]
