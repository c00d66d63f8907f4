"""`ribangle calibrate print`: the scale of a print, from bars measured on it."""

from __future__ import annotations

from pathlib import Path

import click


@click.command(
    name="print", epilog="Example: ribangle calibrate print --across 99.7 --down 99.9 --tool caliper"
)
@click.option(
    "--across", type=float, multiple=True, metavar="MM", help="Length of the bar across the sheet; repeat it."
)
@click.option(
    "--down", type=float, multiple=True, metavar="MM", help="Length of the bar down the sheet; repeat it."
)
@click.option(
    "--nominal", type=float, default=100.0, show_default=True, metavar="MM", help="Drawn length of the bar."
)
@click.option(
    "--diagonals",
    type=float,
    nargs=2,
    metavar="MM MM",
    help="Diagonals of a drawn rectangle, from the lower left, from the upper left.",
)
@click.option(
    "--sides", type=float, nargs=2, metavar="MM MM", help="Drawn width and height of that rectangle."
)
@click.option(
    "--tool",
    type=click.Choice(["rule", "caliper"]),
    default="rule",
    show_default=True,
    help="What it was measured with.",
)
@click.option("--out", type=click.Path(path_type=Path), help="Also write the lines for the job file here.")
def scale(
    across: tuple[float, ...],
    down: tuple[float, ...],
    nominal: float,
    diagonals: tuple[float, float] | None,
    sides: tuple[float, float] | None,
    tool: str,
    out: Path | None,
) -> None:
    """Find the scale of a print from the 100 mm bars on it, and say what it does to angles and lengths."""
    from calibration.print_scale import print_scale
    from shared.files import write_whole

    result = print_scale(
        across,
        down,
        diagonals or (),
        nominal_mm=nominal,
        nominal_sides_mm=sides,
        tool="caliper" if tool == "caliper" else "rule",
    )
    for line in result.text:
        click.echo(f"- {line}")
    click.echo(f"\nfor the job file:\n\n{result.toml}")
    if out is not None:
        write_whole(out, result.toml)
        click.echo(f"wrote {out}")
