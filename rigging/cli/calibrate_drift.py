"""`ribangle calibrate drift`: a batch's cards against the lens profile it was measured with."""

from __future__ import annotations

from pathlib import Path

import click


@click.command(epilog="Example: ribangle calibrate drift out/readings.json --lens lens/shopcam.json")
@click.argument("readings", type=click.Path(path_type=Path))
@click.option(
    "--lens",
    type=click.Path(path_type=Path),
    required=True,
    help="The lens profile the batch was measured with.",
)
@click.option(
    "--earlier",
    type=click.Path(path_type=Path),
    multiple=True,
    help="readings.json of a former batch; repeat it.",
)
@click.pass_context
def drift(ctx: click.Context, readings: Path, lens: Path, earlier: tuple[Path, ...]) -> None:
    """Check whether the lens and the printed cards still are as they were calibrated, from READINGS
    (readings.json).

    Exit code 1 when something is in doubt.
    """
    import math

    from calibration.drift import check_batch
    from calibration.lens.profiles import load_lens
    from rigging.batch.readings_file import load_readings
    from vision.cards.spec import SPECS

    profile = load_lens(lens)
    before = [r for place in earlier for r in load_readings(place)]
    found = check_batch(load_readings(readings), profile, SPECS, before)
    click.echo(f"{found.cards} cards, residual {found.rms_px:.3f} px (median); lens profile of {profile.date}")
    if math.isfinite(found.focal):
        click.echo(f"focal length {100 * (found.focal - 1):+.2f} % from the profile's (U {200 * found.u_focal:.2f} %)")
    if math.isfinite(found.stretch):
        click.echo(
            f"cards stretched {100 * found.stretch:+.3f} % (U {200 * found.u_stretch:.3f} %), off "
            f"square "
            f"{found.skew_deg:+.3f} deg (U {2 * found.u_skew_deg:.3f} deg)"
        )
    for flag in found.flags:
        click.echo(f"- {flag.text}")
    if found.flags:
        ctx.exit(1)
    click.echo("nothing in doubt")
