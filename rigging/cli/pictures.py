"""A plot as a picture file, its kind by the file's ending."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from shared.errors import UserError
from shared.files import write_whole

if TYPE_CHECKING:
    from rigging.plots import Plot

KINDS = (".svg", ".pdf", ".png")


def check_picture(path: Path) -> None:
    """Raise UserError where the name's ending is no kind of picture that can be written."""
    if path.suffix.lower() not in KINDS:
        raise UserError(str(path), "a picture is written as .svg, .pdf or .png", "give a name that ends so")
    if not path.parent.is_dir():
        raise UserError(str(path.parent), "there is no such folder", "make it first")


def write_picture(plot: Plot, path: Path) -> None:
    """Write the plot, whole or not at all. Raises UserError as `check_picture`."""
    check_picture(path)
    kind = path.suffix.lower()
    write_whole(path, plot.svg() if kind == ".svg" else plot.pdf() if kind == ".pdf" else plot.png())
