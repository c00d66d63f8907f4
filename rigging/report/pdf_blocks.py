"""The report's blocks as reportlab flowables."""

from __future__ import annotations

import io
from xml.sax.saxutils import escape

from reportlab.lib.colors import Color
from reportlab.platypus import (
    CondPageBreak,
    Flowable,
    HRFlowable,
    Image,
    KeepTogether,
    ListFlowable,
    ListItem,
    Paragraph,
    Spacer,
)
from reportlab.platypus import Table as Grid

from rigging.plots import Plot
from rigging.report.blocks import (
    SYMBOLS,
    AnnotatedPhoto,
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
from rigging.report.pdf_parts import FACE, INK, RULE, STATES, TINT, Bar, Heading, Ledger, PlotBox, styles

LONG = 8  # rows of a table that may begin at a page's end and go on overleaf
_MAX_IMAGE = 0.37  # of the page's height: two photos with their captions fit above each other


class Setter:
    """Turns blocks into flowables of a given width."""

    def __init__(self, width: float, page_height: float, ledger: Ledger) -> None:
        self.width, self.page_height, self.ledger = width, page_height, ledger

    def story(self, document: Document) -> list[Flowable]:
        """The whole document."""
        out: list[Flowable] = [paragraph(document.title, "title"), self._verdict(document), Spacer(1, 6)]
        facts = "&nbsp;&nbsp;&nbsp; ".join(
            f'<font color="#545c64">{escape(n)}</font> <b>{escape(v)}</b>' for n, v in document.facts
        )
        out.append(Paragraph(facts, styles()["plain"]))
        for section in document.sections:
            parts = [part for block in section.blocks for part in self.block(block)]
            rule = HRFlowable(width="100%", color=INK, thickness=1, spaceBefore=10, spaceAfter=0)
            head = [rule, Heading(section.title, section.ident, escape(section.title))]
            lead = 1 + next((k for k, p in enumerate(parts) if not isinstance(p, Paragraph)), len(parts))
            if any(isinstance(block, Table) and len(block.rows) > LONG for block in section.blocks[:lead]):
                head[1].keepWithNext = 0
                out += [CondPageBreak(self.page_height / 4), *head, *parts]
            else:
                out += [KeepTogether([*head, *parts[:lead]]), *parts[lead:]]
        return out

    def block(self, block: Block) -> list[Flowable]:
        """One block; folders are for the screen only."""
        if isinstance(block, Words):
            return [paragraph(block.text, block.kind)]
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
        text = f'<font color="{_hex(colour)}">{escape(document.verdict)}</font>'
        sign = f'<font size="20" color="{_hex(colour)}">{SYMBOLS[document.state]}</font>'
        style = styles()["verdict"]
        return Grid(
            [[Paragraph(sign, style), Paragraph(text, style)]],
            colWidths=[34, self.width - 34],
            splitInRow=1,
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
        title = [paragraph(table.caption, "caption"), *[""] * (len(head) - 1)]
        grid = Grid(
            [title, head, *rows],
            colWidths=self._columns(table),
            repeatRows=2,
            splitInRow=1,
            style=[
                ("SPAN", (0, 0), (-1, 0)),
                ("LINEBELOW", (0, 1), (-1, 1), 1, INK),
                ("LINEBELOW", (0, 2), (-1, -1), 0.4, RULE),
                ("BACKGROUND", (0, 1), (-1, 1), TINT),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (-1, -1), 3),
                ("RIGHTPADDING", (0, 0), (-1, -1), 3),
                ("TOPPADDING", (0, 0), (-1, -1), 2),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
            ],
        )
        return [grid, Spacer(1, 6)]

    def _columns(self, table: Table) -> list[float]:
        """Widths in proportion to the longest text of each column, headings broken at blanks."""
        wanted = []
        for k, head in enumerate(table.head):
            body = [len(row[k].text) + (4 if row[k].state else 0) for row in table.rows]
            wanted.append(min(max([0, *body, *(len(word) for word in head.split())]) + 2, 60))
        return [self.width * w / sum(wanted) for w in wanted]

    def _pictures(self, pictures: Pictures) -> list[Flowable]:
        half = self.width / 2
        small = [self._picture(p, half - 8) for p in pictures.plots if not p.wide]
        wide = [KeepTogether(self._picture(p, self.width)) for p in pictures.plots if p.wide]
        return [*(_side_by_side(small[k : k + 2], half) for k in range(0, len(small), 2)), *wide]

    def _picture(self, plot: Plot, width: float) -> list[Flowable]:
        return [paragraph(plot.title, "caption"), PlotBox(plot, width, self.ledger)]

    def _shots(self, shots: Shots) -> list[Flowable]:
        half = self.width / 2
        made = [self._shot(shot, half - 8) for shot in shots.shots]
        return [_side_by_side(made[k : k + 2], half) for k in range(0, len(made), 2)]

    def _shot(self, shot: AnnotatedPhoto, width: float) -> list[Flowable]:
        w, h = shot.size
        scale = min(width / w, _MAX_IMAGE * self.page_height / h)
        picture = Image(io.BytesIO(shot.jpeg), w * scale, h * scale, hAlign="LEFT")
        return [picture, paragraph(shot.caption, "note")]


def _side_by_side(cells: list[list[Flowable]], width: float) -> Flowable:
    """One or two cells of a given width."""
    row: list[list[Flowable] | str] = [*cells, *[""] * (2 - len(cells))]
    style = [("LEFTPADDING", (0, 0), (-1, -1), 0), ("VALIGN", (0, 0), (-1, -1), "TOP")]
    return Grid([row], colWidths=[width, width], splitInRow=1, style=style)


def paragraph(text: str, style: str) -> Paragraph:
    """Plain text in one of the styles."""
    return Paragraph(escape(text), styles()[style])


def _points(points: Points) -> Flowable:
    items = [ListItem(paragraph(text, "plain"), leftIndent=16) for text in points.items]
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
        colour = _hex(STATES[cell.state])
        return Paragraph(f'<font color="{colour}"><b>{SYMBOLS[cell.state]} {escape(cell.text)}</b></font>', style)
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
        row = [paragraph(text, "note") for text in labels]
        blocks += [
            paragraph(role, "caption"),
            Spacer(1, 26),
            Grid(
                [row],
                colWidths=[each] * 3,
                style=[("LINEABOVE", (0, 0), (-1, 0), 0.6, INK), ("LEFTPADDING", (0, 0), (-1, -1), 0)],
            ),
        ]
    return KeepTogether(blocks)


def _hex(colour: Color) -> str:
    return str(colour.hexval()).replace("0x", "#")
