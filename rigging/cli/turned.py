"""`ribangle turned`: a rib was turned, here is its new photo; what is left to turn."""

from __future__ import annotations

from pathlib import Path

import click


@click.command(
    short_help="A rib was turned: judge its new photo with the rest.",
    epilog="Example: ribangle turned wing.toml photos/R5-again.jpg",
)
@click.argument("job_file", metavar="JOB", type=click.Path(path_type=Path))
@click.argument("photos", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Where the readings are. [default: NAME-readings beside NAME.toml]",
)
@click.option("--jobs", type=click.IntRange(1, 1024), metavar="N", help="Processes that share the work.")
def turned(job_file: Path, photos: tuple[Path, ...], out: Path | None, jobs: int | None) -> int:
    """Read the new PHOTOS of what was just turned, and say what is left to turn on the wing that JOB describes.

    Goes on from the last survey: photos taken before the turn are set aside (of the whole panel, where its jig was
    turned), the others still count. A rib photographed for the first time, or again because what it hangs on was turned,
    is not taken for turned. Keeps a survey, draws no report.

    Exit code: 0 measured, 1 not, 2 bad input.
    """
    from shared.job.file import load_job

    load_job(job_file)  # a mistake in it is reported before anything heavy is loaded

    from rigging.batch.pool import warm_up

    warm_up()  # there is a photo to read in any case

    from rigging.batch.find import find_photos
    from rigging.batch.run import Options
    from rigging.survey.turned import take_turned, told

    folder = out or job_file.parent / f"{job_file.stem}-readings"
    result = take_turned(job_file, find_photos(photos), folder, Options(workers=jobs))
    for line in told(result):
        click.echo(line)
    survey = result.taken.survey
    seen = {s.station.name for s in survey.stations if s.chord.quantity is not None}
    seen |= {r.line.at for r in survey.lines if r.quantity is not None}
    return 0 if set(result.stations) <= seen else 1
