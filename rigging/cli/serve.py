"""`ribangle serve`: the page for a phone at the bench."""

from __future__ import annotations

from pathlib import Path

import click


@click.command(short_help="Serve the page for a phone at the bench.", epilog="Example: ribangle serve wing.toml --lan")
@click.argument("job_file", metavar="JOB", type=click.Path(path_type=Path))
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=8765,
    show_default=True,
    metavar="N",
    help="Port to listen on; 0 takes a free one.",
)
@click.option("--lan", is_flag=True, help="Let phones on the local network in, each with a code that works once.")
@click.option("--address", metavar="IP", help="With --lan: which of this computer's addresses.")
def serve(job_file: Path, port: int, lan: bool, address: str | None) -> int:
    """Serve a page on which a station is photographed and answered: angle, verdict, what to turn, time left.

    Listens on this computer alone unless --lan is given. Photos, readings and notes are kept in NAME-shop
    beside NAME.toml; stopped and started again, the page shows the same.
    """
    from shared.errors import UserError
    from shared.job.file import load_job

    load_job(job_file)  # a mistake in it is reported before anything heavy is loaded
    if address is not None and not lan:
        raise UserError("--address", "goes with --lan only", "add --lan, or leave --address out")
    try:
        from rigging.page.serve import Where
        from rigging.page.serve import serve as run
    except ImportError as error:
        if error.name not in ("starlette", "uvicorn"):
            raise
        raise UserError("ribangle serve", f"needs the package {error.name}", "pip install 'ribangle[page]'") from None
    try:
        run(job_file, Where(port, lan, address), click.echo)
    except ImportError as error:
        if error.name not in ("segno", "uvicorn"):
            raise
        raise UserError("ribangle serve", f"needs the package {error.name}", "pip install 'ribangle[page]'") from None
    return 0
