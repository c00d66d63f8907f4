"""`ribangle live`: a camera on a tripod: the angle as it moves, and a watch through the cure."""

from __future__ import annotations

from pathlib import Path

import click


@click.command(
    short_help="Follow a rib as it is turned, or watch it cure.",
    epilog="Examples: ribangle live wing.toml R5 ~/tethered; ribangle live wing.toml R5 0 --cure",
)
@click.argument("job_file", metavar="JOB", type=click.Path(path_type=Path))
@click.argument("station")
@click.argument("source")
@click.option("--cure", is_flag=True, help="Watch through the cure: warn when anything has moved.")
@click.option(
    "--every",
    type=click.FloatRange(0.2, 3600),
    metavar="SECONDS",
    help="Time from photo to photo; with --cure also of those that arrive in a folder. [default: 2; with --cure 60]",
)
@click.option(
    "--hours",
    type=click.FloatRange(0.01, 200),
    default=12.0,
    show_default=True,
    metavar="H",
    help="With --cure: how long to watch.",
)
@click.option("--photos", type=click.IntRange(1, 1_000_000), metavar="N", help="End after N photos.")
@click.option(
    "--idle",
    type=click.FloatRange(0, 86400),
    metavar="SECONDS",
    help="End when a folder has brought nothing for so long. [default: never]",
)
def live(
    job_file: Path,
    station: str,
    source: str,
    cure: bool,
    every: float | None,
    hours: float,
    photos: int | None,
    idle: float | None,
) -> int:
    """Follow the rib at STATION with a camera that stands still, until Ctrl-C.

    SOURCE is a folder that photos arrive in (those that lie there already come first), or the number of a camera on
    this computer (0, 1, ...). The first photo is read in full. Each further one is measured against it: what the
    camera, the lens and the string are off by cancels, and the change since the first photo is known far better than
    the angle itself. Nothing but the rib may move; a camera that moved is reported, and the change counts from zero again.

    With --cure a warning is given, on the terminal, in the page and by the exit code, when the rib has moved by more
    than its uncertainty in two photos running. False alarms: at most in 1 run of 100. Photos that do not come, or show
    nothing, are a warning as well; the end says how much of the time was watched.

    Exit code: 0 nothing moved, 1 a warning was given (--cure), 2 bad input, 3 the first photo was never measured.
    """
    from shared.job.file import load_job

    job = load_job(job_file)  # a mistake in it is reported before anything heavy is loaded
    from rigging.live.loop import Asked, follow

    asked = Asked(station, source, cure, every or (60.0 if cure else 2.0), hours, photos, idle)
    return follow(job_file, job, asked)
