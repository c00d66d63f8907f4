"""`ribangle calibrate print`: how true a print is, from lengths measured on it."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import click

from shared.cards import NAMES, CardKind


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
def scale(
    across: tuple[float, ...],
    down: tuple[float, ...],
    card: str | None,
    nominal: float,
    diagonals: tuple[float, float] | None,
    sides: tuple[float, float] | None,
    tool: Literal["rule", "caliper"],
    name: str,
    date: str | None,
    out: Path | None,
) -> None:
    """Find scale, stretch and squareness of a print, and say what they do to angles and lengths.

    Measure the 100 mm bars of a page, or the board of a printed card, across and down the sheet; its two diagonals
    tell whether the corners are square. What is left out is covered by a wider U.
    """
    import datetime

    from calibration.print.profile import save_print
    from calibration.print.scale import print_profile, print_scale
    from shared.errors import UserError

    try:
        day = (datetime.date.fromisoformat(date) if date else datetime.date.today()).isoformat()
    except ValueError:
        raise UserError(f"date {date!r}", "is no day", "write it as 2026-05-16") from None
    drawn = (nominal, nominal)
    if card is not None:
        from vision.cards.spec import SPECS

        drawn = sides = SPECS[CardKind(card)].size_mm
    result = print_scale(across, down, diagonals or (), nominal_mm=drawn, nominal_sides_mm=sides, tool=tool)
    for line in result.text:
        click.echo(f"- {line}")
    out = out or Path(f"{name}.json")
    save_print(out, print_profile(result, name, day, tool, across, down, diagonals or (), drawn, sides or ()))
    click.echo(f'wrote {out}; in the job file:\n\n[cards]\nprofile = "{out.as_posix()}"')
