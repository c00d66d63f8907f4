"""`ribangle survey`: photos in, the wing's verdict out, kept in the job's record."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rigging.cli.gathered import gathered

if TYPE_CHECKING:
    from rigging.batch.find import Source
    from rigging.batch.run import Options
    from rigging.survey.run import Taken, Wanted


@dataclass(frozen=True)
class SurveyOptions:
    """What the command is asked: its arguments and options."""

    job_file: Path
    photos: tuple[Path, ...]
    out: Path | None
    root: str | None
    stage: str | None
    set_aside: tuple[str, ...]
    note: str
    jobs: int | None
    again: bool
    no_report: bool
    as_json: bool


@click.command(
    short_help="Judge the wing from photos, and keep the survey.",
    epilog="Example: ribangle survey wing.toml photos --stage before-glue --note 'outer bay, dry'",
)
@click.argument("job_file", metavar="JOB", type=click.Path(path_type=Path))
@click.argument("photos", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Where the readings go. [default: NAME-readings beside NAME.toml]",
)
@click.option(
    "--root",
    type=click.Choice(["kept", "taken-out"]),
    help="Judge angles as they stand, or with the root's deviation taken out. [default: the job's]",
)
@click.option("--stage", type=click.Choice(["before-glue", "after-glue"]), help="Where the work stands.")
@click.option(
    "--set-aside",
    multiple=True,
    metavar="PHOTO=REASON",
    help="Leave a photo out, for a reason that is kept. May be given several times.",
)
@click.option("--note", default="", help="A note to keep with the survey.")
@click.option("--jobs", type=click.IntRange(1, 1024), metavar="N", help="Processes that share the work.")
@click.option("--again", is_flag=True, help="Measure photos again that have not changed.")
@click.option("--no-report", is_flag=True, help="Write no report.")
@click.option("--json", "as_json", is_flag=True, help="Print the kept survey as JSON, and nothing else.")
@gathered(SurveyOptions)
def survey(asked: SurveyOptions) -> int:
    """Read PHOTOS (files, or folders of them), judge the wing that JOB describes, and keep the survey.

    Tells whether the wing is right, what is the rib and what is the jig, what to turn and by how much, and
    what the inclinometer makes of it. The survey goes into NAME-surveys beside NAME.toml; nothing there is
    ever overwritten.

    Exit code: 0 all photos measured, 1 some not, 2 bad input, 3 none measured.
    """
    from shared.job.file import load_job

    load_job(asked.job_file)  # a mistake in it is reported before anything heavy is loaded

    from rigging.batch.find import find_photos
    from rigging.batch.run import Options

    sources = find_photos(asked.photos)
    folder = asked.out or asked.job_file.parent / f"{asked.job_file.stem}-readings"
    wanted = _wanted(asked.root, asked.stage, asked.set_aside, asked.note)
    taken = _take(
        asked.job_file, sources, folder, wanted, Options(workers=asked.jobs, again=asked.again), quiet=asked.as_json
    )
    if asked.as_json:
        click.echo(taken.record.read_text("utf-8"), nl=False)
        return taken.batch.exit_code
    show_taken(taken)
    if not asked.no_report:
        _report(asked.job_file, taken)
    return taken.batch.exit_code


def _wanted(root: str | None, stage: str | None, set_aside: tuple[str, ...], note: str) -> Wanted:
    from rigging.survey.run import Wanted
    from shared.errors import UserError

    reasons = {}
    for entry in set_aside:
        photo, mark, reason = entry.partition("=")
        if not (photo and mark and reason.strip()):
            raise UserError(
                f"--set-aside {entry}", "needs a photo and a reason", 'write --set-aside "R3.jpg=the clamp slipped"'
            )
        reasons[photo] = reason.strip()
    return Wanted(
        "taken out" if root == "taken-out" else "kept" if root else None,
        None if stage is None else "before glue" if stage == "before-glue" else "after glue",
        reasons,
        note,
    )


def _take(
    job_file: Path, sources: list[Source], folder: Path, wanted: Wanted, options: Options, *, quiet: bool
) -> Taken:
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    from rigging.survey.run import take_survey

    console = Console(stderr=True)
    columns = (TextColumn("measuring"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console, transient=True, disable=quiet or not console.is_terminal) as bar:
        task = bar.add_task("", total=len(sources))
        return take_survey(
            job_file,
            sources,
            folder,
            wanted,
            options,
            lambda done, total: bar.update(task, completed=done, total=total),
        )


def _report(job_file: Path, taken: Taken) -> None:
    """The report beside the job, whole or not at all; it is drawn after the verdict stands on the screen."""
    import sys

    from rigging.report import write_report

    sys.stdout.flush()
    click.echo("ribangle: drawing the report; the verdict above stands without it", err=True)
    folder = job_file.parent / f"{job_file.stem}-report"
    written = write_report(taken.survey, folder, taken.overlays, "a4")
    click.echo(f"Written: {', '.join(str(p) for p in written)}")


def show_taken(taken: Taken) -> None:
    """The survey on the terminal, and where it is kept."""
    from rigging.cli.show import console
    from rigging.survey.table import survey_view
    from shared.cautions import CAUTIONS

    console().print(survey_view(taken.survey))
    click.echo()
    click.echo(f"{taken.batch.measured} of {taken.batch.photos} photos measured.")
    click.echo(f"Kept: {taken.record}")
    click.echo(CAUTIONS[0])
    click.echo(CAUTIONS[1])
