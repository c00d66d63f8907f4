"""`ribangle calibrate import` and `export`: lens profiles from and for other tools."""

from __future__ import annotations

from pathlib import Path

import click


@click.command(name="import", epilog="Example: ribangle calibrate import camera.yaml --photo IMG_0001.jpg")
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--photo",
    type=click.Path(path_type=Path),
    help="A photo by that camera at that setting: its EXIF ties the profile to it.",
)
@click.option("--date", help="Day of that calibration, as 2026-05-16 [default: what the file says].")
@click.option("--out", type=click.Path(path_type=Path), help="Profile to write [default: lens/CAMERA.json].")
def bring(file: Path, photo: Path | None, date: str | None, out: Path | None) -> None:
    """Make a lens profile from FILE, an OpenCV calibration YAML or ROS camera_info YAML.

    The profile keeps the day of the calibration. A file that does not say it needs --date: a lens is not as
    young as the day it was imported.
    """
    import datetime

    from calibration.lens.exchange import profile_of, read_foreign
    from calibration.lens.profiles import check_lens, save_lens
    from rigging.cli.calibrate import make_folder
    from shared.errors import UserError
    from vision.image.photo import open_photo
    from vision.image.photo_file import PhotoError

    foreign = read_foreign(file)
    try:
        day = datetime.date.fromisoformat(date) if date else foreign.made
    except ValueError:
        raise UserError(f"date {date!r}", "is no day", "write it as 2026-05-16") from None
    if day is None:
        raise UserError(str(file), "does not say when the lens was calibrated", "give --date 2026-05-16, that day")
    if day > datetime.date.today():
        raise UserError(f"date {day}", "is still to come", "give the day of the calibration")
    exif = None
    if photo is not None:
        try:
            picture = open_photo(photo)
        except PhotoError as error:
            raise UserError(str(photo), error.reason, "give a photo by that camera") from None
        exif = picture.exif
        if sorted((picture.width, picture.height)) != sorted(foreign.size):
            raise UserError(
                str(photo),
                f"has {picture.width} x {picture.height} pixels, the calibration {foreign.size[0]} x {foreign.size[1]}",
                "give a photo taken at that size",
            )
    profile = profile_of(foreign, exif, day, file.name)
    check_lens(str(file), profile)
    if out is None:
        out = Path("lens") / f"{profile.ident}.json"
    make_folder(out)
    save_lens(out, profile)
    for note in profile.notes:
        click.echo(f"- {note}")
    click.echo(f"wrote {out}: a profile for {profile.camera}, calibrated {profile.date}")


@click.command(name="export", epilog="Example: ribangle calibrate export lens/shopcam.json shopcam.yaml --as ros")
@click.argument("profile", type=click.Path(path_type=Path))
@click.argument("out", type=click.Path(path_type=Path))
@click.option(
    "--as",
    "kind",
    type=click.Choice(["opencv", "ros"]),
    default="opencv",
    show_default=True,
    help="OpenCV calibration YAML or ROS camera_info YAML.",
)
def give(profile: Path, out: Path, kind: str) -> None:
    """Write the lens PROFILE to OUT in another tool's form, its covariance along with it."""
    from calibration.lens.exchange import opencv_yaml, ros_yaml
    from calibration.lens.profiles import load_lens
    from shared.files import write_whole

    loaded = load_lens(profile)
    write_whole(out, opencv_yaml(loaded) if kind == "opencv" else ros_yaml(loaded))
    click.echo(f"wrote {out}")
