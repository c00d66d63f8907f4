"""Building stones of the PDF: type, styles, and plots that stay vector drawings.

reportlab sets the pages; each plot leaves an empty box there, and its own PDF page (from matplotlib) is
laid into the box afterwards by pypdf.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import matplotlib
from reportlab.lib.colors import HexColor
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import Flowable, Paragraph

from rigging.plots import Plot

FACE, BOLD, MONO = "DejaVuSans", "DejaVuSans-Bold", "DejaVuSansMono"
INK, QUIET, RULE, TINT, BLUE = (HexColor(c) for c in ("#1c2126", "#545c64", "#c9d0d6", "#f2f5f7", "#0072b2"))
STATES = {
    "conforming": HexColor("#005c42"),
    "nonconforming": HexColor("#8f2d00"),
    "undecided": HexColor("#5b4a00"),
    "not measured": HexColor("#454c53"),
}


@cache
def styles() -> dict[str, ParagraphStyle]:
    """Paragraph styles by name; registers the faces when first asked (DejaVu, shipped with matplotlib)."""
    fonts = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    for name in (FACE, BOLD, MONO):
        pdfmetrics.registerFont(TTFont(name, str(fonts / f"{name}.ttf")))
    pdfmetrics.registerFontFamily(FACE, normal=FACE, bold=BOLD, italic=FACE, boldItalic=BOLD)
    plain = ParagraphStyle("plain", fontName=FACE, fontSize=8.6, leading=11.6, textColor=INK, spaceAfter=4)

    def like(name: str, **changes: object) -> ParagraphStyle:
        return ParagraphStyle(name, parent=plain, **changes)

    made = (
        plain,
        like("title", fontName=BOLD, fontSize=17, leading=21, spaceAfter=6),
        like("head", fontName=BOLD, fontSize=12, leading=15, spaceBefore=12, spaceAfter=4, keepWithNext=1),
        like("caption", fontName=BOLD, spaceBefore=6, spaceAfter=2, keepWithNext=1),
        like("verdict", fontName=BOLD, fontSize=11.5, leading=15, spaceAfter=0),
        like("warning", fontName=BOLD, backColor=TINT, borderPadding=4, spaceBefore=6, spaceAfter=8),
        like("note", fontSize=7.4, leading=9.6, textColor=QUIET),
        like("item", leftIndent=14, bulletIndent=3),
        like("cell", fontSize=7.6, leading=9.6, spaceAfter=0),
        like("right", fontSize=7.6, leading=9.6, spaceAfter=0, alignment=2),
        like("code", fontName=MONO, fontSize=6.6, leading=8.4, spaceAfter=0),
    )
    return {style.name: style for style in made}


@dataclass
class Place:
    """Where a plot's page goes: page number from 0, lower left corner and scale, points."""

    plot: Plot
    page: int
    x: float
    y: float
    scale: float


@dataclass
class Ledger:
    """Boxes left for plots, in the order they were laid out."""

    places: list[Place] = field(default_factory=list)


class PlotBox(Flowable):  # type: ignore[misc] # reportlab carries no types
    """Leaves room for a plot of a given width and notes where it came to lie."""

    def __init__(self, plot: Plot, width: float, ledger: Ledger) -> None:
        super().__init__()
        self.plot, self.ledger = plot, ledger
        self.scale = width / plot.size_pt[0]
        self.width, self.height = width, plot.size_pt[1] * self.scale

    def draw(self) -> None:
        """Note the page and the corner; nothing is drawn yet."""
        x, y = self.canv.absolutePosition(0, 0)
        self.ledger.places.append(Place(self.plot, self.canv.getPageNumber() - 1, x, y, self.scale))


class Bar(Flowable):  # type: ignore[misc] # reportlab carries no types
    """A share of one as a bar."""

    def __init__(self, share: float, width: float = 60.0, height: float = 6.0) -> None:
        super().__init__()
        self.share, self.width, self.height = share, width, height

    def draw(self) -> None:
        """The frame, and the share filled."""
        self.canv.setStrokeColor(QUIET)
        self.canv.setFillColor(BLUE)
        self.canv.rect(0, 0, self.width * self.share, self.height, stroke=0, fill=1)
        self.canv.rect(0, 0, self.width, self.height, stroke=1, fill=0)


class Heading(Paragraph):  # type: ignore[misc] # reportlab carries no types
    """A section's head that is also a bookmark."""

    def __init__(self, text: str, ident: str, escaped: str) -> None:
        super().__init__(escaped, styles()["head"])
        self.bookmark, self.ident = text, ident

    def draw(self) -> None:
        """Draw, and enter the outline."""
        self.canv.bookmarkPage(self.ident)
        self.canv.addOutlineEntry(self.bookmark, self.ident, level=0)
        super().draw()
