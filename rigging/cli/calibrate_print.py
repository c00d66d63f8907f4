"""`ribangle calibrate print`: how true a print is, from lengths measured on it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import click

from rigging.cli.gathered import gathered
from shared.cards import NAMES, CardKind


@dataclass(frozen=True)
class PrintOptions:
    """What the command is asked: its arguments and options."""

    across: tuple[float, ...]
    down: tuple[float, ...]
    card: str | None
    nominal: float
    diagonals: tuple[float, float] | None
    sides: tuple[float, float] | None
    tool: Literal["rule", "caliper"]
    name: str
    date: str | None
    out: Path | None


@click.command(
    name="print",
    epilog="Example: ribangle calibrate print --card panel --across 175.3 --down 124.8 --diagonals 215.0 214.9 "
    "--tool caliper",
)
@click.option("--across", type=float, multiple=True, metavar="MM", help="Length measured across the sheet; repeat it.")
@click.option("--down", type=float, multiple=True, metavar="MM", help="Length measured down the sheet; repeat it.")
@click.option(
    "--card",
    type=click.Choice(NAMES),
    help="Measured was the checkered board of such a card, from outer edge to outer edge, not the 100 mm bars.",
)
@click.option("--nominal", type=float, default=100.0, show_default=True, metavar="MM", help="Drawn length of the bars.")
@click.option(
    "--diagonals",
    type=float,
    nargs=2,
    metavar="MM MM",
    help="Diagonals of that board (or of a drawn rectangle): from the lower left, from the upper left.",
)
@click.option("--sides", type=float, nargs=2, metavar="MM MM", help="Drawn width and height of that rectangle.")
@click.option(
    "--tool",
    type=click.Choice(["rule", "caliper"]),
    default="rule",
    show_default=True,
    help="What it was measured with.",
)
@click.option("--name", default="print", show_default=True, help="What the profile is called.")
@click.option("--date", help="Day it was measured, as 2026-05-16 [default: today].")
@click.option("--out", type=click.Path(path_type=Path), help="Profile to write [default: NAME.json].")
@gathered(PrintOptions)
def scale(asked: PrintOptions) -> None:
    """Find scale, stretch and squareness of a print, and say what they do to angles and lengths.

    Measure the 100 mm bars of a page, or the board of a printed card, across and down the sheet; its two diagonals
    tell whether the corners are square. What is left out is covered by a wider U.
    """
    sides, out = asked.sides, asked.out
    import datetime

    from calibration.print.profile import save_print
    from calibration.print.scale import MeasuredSheet, print_profile
    from shared.errors import UserError

    try:
        day = (datetime.date.fromisoformat(asked.date) if asked.date else datetime.date.today()).isoformat()
    except ValueError:
        raise UserError(f"date {asked.date!r}", "is no day", "write it as 2026-05-16") from None
    drawn = (asked.nominal, asked.nominal)
    if asked.card is not None:
        from vision.cards.spec import SPECS

        drawn = sides = SPECS[CardKind.of(asked.card)].size_mm
    measured = MeasuredSheet(asked.across, asked.down, asked.diagonals or (), drawn, sides, asked.tool)
    result = measured.scale()
    for line in result.text:
        click.echo(f"- {line}")
    out = out or Path(f"{asked.name}.json")
    save_print(out, print_profile(measured, asked.name, day))
    click.echo(f'wrote {out}; in the job file:\n\n[cards]\nprofile = "{out.as_posix()}"')
