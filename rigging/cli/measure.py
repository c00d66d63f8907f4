"""`ribangle measure`: photos in, angles out."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rigging.cli.gathered import gathered
from shared.lines import listed

if TYPE_CHECKING:
    from rigging.batch.find import Source
    from rigging.batch.run import BatchResult, Options
    from shared.job.model import Job


@dataclass(frozen=True)
class MeasureOptions:
    """What the command is asked: its arguments and options."""

    job_file: Path
    photos: tuple[Path, ...]
    out: Path | None
    jobs: int | None
    cluster: str | None
    again: bool
    no_overlays: bool
    details: bool
    follow_links: bool
    hints: tuple[str, ...]
    monte_carlo: int | None
    time_limit: float
    as_json: bool


@click.command(
    short_help="Read the rib angles from photos.", epilog="Example: ribangle measure wing.toml photos --out readings"
)
@click.argument("job_file", metavar="JOB", type=click.Path(path_type=Path))
@click.argument("photos", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Where the results go. [default: NAME-readings beside the job file NAME.toml]",
)
@click.option(
    "--jobs",
    type=click.IntRange(1, 1024),
    metavar="N",
    help="Processes that share the work. [default: one for each core]",
)
@click.option("--cluster", metavar="ADDRESS", help="Share the work on the Dask cluster of this scheduler instead.")
@click.option("--again", is_flag=True, help="Measure again what was measured before and has not changed.")
@click.option("--no-overlays", is_flag=True, help="Draw no annotated pictures.")
@click.option("--details", is_flag=True, help="Write into the pictures by which numbers cards and lines were weighed.")
@click.option("--follow-links", is_flag=True, help="Read photos through links that lead out of their folder.")
@click.option(
    "--hint",
    "hints",
    multiple=True,
    metavar='"PHOTO ROLE X,Y X,Y"',
    help=f"Point at a line ({listed()}) by two points in pixels. Repeatable; also from a file "
    "PHOTO.hints beside the photo.",
)
@click.option(
    "--monte-carlo",
    type=click.IntRange(100, 100_000),
    metavar="N",
    default=None,
    help="Hold each U against N draws (JCGM 101).",
)
@click.option(
    "--time-limit",
    type=click.FloatRange(1.0),
    metavar="SECONDS",
    default=300.0,
    show_default=True,
    help="Give a photo up that takes longer, and go on.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the readings as JSON, and nothing else.")
@gathered(MeasureOptions)
def measure(asked: MeasureOptions) -> int:
    """Read the rib angles from PHOTOS (files, or folders of them) of the wing that JOB describes.

    Writes readings.csv, readings.json and an annotated picture of every photo. Photos that were measured
    before and have not changed are taken over. Stopped halfway, the same command goes on where it was.

    Exit code: 0 all photos measured, 1 some not, 2 bad input, 3 none measured.
    """
    from shared.job.file import load_job

    job = load_job(asked.job_file)  # a mistake in it is reported before anything heavy is loaded

    from rigging.batch.find import find_photos
    from rigging.batch.hints_file import check_names, parse_given
    from rigging.batch.run import Options
    from rigging.batch.worker import DETAILED, DRAWER

    sources = find_photos(asked.photos, follow_links=asked.follow_links)
    given = parse_given(asked.hints)
    check_names(given, [source.name for source in sources])
    folder = asked.out or asked.job_file.parent / f"{asked.job_file.stem}-readings"
    options = Options(
        workers=asked.jobs,
        cluster=asked.cluster,
        again=asked.again,
        overlays=not asked.no_overlays,
        drawer=DETAILED if asked.details else DRAWER,
        hints=given,
        monte_carlo=asked.monte_carlo or 0,
        seconds=asked.time_limit,
    )
    result = run(job, sources, folder, options, quiet=asked.as_json)
    if asked.as_json:
        print_json(result)
    else:
        show(job, result)
    for line in gauge_seen(job, sources, result):
        click.echo(line, err=asked.as_json)
    return result.exit_code


def run(job: Job, sources: list[Source], folder: Path, options: Options, *, quiet: bool) -> BatchResult:
    """Measure with a progress bar on stderr, where that is a terminal."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    from rigging.batch.run import measure_batch

    console = Console(stderr=True)
    columns = (TextColumn("measuring"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console, transient=True, disable=quiet or not console.is_terminal) as bar:
        task = bar.add_task("", total=len(sources))
        return measure_batch(
            job, sources, folder, options, lambda done, total: bar.update(task, completed=done, total=total)
        )


def show(job: Job, result: BatchResult) -> None:
    """The table, what was written where, and the caution."""
    from rigging.batch.readings_file import CAUTION, iter_trees
    from rigging.batch.table import readings_table
    from rigging.cli.show import console
    from rigging.survey.limits import limit_words
    from shared.reading import Advice

    limit = limit_words(
        (tree["chord"]["budget"], [Advice(a["text"], a["u_now"], a["u_then"]) for a in tree["advice"]])
        for tree in iter_trees(result.json)
    )
    if limit:
        click.echo(f"{limit}\n")
    console().print(readings_table(job, iter_trees(result.json), gauge_shown(job)))
    total = result.photos
    known = f", {result.known} of them known from before" if result.known else ""
    click.echo(f"{result.measured} of {total} photos measured{known}.")
    for path in result.lenses:
        click.echo(
            f"No lens profile: the lens was solved from the station cards and kept as {path.name} (U is larger)."
        )
    click.echo(f"Written: {result.csv}, {result.json.name}, overlays/ (an annotated picture of each photo).")
    click.echo(CAUTION)


def gauge_shown(job: Job) -> dict[tuple[str, str], float]:
    """What the inclinometer showed, by station and line; rows and files that cannot be used are reported."""
    from rigging.survey.gauge_rows import of_job

    read, trouble = of_job(job)
    for text in trouble:
        click.echo(f"ribangle: {job.gauge.readings}: {text}", err=True)
    return {} if read is None else {(reading.station, reading.line): reading.shown_deg for reading in read.readings}


def gauge_seen(job: Job, sources: list[Source], result: BatchResult) -> list[str]:
    """The inclinometer's displays in the photos read and written down, where its tag was taught; what was done."""
    from rigging.crosscheck.gauge_photos import display_in, taught_display, write_down

    taught = taught_display(job)
    if taught is None:
        return []
    from rigging.batch.readings_file import iter_trees

    stations = {tree["photo"]["sha256"]: tree["station"] for tree in iter_trees(result.json) if tree["foremost"]}
    found = (display_in(source.path, source.name, stations, taught) for source in sources)
    return write_down(job, [seen for seen in found if seen is not None])


def print_json(result: BatchResult) -> None:
    """The readings file on stdout, byte for byte."""
    import shutil

    with result.json.open("rb") as stream:
        shutil.copyfileobj(stream, sys.stdout.buffer)
    sys.stdout.buffer.flush()
