"""What a person says of the set-up, kept as a survey of its own: a step done, a typed check's reading."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from rigging.order.usual import steps_of_job
from rigging.record.chain import keep, record_folder
from rigging.record.history import said, unsaid
from rigging.record.materials import evaluated
from rigging.record.now import materials_now
from rigging.survey.model import Survey
from shared.errors import UserError
from shared.gauge.angle_cell import angle, plain_minus
from shared.job.file import load_job
from shared.job.mistakes import nearest
from shared.job.model import Job, Typed
from shared.job.order import rise_name
from shared.lengths import parse_length


def say(job_file: Path, name: str, value: str | None, *, undo: bool = False) -> tuple[Survey, str]:
    """Keep that a step is done, or what a typed check reads; undo takes it back. The survey kept, and the name in full.

    value : as typed, in the check's unit. Raises UserError for a name that is neither, a value that is none or missing.
    """
    job = load_job(job_file)
    thing = named(job, name)
    number = None if undo else value_of(job, thing, value)
    materials, readings = materials_now(job_file)
    asked = materials.asked
    asked = unsaid(asked, thing) if undo else said(asked, job, thing, number)
    materials = replace(materials, asked=asked)
    survey = evaluated(materials, readings, job_file.parent)
    note = f"{thing}: {'taken back' if undo else 'done' if number is None else f'reads {number:g}'}"
    keep(record_folder(job_file), materials, readings, survey, note)
    return survey, thing


def sayable(job: Job) -> Iterator[str]:
    """The names of which a person can say something: steps without checks, typed checks, the spars' rises in the job."""
    yield from (s.name for s in steps_of_job(job) if not s.checks)
    yield from (t.name for t in job.typed)
    if job.wing.dihedral_tolerance_deg is not None:
        yield from (rise_name(side) for side in ("left", "right"))


def named(job: Job, name: str) -> str:
    """The step or typed check that a person names, case aside. Raises UserError with the nearest, or why it cannot be said."""
    known = {n.casefold(): n for n in sayable(job)}
    found = known.get(name.strip().casefold())
    if found is not None:
        return found
    step = next((s for s in steps_of_job(job) if s.name.casefold() == name.strip().casefold()), None)
    if step is not None:
        raise UserError(
            f"step {step.name}",
            "is right when its checks are, not because somebody says so",
            f"it checks {', '.join(step.checks[:4])}{', ...' if len(step.checks) > 4 else ''}",
        )
    near = nearest(name, list(known.values()))
    listed = ", ".join(known.values()) or "none: add a [[typed]] or a [[step]] without checks to the job"
    raise UserError(
        f"{name}",
        "is no step without checks and no typed check",
        f"did you mean {near}?" if near else f"known: {listed}",
    )


def value_of(job: Job, thing: str, value: str | None) -> float | None:
    """The number typed for a check; None for a step, which takes none. Raises UserError."""
    typed = next((t for t in job.typed if t.name == thing), None)
    if typed is None:
        if value is not None:
            raise UserError(thing, "takes no value", "leave the value out")
        return None
    unit = "degrees" if typed.unit == "deg" else "mm"
    if value is None:
        raise UserError(thing, "needs what it reads", f"give it in {unit}, as {typed.design:g}")
    return in_reach(typed, _number(typed, value))


def in_reach(typed: Typed, number: float) -> float:
    """The number where such a check can read it. Raises UserError."""
    most = 180.0 if typed.unit == "deg" else 50_000.0
    if not (math.isfinite(number) and abs(number) <= most):
        raise UserError(typed.name, f"must read a number of at most {most:g}", "type it again")
    return number


def _number(typed: Typed, value: str) -> float:
    if typed.unit == "mm":
        text = plain_minus(value.strip())
        size = parse_length(text.lstrip("+-").strip(), typed.name)
        return -size if text.startswith("-") else size
    cell = angle(value)
    if cell is None:
        raise UserError(f"{typed.name} '{value}'", "is not an angle in degrees", "write it as 0.05 or -0.05")
    return cell.degrees
