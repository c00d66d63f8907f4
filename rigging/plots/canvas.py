"""One look for all plots: colours, sizes, and how a figure becomes SVG or PDF.

matplotlib's object-oriented interface only, so that no global state is touched. Colours are those of
Okabe and Ito (Color Universal Design, 2008); every series also has its own marker and line style, so
that grey printing and colour blindness take nothing away.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any
from xml.etree import ElementTree
from xml.sax.saxutils import escape, quoteattr

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_pdf import FigureCanvasPdf
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

BLUE, ORANGE, GREEN, PURPLE, GREY = "#0072B2", "#B84E00", "#00714F", "#9A3F74", "#555555"
"""Okabe-Ito hues; orange, green and purple darkened until they stand 4.5 to 1 against white."""
BAND = "#d9e4ec"
_SVG, _XLINK = "{http://www.w3.org/2000/svg}", "{http://www.w3.org/1999/xlink}"

WIDTH = 5.4
"""Inches; two plots stand side by side on a page, and one fills a phone."""

RC: Any = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 10.0,
    "axes.titlesize": 10.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "grid.color": "#dddddd",
    "grid.linewidth": 0.6,
    "axes.axisbelow": True,
    "legend.frameon": False,
    "legend.fontsize": 9.0,
    "lines.linewidth": 1.4,
    "lines.markersize": 6.0,
    "errorbar.capsize": 3.0,
    "svg.fonttype": "none",
    "pdf.fonttype": 3,
    "axes.unicode_minus": True,
    "text.parse_math": False,
}


@dataclass(frozen=True)
class Plot:
    """A finished picture.

    name : short, for ids and file names. title : heading for people, shown by what shows the plot, not
    inside it. alt : what it shows, in words, numbers included, for somebody who does not see it.
    """

    name: str
    title: str
    alt: str
    figure: Figure

    def __post_init__(self) -> None:
        """Settle the layout once, so that every output, in any order, has the same one."""
        with look():
            self.figure.draw_without_rendering()
        self.figure.set_layout_engine("none")

    def svg(self) -> str:
        """Inline SVG for HTML: no prolog, no metadata, ids of its own, same bytes every time."""
        stream = io.StringIO()
        with look(), mpl.rc_context({"svg.hashsalt": self.name}):
            canvas: Any = FigureCanvasSVG(self.figure)
            canvas.print_svg(stream, metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
        return _inline(stream.getvalue(), self.name, self.alt)

    def pdf(self) -> bytes:
        """One PDF page, vector, just as large as the figure."""
        stream = io.BytesIO()
        with look():
            canvas: Any = FigureCanvasPdf(self.figure)
            canvas.print_pdf(stream, metadata={"CreationDate": None, "Creator": None, "Producer": None})
        return stream.getvalue()

    def png(self, dpi: float = 150.0) -> bytes:
        """The same as PNG, `dpi` pixels to the inch."""
        stream = io.BytesIO()
        before = self.figure.get_dpi()
        self.figure.set_dpi(dpi)
        try:
            with look():
                canvas: Any = FigureCanvasAgg(self.figure)
                canvas.print_png(stream)
        finally:
            self.figure.set_dpi(before)
        return stream.getvalue()

    @property
    def wide(self) -> bool:
        """Whether it wants the whole width of a page."""
        return self.size_pt[0] > 1.5 * WIDTH * 72.0

    @property
    def size_pt(self) -> tuple[float, float]:
        """Width and height in points."""
        width, height = self.figure.get_size_inches()
        return float(width) * 72.0, float(height) * 72.0


@contextmanager
def look() -> Iterator[None]:
    """The settings under which figures are drawn; restored afterwards.

    A station may be named in a script that the face has not: its letters show as boxes, which needs no
    warning to the user.
    """
    with mpl.rc_context(RC), warnings.catch_warnings():
        warnings.filterwarnings("ignore", r"Glyph .* missing", UserWarning)
        yield


def width_for(names: int) -> float:
    """Width in inches for so many names side by side."""
    return WIDTH if names <= 16 else 2 * WIDTH


def new_figure(
    rows: int = 1,
    columns: int = 1,
    *,
    height: float = 3.4,
    width: float = WIDTH,
    ratios: tuple[float, ...] | None = None,
    share_x: bool = False,
    share_y: bool = False,
) -> tuple[Figure, list[Axes]]:
    """A figure with its axes in reading order; inches."""
    figure = Figure(figsize=(width, height), layout="constrained")
    grid = figure.subplots(
        rows,
        columns,
        squeeze=False,
        sharex=share_x,
        sharey=share_y,
        gridspec_kw={"height_ratios": ratios} if ratios else None,
    )
    return figure, list(grid.ravel())


def tidy_degrees(axes: Axes) -> None:
    """Degree labels on the y axis, with true minus signs."""
    axes.yaxis.set_major_formatter(lambda value, _: f"{value:g}°".replace("-", "\N{MINUS SIGN}"))


def short(name: str, most: int = 12) -> str:
    """A name cut to what a plot has room for."""
    return name if len(name) <= most else f"{name[: most - 1]}…"


def name_ticks(axes: Axes, names: Sequence[str]) -> None:
    """Names under the x axis at 0, 1, 2 ..., smaller and upright where there are many."""
    many = len(names) > 14
    size = max(min(9.0, 420.0 / max(len(names), 1)), 4.5) if many else 9.0
    shown = ["\n".join(map(short, name.split("\n"))) for name in names]
    axes.set_xticks(range(len(names)), shown, fontsize=size, rotation=90 if many else 0)


def _inline(svg: str, name: str, alt: str) -> str:
    """The picture's own part of an SVG file, with ids that are unique in a page of several pictures."""
    root = ElementTree.fromstring(svg)
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag in (f"{_SVG}metadata", f"{_SVG}style"):
                parent.remove(child)
    for element in root.iter():
        element.tag = str(element.tag).removeprefix(_SVG)
        for key, value in list(element.attrib.items()):
            del element.attrib[key]
            key = key.removeprefix(_XLINK)
            if key == "id":
                value = f"{name}-{value}"
            elif key == "href":
                value = value.replace("#", f"#{name}-", 1)
            elif key in ("clip-path", "style"):
                value = value.replace("url(#", f"url(#{name}-")
            element.set(key, value)
    inner = "".join(ElementTree.tostring(child, encoding="unicode") for child in root)
    box = quoteattr(root.get("viewBox", ""))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox={box} role="img" '
        f'stroke-linejoin="round" stroke-linecap="butt" aria-label={quoteattr(alt)}>'
        f"<title>{escape(alt)}</title>{inner.strip()}</svg>"
    )
