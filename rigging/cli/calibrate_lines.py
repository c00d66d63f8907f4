"""`ribangle calibrate lines`: a rough lens from straight edges, where there is no board."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click


@click.command(epilog="Example: ribangle calibrate lines shop-photos --out lens/rough.json")
@click.argument("photos", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="Profile to write [default: lens/CAMERA-lines.json].")
def lines(photos: tuple[Path, ...], out: Path | None) -> None:
    """Find the distortion of a lens from straight strings and edges in PHOTOS (files or folders) of one
    camera.

    The focal length stays the EXIF guess, so angles read with this profile carry a larger U. A board is
    better: ribangle calibrate lens.
    """
    from calibration.lens.plumb_line import lens_from_lines, rough_profile
    from calibration.lens.profiles import PhotoUse, save_lens
    from rigging.cli.calibrate import make_folder
    from rigging.cli.calibrate_lens import opened

    unread: list[PhotoUse] = []
    result = lens_from_lines(opened(photos, unread, "Looking for straight edges"))
    profile = rough_profile(result)
    profile = replace(profile, photos=(*profile.photos, *unread))
    if out is None:
        out = Path("lens") / f"{profile.ident}.json"
    make_folder(out)
    save_lens(out, profile)
    for use in unread:
        click.echo(f"{use.name}: {use.reason}")
    k1, k2 = result.terms
    click.echo(
        f"{result.agreeing} of {result.edges} straight edges in {len(result.photos)} photos agree: k1 "
        f"{k1:+.3f} "
        f"(u {result.covariance[0, 0] ** 0.5:.3f}), k2 {k2:+.3f} (u "
        f"{result.covariance[1, 1] ** 0.5:.3f})"
    )
    for note in profile.notes:
        click.echo(f"- {note}")
    click.echo(f"wrote {out}")
