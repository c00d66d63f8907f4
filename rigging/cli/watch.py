"""`ribangle watch`: photos that arrive in a folder, read as they come."""

from __future__ import annotations

from pathlib import Path

import click


@click.command(
    short_help="Read photos as they arrive in a folder.", epilog="Example: ribangle watch wing.toml ~/from-the-phone"
)
@click.argument("job_file", metavar="JOB", type=click.Path(path_type=Path))
@click.argument("folder", type=click.Path(path_type=Path))
def watch(job_file: Path, folder: Path) -> int:
    """Read every photo that lies in FOLDER or arrives there, until Ctrl-C.

    They go into NAME-shop beside NAME.toml with those of `ribangle serve`, which may run at the same time.
    The photos in FOLDER are copied, never changed.
    """
    from shared.job.file import load_job

    load_job(job_file)  # a mistake in it is reported before anything heavy is loaded

    from rigging.page.desk import Desk
    from rigging.page.watch import watch as run

    desk = Desk(job_file)
    try:
        click.echo(f"Watching {folder}; readings go to {desk.bench.folder}. Stop with Ctrl-C.")
        run(desk, folder, click.echo)
    finally:
        desk.close()
    return 0
