"""The report as PDF for A4 or Letter: the same blocks as the HTML, vector plots, numbered pages."""

from __future__ import annotations

import io
from typing import Any, Literal
from xml.sax.saxutils import escape

from pypdf import PdfReader, PdfWriter, Transformation
from reportlab.lib.pagesizes import A4, letter
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    Flowable,
    HRFlowable,
    Image,
    KeepTogether,
    ListFlowable,
    ListItem,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
)
from reportlab.platypus import Table as Grid

from rigging.report.blocks import (
    SYMBOLS,
    Block,
    Cell,
    Document,
    Folder,
    Pictures,
    Points,
    Shots,
    Signatures,
    Table,
    Words,
)
from rigging.report.pdf_parts import (
    FACE,
    INK,
    QUIET,
    RULE,
    STATES,
    TINT,
    Bar,
    Heading,
    Ledger,
    PlotBox,
    styles,
)
from shared.cautions import SHORT

Paper = Literal["a4", "letter"]
_SIZES: dict[str, tuple[float, float]] = {"a4": A4, "letter": letter}
_MARGIN = 40.0
_PADDING = 6.0  # of the frame that reportlab sets text in
_MAX_IMAGE = 0.82  # of the page's height, so that picture and caption fit on one page


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
    setter = _Setter(size[0] - 2 * _MARGIN - 2 * _PADDING, size[1], ledger)
    template.build(setter.story(document), canvasmaker=_numbered(document))
    return _with_plots(stream.getvalue(), ledger)


class _Setter:
    """Turns blocks into flowables of a given width."""

    def __init__(self, width: float, page_height: float, ledger: Ledger) -> None:
        self.width, self.page_height, self.ledger = width, page_height, ledger

    def story(self, document: Document) -> list[Flowable]:
        """The whole document."""
        out: list[Flowable] = [_paragraph(document.title, "title"), self._verdict(document), Spacer(1, 6)]
        facts = "&nbsp;&nbsp;&nbsp; ".join(
            f'<font color="#545c64">{escape(n)}</font> <b>{escape(v)}</b>' for n, v in document.facts
        )
        out.append(Paragraph(facts, styles()["plain"]))
        for section in document.sections:
            parts = [part for block in section.blocks for part in self.block(block)]
            lead = 1 + next(
                (k for k, part in enumerate(parts) if not isinstance(part, Paragraph)), len(parts)
            )
            head: list[Flowable] = [
                HRFlowable(width="100%", color=INK, thickness=1, spaceBefore=10, spaceAfter=0),
                Heading(section.title, section.ident, escape(section.title)),
            ]
            out += [KeepTogether([*head, *parts[:lead]]), *parts[lead:]]
        return out

    def block(self, block: Block) -> list[Flowable]:
        """One block; folders are for the screen only."""
        if isinstance(block, Words):
            return [_paragraph(block.text, block.kind)]
        if isinstance(block, Points):
            return [_points(block)]
        if isinstance(block, Table):
            return self._table(block)
        if isinstance(block, Pictures):
            return self._pictures(block)
        if isinstance(block, Shots):
            return self._shots(block)
        if isinstance(block, Signatures):
            return [_signatures(block, self.width)]
        assert isinstance(block, Folder)
        return []

    def _verdict(self, document: Document) -> Flowable:
        colour = STATES[document.state]
        text = f'<font color="{colour.hexval().replace("0x", "#")}">{escape(document.verdict)}</font>'
        sign = (
            f'<font size="20" color="{colour.hexval().replace("0x", "#")}">{SYMBOLS[document.state]}</font>'
        )
        style = styles()["verdict"]
        return Grid(
            [[Paragraph(sign, style), Paragraph(text, style)]],
            colWidths=[34, self.width - 34],
            style=[
                ("BOX", (0, 0), (-1, -1), 2, colour),
                ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
                ("BACKGROUND", (0, 0), (-1, -1), TINT),
                ("TOPPADDING", (0, 0), (-1, -1), 7),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 8),
            ],
        )

    def _table(self, table: Table) -> list[Flowable]:
        head = [
            Paragraph(f"<b>{escape(h)}</b>", styles()["cell" if k in table.left else "right"])
            for k, h in enumerate(table.head)
        ]
        rows = [[_cell(c, k in table.left, first=k == 0) for k, c in enumerate(row)] for row in table.rows]
        grid = Grid(
            [head, *rows],
            colWidths=self._columns(table),
            repeatRows=1,
            style=[
                ("LINEBELOW", (0, 0), (-1, 0), 1, INK),
                ("LINEBELOW", (0, 1), (-1, -1), 0.4, RULE),
                ("BACKGROUND", (0, 0), (-1, 0), TINT),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (-1, -1), 3),
                ("RIGHTPADDING", (0, 0), (-1, -1), 3),
                ("TOPPADDING", (0, 0), (-1, -1), 2),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
            ],
        )
        return [_paragraph(table.caption, "caption"), grid, Spacer(1, 6)]

    def _columns(self, table: Table) -> list[float]:
        """Widths in proportion to the longest text of each column, short ones kept whole."""
        texts = zip(
            table.head,
            *([c.text + "____" * (c.state is not None) for c in row] for row in table.rows),
            strict=True,
        )
        wanted = [
            min(max(max(len(t) for t in column[1:] or ("",)), *(len(w) for w in column[0].split())) + 2, 60)
            for column in texts
        ]
        return [self.width * w / sum(wanted) for w in wanted]

    def _pictures(self, pictures: Pictures) -> list[Flowable]:
        out: list[Flowable] = []
        half = self.width / 2
        for k in range(0, len(pictures.plots), 2):
            pair = pictures.plots[k : k + 2]
            row = [[_paragraph(p.title, "caption"), PlotBox(p, half - 8, self.ledger)] for p in pair]
            out.append(
                Grid(
                    [[*row, *([""] * (2 - len(row)))]],
                    colWidths=[half, half],
                    style=[("LEFTPADDING", (0, 0), (-1, -1), 0), ("VALIGN", (0, 0), (-1, -1), "TOP")],
                )
            )
        return out

    def _shots(self, shots: Shots) -> list[Flowable]:
        out: list[Flowable] = []
        half = self.width / 2
        for k in range(0, len(shots.shots), 2):
            row: list[Any] = []
            for shot in shots.shots[k : k + 2]:
                scale = min((half - 8) / shot.size[0], 0.5 * _MAX_IMAGE * self.page_height / shot.size[1])
                picture = Image(
                    io.BytesIO(shot.jpeg), shot.size[0] * scale, shot.size[1] * scale, hAlign="LEFT"
                )
                row.append([picture, _paragraph(shot.caption, "note")])
            out.append(
                Grid(
                    [[*row, *([""] * (2 - len(row)))]],
                    colWidths=[half, half],
                    style=[("LEFTPADDING", (0, 0), (-1, -1), 0), ("VALIGN", (0, 0), (-1, -1), "TOP")],
                )
            )
        return out


def _paragraph(text: str, style: str) -> Paragraph:
    return Paragraph(escape(text), styles()[style])


def _points(points: Points) -> Flowable:
    items = [ListItem(_paragraph(text, "plain"), leftIndent=16) for text in points.items]
    return ListFlowable(
        items,
        bulletType="1" if points.ordered else "bullet",
        bulletFontName=FACE,
        bulletFontSize=8,
        leftIndent=16,
        **({} if points.ordered else {"start": "•"}),
    )


def _cell(cell: Cell, left: bool, first: bool) -> Flowable | list[Flowable]:
    style = styles()["cell" if left else "right"]
    if cell.code:
        return Paragraph(escape(cell.text), styles()["code"])
    if cell.state is not None:
        colour = STATES[cell.state].hexval().replace("0x", "#")
        return Paragraph(
            f'<font color="{colour}"><b>{SYMBOLS[cell.state]} {escape(cell.text)}</b></font>', style
        )
    if cell.share is not None:
        return [Paragraph(escape(cell.text), style), Bar(cell.share)]
    text = escape(cell.text).replace("± ", "±\N{NO-BREAK SPACE}")
    return Paragraph(f"<b>{text}</b>" if first or cell.strong else text, style)


def _signatures(signatures: Signatures, width: float) -> Flowable:
    """One row of three rules to write on for each who signs."""
    labels = ("Name, licence or stamp", "Instrument used, its last calibration", "Date and signature")
    each = width / 3
    blocks: list[Flowable] = []
    for role in signatures.roles:
        row = [_paragraph(text, "note") for text in labels]
        blocks += [
            _paragraph(role, "caption"),
            Spacer(1, 26),
            Grid(
                [row],
                colWidths=[each] * 3,
                style=[("LINEABOVE", (0, 0), (-1, 0), 0.6, INK), ("LEFTPADDING", (0, 0), (-1, -1), 0)],
            ),
        ]
    return KeepTogether(blocks)


def _numbered(document: Document) -> type[Canvas]:
    """A canvas that writes "page of pages" and the caution at the foot of every page."""

    class Numbered(Canvas):  # type: ignore[misc] # reportlab carries no types
        def __init__(self, *args: Any, **kwargs: Any) -> None:
            super().__init__(*args, **kwargs)
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
