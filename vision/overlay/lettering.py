"""Lettering for the overlay: one face, sized in proportion to the picture, with a halo, wrapped to a width.

The face is DejaVu Sans, which comes with matplotlib (its licence stands beside the font there); it has
the degree, plus-minus and minus signs. matplotlib itself is not imported for it.
"""

from __future__ import annotations

from functools import cache, lru_cache
from importlib.util import find_spec
from pathlib import Path

from PIL import ImageDraw, ImageFont

Colour = tuple[int, int, int]
"""Blue, green, red, 0 to 255: the overlay's arrays are BGR throughout."""


@lru_cache(maxsize=64)
def face(size: int, bold: bool = False) -> ImageFont.FreeTypeFont:
    """The overlay's face at a height in pixels.

    size : height, pixels. bold : the heavier face.
    """
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return ImageFont.truetype(str(_fonts() / name), size)


@cache
def _fonts() -> Path:
    """The folder of matplotlib's faces, found without the half second that importing it takes."""
    spec = find_spec("matplotlib")
    if spec is not None and spec.origin is not None:
        folder = Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf"
        if folder.is_dir():
            return folder
    import matplotlib  # a distribution that keeps its data elsewhere

    return Path(matplotlib.get_data_path()) / "fonts" / "ttf"


def wrap(text: str, font: ImageFont.FreeTypeFont, width: float) -> list[str]:
    """The text in lines no wider than `width` pixels; a single word that is wider is broken.

    text : words parted by blanks. font : in which they are measured.
    """
    lines: list[str] = []
    line = ""
    for word in _breakable(text.split(), font, width):
        longer = f"{line} {word}" if line else word
        if line and font.getlength(longer) > width:
            lines.append(line)
            line = word
        else:
            line = longer
    return [*lines, line] if line else lines


def label(
    draw: ImageDraw.ImageDraw, at: tuple[float, float], text: str, colour: Colour, font: ImageFont.FreeTypeFont
) -> None:
    """Text with its upper left corner at `at`, on a halo of black or white, whichever stands out more.

    draw : of a picture, changed in place. at : (x, y) pixels. colour : BGR. font : of the text.
    """
    draw.text(at, text, fill=colour, font=font, stroke_width=max(2, round(font.size / 9)), stroke_fill=halo(colour))


def extent(text: str, font: ImageFont.FreeTypeFont) -> tuple[float, float]:
    """Width and height of a line of text, its halo included.

    text : one line. font : in which it is measured. Pixels.
    """
    rise, fall = font.getmetrics()
    margin = 2 * max(2, round(font.size / 9))
    return font.getlength(text) + margin, float(rise + fall + margin)


def halo(colour: Colour) -> Colour:
    """Black under a light colour, white under a dark one (luma of ITU-R BT.601)."""
    luma = 0.114 * colour[0] + 0.587 * colour[1] + 0.299 * colour[2]
    return (0, 0, 0) if luma > 140 else (255, 255, 255)


def _breakable(words: list[str], font: ImageFont.FreeTypeFont, width: float) -> list[str]:
    pieces: list[str] = []
    for word in words:
        while font.getlength(word) > width and len(word) > 1:
            cut = next((n for n in range(len(word) - 1, 1, -1) if font.getlength(word[:n]) <= width), 1)
            pieces.append(word[:cut])
            word = word[cut:]
        pieces.append(word)
    return pieces
