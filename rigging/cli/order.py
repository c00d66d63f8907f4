"""`ribangle order` and `done`: the set-up step by step, and what a person says of it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from rigging.survey.model import Survey

_JOB = click.argument("job_file", metavar="JOB", type=click.Path(path_type=Path))


@click.command(
    short_help="Show how far the set-up has come, and what is next.",
    epilog="Example: ribangle order wing.toml",
)
@_JOB
@click.option("--checks", is_flag=True, help="Every check of every step.")
def order(job_file: Path, checks: bool) -> int:
    """List the steps of the set-up that JOB describes: to do, right, wrong, or open again since something was turned.

    A step hangs on others: root, then fittings, then washout, as [[step]] in the job says; a usual order where it says
    nothing. Exit code: 0 every step is right, 1 not yet, 2 bad input.
    """
    from rigging.cli.show import console, say_first
    from rigging.record.chain import numbers, record_folder, standing_of
    from rigging.record.now import as_of_now
    from rigging.survey.table import order_view

    if numbers(record_folder(job_file)):
        say_first(standing_of(record_folder(job_file)))
    survey = as_of_now(job_file)
    console().print(order_view(survey.setup, checks))
    return int(any(s.state != "right" for s in survey.setup.steps))


@click.command(
    short_help="Say that a step is done, or what a level shows.",
    epilog='Examples: ribangle done wing.toml "locked and clamped"; ribangle done wing.toml "level on the root" -0.05',
    context_settings={"ignore_unknown_options": True},
)
@_JOB
@click.argument("name")
@click.argument("value", required=False)
@click.option("--not", "undo", is_flag=True, help="Take it back: it is not done, or not read.")
def done(job_file: Path, name: str, value: str | None, undo: bool) -> int:
    """Note that step NAME of JOB is done, or that the typed check NAME reads VALUE (degrees or mm, as the job has it).

    A survey is kept with what is known of the photos so far. A reading that differs from the one before says that
    something was turned: what hangs on it is open again. Exit code: 0 it is right, 1 not, 2 bad input.
    """
    from rigging.record.saying import say

    survey, thing = say(job_file, name, value, undo=undo)
    return _answer(survey, thing)


def _answer(survey: Survey, thing: str) -> int:
    from rigging.order.words import step_line

    mine = [s for s in survey.setup.steps if thing == s.step.name or thing in s.step.checks]
    for s in mine:
        told = next((f"{c.name}: {c.state}: {c.why}" for c in s.checks if c.name == thing), step_line(s))
        click.echo(told)
    if survey.setup.words:
        click.echo(survey.setup.words)
    states = [c.state for s in mine for c in s.checks if c.name == thing] or [s.state for s in mine]
    return int(any(state != "right" for state in states))
