"""The report's blocks as reportlab flowables."""

from __future__ import annotations

import io
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.colors import Color
from reportlab.platypus import (
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
from rigging.report.pdf_parts import FACE, INK, RULE, STATES, TINT, Bar, Heading, Ledger, PlotBox, styles

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
        out: list[Flowable] = []
        half = self.width / 2
        for k in range(0, len(pictures.plots), 2):
            pair = pictures.plots[k : k + 2]
            row = [[paragraph(p.title, "caption"), PlotBox(p, half - 8, self.ledger)] for p in pair]
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
                scale = min((half - 8) / shot.size[0], _MAX_IMAGE * self.page_height / shot.size[1])
                picture = Image(
                    io.BytesIO(shot.jpeg), shot.size[0] * scale, shot.size[1] * scale, hAlign="LEFT"
                )
                row.append([picture, paragraph(shot.caption, "note")])
            out.append(
                Grid(
                    [[*row, *([""] * (2 - len(row)))]],
                    colWidths=[half, half],
                    style=[("LEFTPADDING", (0, 0), (-1, -1), 0), ("VALIGN", (0, 0), (-1, -1), "TOP")],
                )
            )
        return out


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
