"""`ribangle calibrate level` and `plumb`: a level reference's zero by reversal; a cross-check of two."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import click

from rigging.cli.gathered import gathered


@dataclass(frozen=True)
class LevelOptions:
    """What the command is asked: its arguments and options."""

    name: str
    pairs: tuple[tuple[float, float], ...]
    own_sign: bool
    photos: tuple[tuple[Path, Path], ...]
    at: tuple[float, float] | None
    lens: Path | None
    resolution: float
    repeatability: float | None
    kind: str
    date: str | None
    out: Path | None


@click.command(
    epilog="Example: ribangle calibrate level shop-level --pair 0.15 -0.05 --pair 0.14 -0.04 "
    "--pair 0.16 -0.05 "
    "--resolution 0.01 --out level.json"
)
@click.argument("name")
@click.option(
    "--pair",
    "pairs",
    type=float,
    nargs=2,
    multiple=True,
    metavar="LAID TURNED",
    help="One reading as laid, one turned end for end on the same supports, degrees; repeat it.",
)
@click.option("--own-sign", is_flag=True, help="The readings are a gauge's own, whose sense turns round with it.")
@click.option(
    "--photos",
    "photos",
    type=click.Path(path_type=Path),
    nargs=2,
    multiple=True,
    metavar="LAID TURNED",
    help="Instead: photos from one tripod of the bar as laid and turned; repeat it.",
)
@click.option("--at", type=float, nargs=2, metavar="X Y", help="With photos: a pixel near the bar's edge.")
@click.option("--lens", type=click.Path(path_type=Path), help="With photos: the lens profile.")
@click.option("--resolution", type=float, default=0.0, show_default=True, metavar="DEG", help="Smallest step shown.")
@click.option("--repeatability", type=float, metavar="DEG", help="Standard deviation of one reading, for one pair.")
@click.option("--kind", default="level bar", show_default=True, help="What it is: level bar, laser, water level...")
@click.option("--date", help="Day of the reversal, as 2026-05-16 [default: today].")
@click.option("--out", type=click.Path(path_type=Path), help="Profile to write [default: NAME.json].")
@gathered(LevelOptions)
def level(asked: LevelOptions) -> None:
    """Find the zero error of the level reference NAME by turning it end for end on the same supports.

    Count all angles by the end that is up as seen from one place: left end up is positive. A plumb line has
    no zero error; check it against a laser with `ribangle calibrate plumb`.
    """
    out = asked.out
    import datetime
    import math

    from calibration.level.reversal import reversal, save_level
    from shared.errors import UserError
    from shared.rounding import number, places

    if bool(asked.pairs) == bool(asked.photos):
        raise UserError("--pair or --photos", "one of them gives the readings", "give --pair LAID TURNED, three times")
    try:
        day = (datetime.date.fromisoformat(asked.date) if asked.date else datetime.date.today()).isoformat()
    except ValueError:
        raise UserError(f"date {asked.date!r}", "is no day", "write it as 2026-05-16") from None
    readings, notes = (list(asked.pairs), []) if asked.pairs else _from_photos(asked.photos, asked.at, asked.lens)
    direct, turned = [p[0] for p in readings], [-p[1] if asked.own_sign else p[1] for p in readings]
    profile = reversal(
        direct,
        turned,
        ident=asked.name,
        date=day,
        kind=asked.kind,
        resolution_deg=asked.resolution,
        repeatability_deg=asked.repeatability,
    )
    out = out or Path(f"{asked.name}.json")
    save_level(out, profile)
    n = places(2 * profile.u_deg)
    click.echo(
        f"zero error {number(profile.zero_error_deg, n, sign=True)} deg, U "
        f"{number(2 * profile.u_deg, n)} deg (k = 2)"
        f", from {profile.method}"
    )
    if profile.repeatability_deg is not None and math.isfinite(profile.repeatability_deg):
        click.echo(f"one reading repeats to {profile.repeatability_deg:.3f} deg (standard deviation)")
    for note in (*profile.notes, *notes):
        click.echo(f"- {note}")
    click.echo(f'wrote {out}; in the job file:\n\n[level]\nprofile = "{out.as_posix()}"')


def _from_photos(
    photos: tuple[tuple[Path, Path], ...], at: tuple[float, float] | None, lens: Path | None
) -> tuple[list[tuple[float, float]], list[str]]:
    """Inclination of the bar's edge in each photo, degrees, left end up positive, against the tripod."""
    from calibration.lens.match import guess_lens, lens_for
    from calibration.lens.profiles import load_lens
    from calibration.level.photos import bar_pair
    from shared.errors import UserError
    from vision.image.photo import Picture, open_photo
    from vision.image.photo_file import PhotoError

    def load(path: Path) -> Picture:
        try:
            return open_photo(path)
        except PhotoError as error:
            raise UserError(str(path), error.reason, "give a photo") from None

    profile = load_lens(lens) if lens else None
    readings, notes = [], []
    for laid, turned in photos:
        a, b = load(laid), load(turned)
        size = (a.width, a.height)
        if size != (b.width, b.height):
            raise UserError(
                f"{laid} and {turned}",
                "differ in size",
                "take both from one tripod without touching the zoom",
            )
        match = lens_for(profile, a.exif, size) if profile else None
        if match is not None and match.lens is None:
            raise UserError(str(laid), match.reason or "does not fit the lens profile", "give the right profile")
        pair = bar_pair(a.gray, b.gray, (match.lens if match else None) or guess_lens(a.exif, size), at)
        readings.append((pair.laid_deg, pair.turned_deg))
        notes += [f"{laid.name}, {turned.name}: {n}" for n in pair.notes]
    return readings, notes


@click.command(
    epilog="Example: ribangle calibrate plumb --pair 1.52 1.49 --pair 0.41 0.39 --pair -0.30 "
    "-0.33 "
    "--u-plumb 0.02 --u-level 0.02"
)
@click.option(
    "--pair",
    "pairs",
    type=float,
    nargs=2,
    multiple=True,
    required=True,
    metavar="PLUMB LEVEL",
    help="Angle of one line read against the plumb line, then against the level line, degrees; repeat it.",
)
@click.option(
    "--u-plumb",
    type=float,
    default=0.02,
    show_default=True,
    metavar="DEG",
    help="Standard uncertainty of an angle read against the plumb line.",
)
@click.option(
    "--u-level",
    type=float,
    default=0.02,
    show_default=True,
    metavar="DEG",
    help="The same against the level line.",
)
@click.option(
    "--shared",
    type=float,
    default=0.01,
    show_default=True,
    metavar="DEG",
    help="Standard uncertainty that all readings of one reference share.",
)
def plumb(pairs: tuple[tuple[float, float], ...], u_plumb: float, u_level: float, shared: float) -> None:
    """Check a plumb line against a level laser line, by angles of the same lines read against both."""
    import math

    from calibration.level.check import cross_check
    from shared.errors import UserError
    from shared.quantity import Component, Quantity

    if min(u_plumb, u_level) <= shared or shared < 0:
        raise UserError(
            "--u-plumb and --u-level",
            "must exceed what all readings share",
            "give larger ones, or --shared 0",
        )

    def made(value: float, k: int, kind: str, u: float) -> Quantity:
        return Quantity(
            value,
            (
                Component("reference", kind, shared),
                Component("reading", f"{kind} {k}", math.sqrt(u * u - shared * shared)),
            ),
        )

    check = cross_check(
        [made(p[0], k, "plumb", u_plumb) for k, p in enumerate(pairs)],
        [made(p[1], k, "level", u_level) for k, p in enumerate(pairs)],
    )
    click.echo(check.text)
