"""`ribangle demo`: the main job on the bundled sample wing."""

from __future__ import annotations

from pathlib import Path

import click


@click.command(
    short_help="Measure the bundled sample wing and say where to look.", epilog="Example: ribangle demo --files trainer"
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("ribangle-demo"),
    show_default=True,
    metavar="FOLDER",
    help="Where the results go.",
)
@click.option(
    "--jobs",
    type=click.IntRange(1, 1024),
    metavar="N",
    help="Processes that share the work. [default: one for each core]",
)
@click.option("--again", is_flag=True, help="Measure again what was measured before.")
@click.option(
    "--files",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help=(
        "Measure nothing: put the sample wing's job, photos, board photos and inclinometer readings into FOLDER, "
        "to try every command on."
    ),
)
def demo(out: Path, jobs: int | None, again: bool, files: Path | None) -> int:
    """Read the rib angles of an invented wooden trainer from its sample photos, into ./ribangle-demo."""
    if files is not None:
        _copy(files)
        return 0
    from rigging.batch.find import find_photos
    from rigging.batch.run import Options
    from rigging.cli.measure import run, show
    from samples import TRAINER
    from shared.job.file import load_job

    job_file = TRAINER / "trainer.toml"
    job = load_job(job_file)
    result = run(job, find_photos([TRAINER / "photos"]), out, Options(workers=jobs, again=again), quiet=False)
    show(job, result)
    click.echo()
    click.echo(f"The wing is invented; faults were built into it and into its gauge readings. Look at {out}:")
    click.echo("  overlays/      what was seen in each photo, and the angle that follows from it")
    click.echo("  readings.csv   the angles with their uncertainties, for a spreadsheet")
    click.echo("  readings.json  the same with every component of every uncertainty")
    click.echo(f"The job file is {job_file}; start your own with: ribangle new wing.toml")
    return result.exit_code


def _copy(folder: Path) -> None:
    """The sample's files, to be changed at will; nothing there is overwritten."""
    import shutil

    from samples import TRAINER
    from shared.errors import UserError

    if folder.exists():
        raise UserError(str(folder), "is there already", "give the name of a new folder")
    if not folder.resolve().parent.is_dir():
        raise UserError(str(folder.parent), "there is no such folder", "make it first")
    shutil.copytree(TRAINER, folder, ignore=shutil.ignore_patterns("truth.json", "lens", "__pycache__"))
    click.echo(f"{folder}: trainer.toml, photos, boards (for the lens), gauge.csv. The wing is invented.")
