"""The order where the job states none: what a wing usually hangs on (common practice, no source)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from shared.job.model import SAME_SPAN_MM, Job, Step
from shared.job.order import job_checks, rise_name

ROOT, PLUMB, WASHOUT, SPANWISE, LOCKED = (
    "root level",
    "spars and fittings plumb",
    "washout",
    "spanwise level",
    "locked and clamped",
)


def steps_of_job(job: Job) -> tuple[Step, ...]:
    """The job's own steps, or the usual ones: each hangs on those before it.

    The root's chord line first, on both wings where they have a rib there, and the lines by name at the root; then what is
    meant to be plumb, and other lines by name; then every other chord line; then the spars' rise, lines along the span and
    what is read by hand; at last locking and clamping, where the job names a glue and the work does not stand after it.
    """
    return job.steps or tuple(_chained(_usual(job)))


def _usual(job: Job) -> Iterator[Step]:
    names = job_checks(job)
    root = job.station(job.wing.root)
    first = {s.name for s in job.stations if s is root or abs(s.span_mm - root.span_mm) <= SAME_SPAN_MM}
    along = {p.name for p in job.places if p.arrow == "outboard"}
    lines: dict[str, list[str]] = {ROOT: [], PLUMB: [], SPANWISE: []}
    for line in job.lines:
        step = ROOT if line.at in first else SPANWISE if line.at in along else PLUMB
        lines[step].append(f"{line.at}/{line.name}")
    yield Step(ROOT, (*(f"{s.name}/chord" for s in job.stations if s.name in first), *lines[ROOT]))
    yield Step(PLUMB, (*(f"{s.name}/spar" for s in job.stations if s.spar_deg is not None), *lines[PLUMB]))
    yield Step(WASHOUT, tuple(f"{s.name}/chord" for s in job.stations if s.name not in first))
    by_hand = {*map(rise_name, ("left", "right")), *(t.name for t in job.typed)}
    yield Step(SPANWISE, (*lines[SPANWISE], *(n for n in names if n in by_hand)))
    if job.glue is not None and job.stage != "after glue":
        yield Step(LOCKED)


def _chained(steps: Iterable[Step]) -> Iterator[Step]:
    """The steps that check something, or are last, each hanging on the one before."""
    before: tuple[str, ...] = ()
    for s in steps:
        if s.checks or s.name == LOCKED:
            yield Step(s.name, s.checks, before)
            before = (s.name,)
