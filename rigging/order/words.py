"""The order in words: one line a step, and what comes next inside the time that is left."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rigging.order.state import SetUp, State, StepState
from rigging.survey.bonding import BondingWindow

SIGNS: dict[State, str] = {"right": "●", "wrong": "✕", "open again": "◌", "to do": "○"}
"""A shape for each state, the same on screen, page and paper."""
MOST = 4
"""Checks of one step that are named in one line."""


def next_words(setup: SetUp, glue: BondingWindow | None) -> str:
    """What comes next, in one line, with the time left for all that is open."""
    now = setup.next
    if now is None:
        return "Every step is right." if setup.steps else ""
    if glue is not None and glue.closed:
        return f"Not right: {now.step.name}. {glue.words}"
    told = f"Next: {now.step.name}: {what_to_do(now)}."
    if glue is None or glue.working_left_min is None or glue.since_min is None or glue.since_min < 0:
        return told
    left = [s for s in setup.steps if s.state != "right"]
    return f"{told} {_count(len(left), 'step')} not right; {glue.words}."


def step_line(s: StepState) -> str:
    """One step: its name, its state, and why it is not right or what it waits for."""
    return f"{s.step.name}: {s.state}" + "".join(f"; {part}" for part in step_parts(s))


def step_parts(s: StepState) -> Iterator[str]:
    """Why a step stands as it does: what was said of it, its checks that are not right, what it waits for."""
    if not s.checks:
        yield s.why
    elif not s.open:
        yield f"{_count(len(s.checks), 'check')} right"
    else:
        yield from _grouped(s)
    if s.waits:
        yield f"hangs on {' and '.join(s.waits)}, not right yet"


def _grouped(s: StepState) -> Iterator[str]:
    """Checks of one state and one reason together; at most MOST names and reasons. The step's own state is not said again."""
    groups: dict[tuple[str, str], list[str]] = {}
    for c in s.open:
        groups.setdefault((c.state, c.why), []).append(c.name)
    for (state, why), names in list(groups.items())[:MOST]:
        yield f"{_names(names)}{'' if state == s.state else f' {state}'}: {why}"
    rest = sum(len(names) for names in list(groups.values())[MOST:])
    if rest:
        yield f"and {_count(rest, 'more check')}"


def what_to_do(s: StepState) -> str:
    """What a step asks for as it stands; of a step that is right, nothing."""
    if s.state == "right":
        return "nothing"
    if not s.checks:
        return f"{'again: ' + s.why if s.state == 'open again' else 'do it'}, then say that it is done"
    first = s.open[0].state
    mine = [c for c in s.open if c.state == first]
    hand, photo = ([c.name for c in mine if c.found.by_hand is by_hand] for by_hand in (True, False))
    parts = []
    if first == "wrong":
        parts.append(f"{_names([c.name for c in mine])} wrong ({mine[0].why}): turn it, then look again")
    if photo and first != "wrong":
        again = "again " if first == "open again" else ""
        stations = dict.fromkeys(t for c in mine if not c.found.by_hand for t in c.found.things)
        parts.append(f"photograph {again}{_names(list(stations))}")
    if hand and first != "wrong":
        parts.append(f"read {_names(hand)}{' again' if first == 'open again' else ''}")
    why = f" ({mine[0].why})" if first == "open again" else ""
    return "; ".join(parts) + why


def _names(names: Sequence[str]) -> str:
    shown = list(names[:MOST]) + ([f"{len(names) - MOST} more"] if len(names) > MOST else [])
    return shown[0] if len(shown) == 1 else f"{', '.join(shown[:-1])} and {shown[-1]}"


def _count(n: int, noun: str) -> str:
    return f"{n} {noun}{'' if n == 1 else 's'}"
