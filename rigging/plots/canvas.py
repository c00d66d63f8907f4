"""One look for all plots: colours, sizes, and how a figure becomes SVG or PDF.

matplotlib's object-oriented interface only, so that no global state is touched. Colours are those of
Okabe and Ito (Color Universal Design, 2008); every series also has its own marker and line style, so
that grey printing and colour blindness take nothing away.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_pdf import FigureCanvasPdf
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

BLUE, ORANGE, GREEN, PURPLE, GREY = "#0072B2", "#B84E00", "#00714F", "#9A3F74", "#555555"
"""Okabe-Ito hues; orange, green and purple darkened until they stand 4.5 to 1 against white."""
BAND = "#d9e4ec"

RC: Any = {
    "font.family": "sans-serif", "font.sans-serif": ["DejaVu Sans"], "font.size": 10.0,
    "axes.titlesize": 10.5, "axes.titleweight": "bold", "axes.titlelocation": "left",
    "axes.spines.top": False, "axes.spines.right": False, "axes.grid": True, "grid.color": "#dddddd",
    "grid.linewidth": 0.6, "axes.axisbelow": True, "legend.frameon": False, "legend.fontsize": 9.0,
    "lines.linewidth": 1.4, "lines.markersize": 6.0, "errorbar.capsize": 3.0,
    "svg.fonttype": "none", "pdf.fonttype": 3, "axes.unicode_minus": True,
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
        with mpl.rc_context({**RC, "svg.hashsalt": self.name}):
            canvas: Any = FigureCanvasSVG(self.figure)
            canvas.print_svg(stream, metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
        return _inline(stream.getvalue(), self.name, self.alt)

    def pdf(self) -> bytes:
        """One PDF page, vector, just as large as the figure."""
        stream = io.BytesIO()
        with mpl.rc_context(RC):
            canvas: Any = FigureCanvasPdf(self.figure)
            canvas.print_pdf(stream, metadata={"CreationDate": None, "Creator": None, "Producer": None})
        return stream.getvalue()

    def png(self, dpi: float = 150.0) -> bytes:
        """The same as PNG."""
        stream = io.BytesIO()
        with mpl.rc_context({**RC, "figure.dpi": dpi, "savefig.dpi": dpi}):
            canvas: Any = FigureCanvasAgg(self.figure)
            canvas.print_png(stream)
        return stream.getvalue()

    @property
    def size_pt(self) -> tuple[float, float]:
        """Width and height in points."""
        width, height = self.figure.get_size_inches()
        return float(width) * 72.0, float(height) * 72.0


@contextmanager
def look() -> Iterator[None]:
    """The settings under which figures are drawn; restored afterwards."""
    with mpl.rc_context(RC):
        yield


def new_figure(rows: int = 1, columns: int = 1, *, height: float = 3.4, width: float = 5.4,
               ratios: tuple[float, ...] | None = None, share_x: bool = False,
               share_y: bool = False) -> tuple[Figure, list[Axes]]:
    """A figure with its axes in reading order; inches."""
    figure = Figure(figsize=(width, height), layout="constrained")
    grid = figure.subplots(rows, columns, squeeze=False, sharex=share_x, sharey=share_y,
                           gridspec_kw={"height_ratios": ratios} if ratios else None)
    return figure, list(grid.ravel())


def tidy_degrees(axes: Axes) -> None:
    """Degree labels on the y axis, with true minus signs."""
    axes.yaxis.set_major_formatter(lambda value, _: f"{value:g}°".replace("-", "\N{MINUS SIGN}"))


def _inline(svg: str, name: str, alt: str) -> str:
    from xml.sax.saxutils import escape, quoteattr

    svg = svg[svg.index("<svg"):]
    svg = re.sub(r"<metadata>.*?</metadata>\s*", "", svg, flags=re.S)
    svg = re.sub(r"<!--.*?-->\s*", "", svg, flags=re.S)
    # ids must be unique in the page that holds several pictures
    svg = re.sub(r'\bid="([^"]+)"', rf'id="{name}-\1"', svg)
    svg = re.sub(r'((?:xlink:)?href="#|url\(#)', rf"\1{name}-", svg)
    svg = svg.replace("xlink:href=", "href=").replace(' xmlns:xlink="http://www.w3.org/1999/xlink"', "")
    head, rest = svg.split(">", 1)
    box = re.search(r'viewBox="[^"]+"', head)
    return (f'<svg xmlns="http://www.w3.org/2000/svg" {box.group() if box else ""} role="img" '
            f"aria-label={quoteattr(alt)}><title>{escape(alt)}</title>{rest}").strip()
