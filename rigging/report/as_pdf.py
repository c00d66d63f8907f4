"""The report as PDF for A4 or Letter: the same blocks as the HTML, vector plots, numbered pages."""

from __future__ import annotations

import io
from typing import Any, Literal

from pypdf import PdfReader, PdfWriter, Transformation
from reportlab.lib.pagesizes import A4, letter
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import SimpleDocTemplate

from rigging.report.blocks import Document
from rigging.report.pdf_blocks import Setter
from rigging.report.pdf_parts import FACE, QUIET, Ledger
from shared.cautions import SHORT

Paper = Literal["a4", "letter"]
_SIZES: dict[str, tuple[float, float]] = {"a4": A4, "letter": letter}
_MARGIN = 40.0
_PADDING = 6.0  # of the frame that reportlab sets text in


def to_pdf(document: Document, paper: Paper = "a4") -> bytes:
    """The PDF's bytes; the same document gives the same bytes."""
    size = _SIZES[paper]
    ledger = Ledger()
    stream = io.BytesIO()
    template = SimpleDocTemplate(
        stream,
        pagesize=size,
        leftMargin=_MARGIN,
        rightMargin=_MARGIN,
        topMargin=_MARGIN,
        bottomMargin=_MARGIN + 14,
        title=document.title,
        author="ribangle",
        subject=document.verdict,
        lang="en",
        invariant=1,
    )
    setter = Setter(size[0] - 2 * _MARGIN - 2 * _PADDING, size[1], ledger)
    template.build(setter.story(document), canvasmaker=_numbered(document))
    return _with_plots(stream.getvalue(), ledger)


def _numbered(document: Document) -> type[Canvas]:
    """A canvas that writes "page of pages" and the caution at the foot of every page."""

    class Numbered(Canvas):  # type: ignore[misc] # reportlab carries no types
        def __init__(self, *args: Any, **kwargs: Any) -> None:
            super().__init__(*args, **kwargs)
            self.setViewerPreference("DisplayDocTitle", "true")
            self._held: list[dict[str, Any]] = []

        def showPage(self) -> None:
            self._held.append(dict(self.__dict__))
            self._startPage()

        def save(self) -> None:
            for state in self._held:
                self.__dict__.update(state)
                self._foot(len(self._held))
                super().showPage()
            super().save()

        def _foot(self, pages: int) -> None:
            width = self._pagesize[0]
            self.setFont(FACE, 7)
            self.setFillColor(QUIET)
            self.drawString(_MARGIN, 26, f"{document.title}. {SHORT}"[:120])
            self.drawRightString(width - _MARGIN, 26, f"{self._pageNumber} / {pages}")

    return Numbered


def _with_plots(pdf: bytes, ledger: Ledger) -> bytes:
    """The pages with every plot's own page laid into its box."""
    writer = PdfWriter(clone_from=PdfReader(io.BytesIO(pdf)))
    for place in ledger.places:
        page = PdfReader(io.BytesIO(place.plot.pdf())).pages[0]
        move = Transformation().scale(place.scale).translate(place.x, place.y)
        writer.pages[place.page].merge_transformed_page(page, move)
    for page in writer.pages:
        page.compress_content_streams()
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()
