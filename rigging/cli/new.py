"""`ribangle new`: write a commented starting job file."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rigging.cli.gathered import gathered

if TYPE_CHECKING:
    from shared.lengths import Units


@dataclass(frozen=True)
class NewOptions:
    """What the command is asked: its arguments and options."""

    file: Path
    name: str
    stations: int
    span: tuple[str, str]
    chord: tuple[str, str]
    units: Units
    angle: tuple[float, float]
    tolerance: float
    force: bool


@click.command(
    short_help="Write a commented starting job file.",
    epilog="Example: ribangle new wing.toml --stations 5 --chord 1400 900 --units mm",
)
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--name", default="My wing", show_default=True, help="What the wing is called in reports.")
@click.option("--stations", default=6, show_default=True, metavar="N", help="Stations on each wing, 1 to 15.")
@click.option(
    "--span",
    nargs=2,
    default=("400", "3900"),
    show_default=True,
    metavar="ROOT TIP",
    help='Distance of the first and last station from the centre line: mm, or as "15 3/4 in".',
)
@click.option(
    "--chord",
    nargs=2,
    default=("1200", "900"),
    show_default=True,
    metavar="ROOT TIP",
    help='Chord of the first and last station: mm, or as "47 1/4 in".',
)
@click.option(
    "--units",
    type=click.Choice(["mm", "in"]),
    default="mm",
    show_default=True,
    help="Unit that the job and its reports show lengths in.",
)
@click.option(
    "--angle",
    nargs=2,
    type=float,
    default=(2.0, 0.0),
    show_default=True,
    metavar="ROOT TIP",
    help="Design chord angle of the first and last station, degrees, nose-up positive.",
)
@click.option(
    "--tolerance",
    type=float,
    default=0.25,
    show_default=True,
    metavar="DEG",
    help="Allowed deviation of the chord angle either way, degrees.",
)
@click.option("--force", is_flag=True, help="Replace the file if it is there.")
@gathered(NewOptions)
def new(asked: NewOptions) -> None:
    """Write a commented starting job to FILE (as wing.toml), to be edited by hand."""
    from rigging.planning.new_job import DraftWing, starting_job
    from shared.errors import UserError
    from shared.files import write_whole
    from shared.job.file import parse_job
    from shared.lengths import parse_length

    if asked.file.suffix.lower() != ".toml":
        raise UserError(str(asked.file), "a job file's name ends in .toml", f"write {asked.file}.toml")
    if asked.file.exists() and not asked.force:
        raise UserError(str(asked.file), "is there already", "give another name, or --force to replace it")
    spans = parse_length(asked.span[0], "--span"), parse_length(asked.span[1], "--span")
    chords = parse_length(asked.chord[0], "--chord"), parse_length(asked.chord[1], "--chord")
    text = starting_job(DraftWing(asked.name, asked.stations, spans, chords, asked.angle, asked.tolerance, asked.units))
    parse_job(text, asked.file.name, asked.file.parent)  # whatever the options were, what is written loads
    if not asked.file.parent.is_dir():
        raise UserError(str(asked.file.parent), "there is no such folder", "make it first")
    write_whole(asked.file, text)
    click.echo(f"wrote {asked.file}: edit every number in it, then ribangle measure {asked.file} PHOTOS")
