"""The order before any photo: what each step asks for, for plan, printed pages and checks of photos."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from rigging.order.state import SetUp, StepState
from rigging.order.words import what_to_do
from rigging.survey.model import evaluate
from shared.job.lint import JobHint
from shared.job.model import Job


def bare(job: Job) -> SetUp:
    """The order with nothing looked at yet."""
    return evaluate(job, ()).setup


def step_lines(job: Job) -> Iterator[str]:
    """A line a step: what it asks for."""
    setup = bare(job)
    yield from (f"{k}. {s.step.name}: {what_to_do(s)}" for k, s in enumerate(setup.steps, 1))


def stations_of(s: StepState) -> tuple[str, ...]:
    """The stations that a step looks at, each once."""
    return tuple(dict.fromkeys(t for c in s.checks if not c.found.by_hand for t in c.found.things))


def first_missing(job: Job, ready: Collection[str]) -> tuple[str, tuple[str, ...]] | None:
    """The first step of the order that lacks photos, and the stations that it lacks; None where every step has its own.

    ready : stations with a photo that can be measured.
    """
    for s in bare(job).steps:
        lacking = tuple(name for name in stations_of(s) if name not in ready)
        if lacking:
            return s.step.name, lacking
    return None


def order_hints(job: Job) -> Iterator[JobHint]:
    """Where the job states steps: stations and typed checks that are in none of them."""
    if not job.steps:
        return
    checked = {c for s in job.steps for c in s.checks}
    for name in (*(f"{s.name}/chord" for s in job.stations), *(t.name for t in job.typed)):
        if name not in checked:
            yield JobHint("not-in-a-step", "[[step]]", f"{name} is in no step: the order is all right without it")
