"""`ribangle calibrate lens`: photos of a flat board in, lens profile and a picture of the residuals out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rigging.cli.gathered import gathered
from shared.cards import NAMES, CardKind

if TYPE_CHECKING:
    from calibration.lens.boards import Board
    from calibration.lens.calibrate import LensCalibration
    from calibration.lens.profiles import LensProfile, PhotoUse
    from vision.image.photo import Picture


@dataclass(frozen=True)
class LensOptions:
    """What the command is asked: its arguments and options."""

    photos: tuple[Path, ...]
    board: str | None
    charuco: str | None
    card: str | None
    square: float
    marker: float
    dictionary: str
    model: str | None
    out: Path | None
    picture: Path | None


@click.command(
    short_help="A lens profile from photos of a chessboard or ChArUco board.",
    epilog="Example: ribangle calibrate lens board-photos --board 9x6 --out lens/shopcam.json",
)
@click.argument("photos", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--board", metavar="9x6", help="Chessboard: inner corners along its sides (found where not given).")
@click.option("--charuco", metavar="7x5", help="ChArUco board instead: squares along its sides.")
@click.option("--card", type=click.Choice(NAMES), help="Station cards instead, several in a photo or one.")
@click.option("--square", type=float, default=25.0, show_default=True, metavar="MM", help="Side of a square.")
@click.option("--marker", type=float, default=18.0, show_default=True, metavar="MM", help="Side of a ChArUco marker.")
@click.option("--dictionary", default="5X5_1000", show_default=True, help="OpenCV's marker dictionary.")
@click.option("--model", help='Force a lens model, as "f, c, k1, k2"; else the error on photos left out decides.')
@click.option("--out", type=click.Path(path_type=Path), help="Profile to write [default: lens/CAMERA.json].")
@click.option("--picture", type=click.Path(path_type=Path), help="Picture to write [default: beside the profile].")
@gathered(LensOptions)
def lens(asked: LensOptions) -> None:
    """Calibrate a lens from PHOTOS (files or folders) of one flat board.

    Take a dozen: all of the board in each, sharp, at one zoom and focus as in the work, in all corners of the
    picture, tilted some 30 degrees to all sides.
    """
    out, picture = asked.out, asked.picture
    from calibration.lens.calibrate import calibrate_lens
    from calibration.lens.profiles import save_lens
    from calibration.lens.report import lens_picture
    from rigging.cli.calibrate import make_folder
    from shared.files import write_whole

    spec = board_of(asked.board, asked.charuco, asked.card, asked.square, asked.marker, asked.dictionary)
    for place in (out, picture):
        if place is not None:
            make_folder(place)
    unread: list[PhotoUse] = []
    result = calibrate_lens(opened(asked.photos, unread), spec, asked.model)
    profile = replace(result.profile, photos=(*result.profile.photos, *unread))
    if out is None:
        out = Path("lens") / f"{profile.ident}.json"
    picture = picture or out.with_suffix(".png")
    make_folder(out)
    save_lens(out, profile)
    write_whole(picture, lens_picture(result))
    _tell(profile, result)
    click.echo(f"\nwrote {out} and {picture}")


def board_of(
    board: str | None, charuco: str | None, card: str | None, square: float, marker: float, dictionary: str
) -> Board:
    """The board the options name. Raises UserError when they name two."""
    from calibration.lens.boards import Charuco, Chessboard, parse_size
    from shared.errors import UserError
    from vision.cards.spec import IDS_PER_CARD, SPECS

    if sum(x is not None for x in (board, charuco, card)) > 1:
        raise UserError("--board, --charuco and --card", "name different boards", "give one of them")
    if card is not None:
        s = SPECS[CardKind.of(card)]
        return Charuco(s.columns, s.rows, s.square_mm, s.marker_mm, "5X5_1000", None, IDS_PER_CARD)
    if charuco is not None:
        return Charuco(*parse_size(charuco), square, marker, dictionary)
    return Chessboard(*(parse_size(board) if board else (0, 0)), square)


def opened(places: tuple[Path, ...], unread: list[PhotoUse], doing: str = "Looking for the board") -> Iterator[Picture]:
    """Load photos one by one under a progress bar; those that cannot be read are noted in `unread`."""
    from rich.console import Console
    from rich.progress import track

    from calibration.lens.profiles import PhotoUse
    from rigging.batch.find import find_photos
    from vision.image.photo import decode_photo
    from vision.image.photo_file import PhotoError, read_bytes

    sources = find_photos(places)
    console = Console(stderr=True)
    for source in track(sources, doing, console=console, transient=True, disable=not console.is_terminal):
        try:
            yield decode_photo(read_bytes(source.path), source.path.name)
        except PhotoError as error:
            unread.append(PhotoUse(source.path.name, error.sha256 or "", False, error.reason))


def _tell(profile: LensProfile, result: LensCalibration) -> None:
    """The table of photos and parameters on the terminal."""
    import numpy as np
    from rich.console import Console
    from rich.table import Table

    from calibration.lens.model import PARAMETERS
    from shared.rounding import number, places

    console = Console()
    table = Table("photo", "corners", "residual, px", "", box=None, header_style="bold")
    for use in profile.photos:
        level = f"{use.rms_px:.3f}" if use.used and use.rms_px is not None else ""
        table.add_row(use.name, str(use.corners) if use.used else "", level, use.reason or "used")
    console.print(table)
    u = np.sqrt(np.diag(np.array(profile.covariance)))
    values = Table("", "value", "u", box=None, header_style="bold")
    for name, value, sd in zip(PARAMETERS, profile.theta, u, strict=True):
        n = places(2 * float(sd), 6) if sd > 0 else 4
        values.add_row(name, number(value, n), number(float(sd), n) if sd > 0 else "fixed")
    console.print(values)
    console.print(
        f"{profile.camera}, {profile.width} x {profile.height}; free: {profile.free}; residual "
        f"{profile.rms_px:.3f} px, on photos left out {profile.held_out_px:.3f} px; boards over "
        f"{100 * result.coverage.share:.0f} % of the picture",
        soft_wrap=True,
    )
    for note in profile.notes:
        console.print(f"- {note}", soft_wrap=True)
