"""Pages in millimetres: paper, fonts, bars that prove the printed scale. Origin at the bottom left, y up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

from reportlab.lib.colors import Color, black
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from rigging.printed.boards import Rect

POINTS_PER_MM = 72.0 / 25.4
PAPERS: dict[str, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Upright width and height, mm: ISO 216; ANSI/ASME Y14.1 size A."""
BODY, BOLD = "RibBody", "RibBold"
GREY = Color(0.45, 0.45, 0.45)
_EDGE = 7.0  # what common printers leave white: 6.35 mm and less


def register_fonts() -> None:
    """Register the typeface that matplotlib brings along (Latin, Greek, Cyrillic); embedded as a subset."""
    if BODY in pdfmetrics.getRegisteredFontNames():
        return
    import matplotlib

    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    pdfmetrics.registerFont(TTFont(BODY, str(folder / "DejaVuSans.ttf")))
    pdfmetrics.registerFont(TTFont(BOLD, str(folder / "DejaVuSans-Bold.ttf")))


@dataclass(frozen=True)
class Box:
    """A rectangle on the page: lower left corner, width, height, mm."""

    x: float
    y: float
    w: float
    h: float


class Book:
    """A PDF under way. Every drawing call counts in mm."""

    def __init__(self, paper: str, title: str) -> None:
        register_fonts()
        self.paper, self.title = PAPERS[paper], title
        self.width, self.height = self.paper
        self._stream = BytesIO()
        self.canvas = Canvas(self._stream, invariant=1)
        self.canvas.setTitle(title)
        self.canvas.setCreator("ribangle")
        self._open = False
        self.pages = 0

    def page(self, heading: str, *, wide: bool = False, bars: bool = True) -> Box:
        """Begin a page; the box is what is free between heading and scale bar."""
        if self._open:
            self.canvas.showPage()
        self.width, self.height = self.paper[::-1] if wide else self.paper
        self.canvas.setPageSize((self.width * POINTS_PER_MM, self.height * POINTS_PER_MM))
        self.canvas.scale(POINTS_PER_MM, POINTS_PER_MM)
        self._open, self.pages = True, self.pages + 1
        self.text(_EDGE + 4, self.height - 10, f"{self.title} · {heading}", 3.0, bold=True, room=self.width - 84)
        self.text(
            self.width - _EDGE - 4,
            self.height - 10,
            "print at 100 % (actual size), never “fit to page”",
            2.6,
            align="right",
        )
        if bars:
            self.bar(self.width / 2 - 50.0, 10.0)
            self.bar(_EDGE + 1.5, self.height / 2 - 50.0, upright=True)
        return Box(_EDGE + 4.5, 15.0, self.width - 2 * (_EDGE + 4.5), self.height - 28.0)

    def bar(self, x: float, y: float, *, upright: bool = False) -> None:
        """A bar whose end strokes are 100.0 mm apart, centre to centre."""
        c = self.canvas
        c.saveState()
        c.translate(x, y)
        if upright:
            c.rotate(90)
        c.setStrokeColor(black)
        c.setLineWidth(0.15)
        c.setLineCap(0)
        c.line(0, 0, 100, 0)
        for k in range(11):
            half = 2.0 if k in (0, 10) else 1.4 if k == 5 else 0.8
            c.line(10 * k, -half, 10 * k, half)
        c.restoreState()
        if upright:
            c.saveState()
            c.translate(x + 0.0, y)
            c.rotate(90)
            self.text(50, 1.9, "100.0 mm", 2.2, align="centre")
            c.restoreState()
        else:
            self.text(
                x + 50,
                y - 3.6,
                "100.0 mm (3.937 in) between the end strokes, down the page as well as across: measure before cutting",
                2.2,
                align="centre",
            )

    def fill(self, rects: Sequence[Rect], left: float, top: float) -> None:
        """Fill black rectangles (y down from (left, top)) as one path: no hairlines between them."""
        path = self.canvas.beginPath()
        for x, y, w, h in rects:
            path.rect(left + x, top - y - h, w, h)
        self.canvas.setFillColor(black)
        self.canvas.drawPath(path, stroke=0, fill=1)

    def cut(self, box: Box) -> None:
        """A thin grey cutting line round a box."""
        self.canvas.setStrokeColor(GREY)
        self.canvas.setLineWidth(0.12)
        self.canvas.rect(box.x, box.y, box.w, box.h, stroke=1, fill=0)

    def text(
        self,
        x: float,
        y: float,
        words: str,
        size: float,
        *,
        bold: bool = False,
        align: str = "left",
        room: float | None = None,
    ) -> float:
        """One line of text; `room` (mm) shrinks it to fit. Returns its width, mm."""
        font = BOLD if bold else BODY
        width = pdfmetrics.stringWidth(words, font, size)
        if room is not None and width > room:
            size, width = size * room / width, room
        self.canvas.setFillColor(black)
        self.canvas.setFont(font, size)
        shift = {"left": 0.0, "centre": width / 2, "right": width}[align]
        self.canvas.drawString(x - shift, y, words)
        return float(width)

    def prose(self, x: float, y: float, words: str, size: float, width: float, *, bold: bool = False) -> float:
        """Wrapped text from the baseline y downwards; returns the next free baseline."""
        for line in wrap(words, BOLD if bold else BODY, size, width):
            self.text(x, y, line, size, bold=bold)
            y -= size * 1.32
        return y

    def done(self) -> bytes:
        """The finished file."""
        self.canvas.showPage()
        self.canvas.save()
        return self._stream.getvalue()


def wrap(words: str, font: str, size: float, width: float) -> list[str]:
    """Break a text into lines no wider than `width`, mm; a word longer than that stays whole."""
    lines: list[str] = []
    for word in words.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and pdfmetrics.stringWidth(longer, font, size) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines
