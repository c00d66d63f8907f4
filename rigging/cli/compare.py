"""`ribangle compare`: what moved between two surveys, or from right to left."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from rigging.record.compare import Comparison


@click.command(
    short_help="What moved between two surveys.",
    epilog="Example: ribangle compare wing.toml 1 2 --picture moved.png",
    context_settings={"ignore_unknown_options": True},
)
@click.argument("job_file", metavar="JOB", type=click.Path(path_type=Path))
@click.argument("a", metavar="A")
@click.argument("b", metavar="[B]", required=False)
@click.option("--mirrored", is_flag=True, help="Compare left with right within survey A.")
@click.option(
    "--picture", type=click.Path(path_type=Path), metavar="FILE", help="Draw the changes: .svg, .pdf or .png."
)
def compare(job_file: Path, a: str, b: str | None, mirrored: bool, picture: Path | None) -> int:
    """Compare surveys A and B of JOB (numbers, or last): before glue and after cure, last month and today.

    A change counts when it exceeds its uncertainty; what both surveys share cancels.
    Exit code: 0 nothing moved, 1 something did.
    """
    from rigging.cli.pictures import check_picture
    from rigging.cli.show import console, say_first
    from rigging.record import compare as work
    from rigging.record.chain import find_record
    from rigging.survey.table import comparison_table
    from shared.cautions import CAUTIONS
    from shared.errors import UserError

    if mirrored == (b is not None):
        raise UserError("compare", "takes two surveys, or one with --mirrored", "see ribangle log JOB")
    if picture is not None:
        check_picture(picture)
    first = find_record(job_file, a)
    say_first(first.standing)
    if mirrored:
        result, names = work.mirror(first.survey()), {"a": "right", "b": "left"}
    else:
        second = find_record(job_file, b)
        result = work.compare(first.survey(), second.survey())
        names = {"a": f"survey {first.number}", "b": f"survey {second.number}"}
    if not result.changes and not result.left_out:
        raise UserError("compare", "no station has a value on both sides", "see ribangle show JOB N")
    if picture is not None:
        _draw(result, picture, f"{names['a']} to {names['b']}")
    if result.changes:
        console().print(comparison_table(result, names))
    for finding in result.findings:
        click.echo(finding)
    for station, why in result.left_out:
        click.echo(f"{station} not compared: {why}")
    for station, doubt in dict.fromkeys((c.station, c.doubt) for c in result.changes if c.doubt):
        click.echo(f"{station} doubtful: {doubt}")
    if result.missing:
        lacking = dict.fromkeys(name for name, line in result.missing if line == "chord")
        click.echo(f"Without a value on one side: {', '.join(lacking)}" if lacking else "", nl=bool(lacking))
    click.echo(CAUTIONS[0])
    return 1 if any(c.moved for c in result.changes) else 0


def _draw(result: Comparison, path: Path, title: str) -> None:
    from rigging.cli.pictures import write_picture
    from rigging.plots.drift import LineShift, drift_plot

    plot = drift_plot(
        [LineShift(c.station, c.line, c.change) for c in result.changes if c.line != "built-in"], f"What moved: {title}"
    )
    if plot is not None:
        write_picture(plot, path)
