"""`ribangle calibrate gauge`: reversal pairs and known angles in, the inclinometer's profile out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from calibration.gauge.fit import GaugeFit
    from shared.gauge.readings import Oddity


@click.command(
    short_help="An inclinometer's zero, scale and hysteresis, from a CSV.",
    epilog="Example: ribangle calibrate gauge reversal.csv --name shop-gauge --out gauge.json",
)
@click.argument("csv", type=click.Path(path_type=Path))
@click.option("--resolution", type=click.FloatRange(0, min_open=True), default=0.1, show_default=True,
              metavar="DEG", help="Step of the display.")  # fmt: skip
@click.option("--sense", type=click.Choice(["nose-up", "unsigned", "0-90", "0-180"]), default="nose-up",
              show_default=True, help="How the gauge counts.")  # fmt: skip
@click.option("--name", default="gauge", show_default=True, help="Names the gauge.")
@click.option("--date", metavar="ISO", help="Day or time of calibration [default: the log's last time, or now].")
@click.option("--valid-days", type=click.FloatRange(0, min_open=True), default=90.0, show_default=True,
              help="How long the calibration is to be trusted.")  # fmt: skip
@click.option("--out", type=click.Path(path_type=Path), help="Profile to write [default: NAME.json].")
@click.option("--picture", type=click.Path(path_type=Path), help="Picture to write [default: beside it].")
def gauge(csv: Path, resolution: float, sense: str, name: str, date: str | None, valid_days: float,
          out: Path | None, picture: Path | None) -> None:  # fmt: skip
    """Calibrate an inclinometer from CSV.

    Columns: spot, reading, turned (read again end for end on the same spot); where you have them, known and
    u_known (degrees), or bar and blocks of a sine bar; approach (up or down), time. Ten reversals on two or
    three spots take five minutes and are worth more than the maker's word.
    """
    from calibration.gauge.file import save_gauge
    from calibration.gauge.fit import fit_gauge
    from calibration.gauge.log import load_log
    from calibration.gauge.plot import gauge_png
    from rigging.cli.calibrate import make_folder
    from shared.files import write_whole

    out = out or Path(f"{name}.json")
    picture = picture or out.with_suffix(".png")
    for place in (out, picture):
        make_folder(place)
    log = load_log(csv)
    fit = fit_gauge(log, resolution, name, _when(date, log.last), sense, valid_days)  # type: ignore[arg-type]
    save_gauge(out, fit.profile)
    write_whole(picture, gauge_png(fit))
    _tell(fit, log.oddities)
    click.echo(f'\nwrote {out} and {picture}; put profile = "{out.name}" under [gauge] in the job')


def _when(date: str | None, last: str | None) -> str:
    from datetime import datetime

    from shared.errors import UserError

    try:
        when = datetime.fromisoformat(date or last) if date or last else datetime.now()  # type: ignore[arg-type]
    except ValueError:
        raise UserError(f"--date {date}", "must be ISO 8601", "write 2025-04-03 or 2025-04-03T10:00") from None
    return when.replace(tzinfo=None).isoformat(timespec="seconds")


def _tell(fit: GaugeFit, oddities: tuple[Oddity, ...]) -> None:
    from rich.console import Console
    from rich.table import Table

    p = fit.profile
    table = Table(title=f"{p.ident}, {p.made[:10]} ({p.method})", title_justify="left")
    for head in ("", "value", "U (k = 2)", ""):
        table.add_column(head, justify="right" if head in ("value", "U (k = 2)") else "left")
    table.add_row("zero error, deg", f"{p.zero_deg:+.3f}", f"{2 * p.u_zero_deg:.3f}", "")
    said = "" if "scale" in p.measured else "not measured"
    table.add_row("scale error, deg in 90", f"{90 * p.scale:+.2f}", f"{180 * p.u_scale:.2f}", said)
    if "hysteresis" in p.measured:
        u = p.covariance[2][2] ** 0.5
        table.add_row("hysteresis, deg", f"{p.hysteresis_deg:+.3f}", f"{2 * u:.3f}", "")
    else:
        table.add_row("hysteresis, deg", "", "", "not measured")
    table.add_row("repeatability, deg", f"{p.repeatability_deg:.3f}", "", "")
    table.add_row("resolution, deg", f"{p.resolution_deg:g}", "", "")
    table.add_row("residuals rms, deg", f"{p.rms_deg:.3f}", "", f"one reading: 2u = {2 * fit.u_reading:.2f}")
    console = Console()
    console.print(table)
    for o in oddities:
        console.print(f"row {o.row}: {o.text}", markup=False, highlight=False)
    for f in fit.flags:
        console.print(f"! {f.text}", markup=False, highlight=False)
