"""One station card: board at true scale, arrow to the leading edge, name both ways up, cutting line."""

from __future__ import annotations

from dataclasses import dataclass

from rigging.printed.boards import FOOT_MM, SIDE_MM, card_rects, sheet_mm
from rigging.printed.pages import Book, Box
from shared.cards import CardKind
from vision.cards.spec import SPECS


@dataclass(frozen=True)
class PrintedCard:
    """A card to print. name : the station's, or None for a spare, whose name is written by hand. wing : the wing's, so
    that cards of two wings with the same numbers can be told apart. outboard : its arrow points outboard, not forward."""

    kind: CardKind
    number: int
    name: str | None
    wing: str = ""
    outboard: bool = False

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of the cut sheet, mm."""
        return sheet_mm(self.kind)


def draw_card(book: Book, card: PrintedCard, x: float, y: float) -> None:
    """Draw a card with the lower left corner of its sheet at (x, y), mm."""
    width, height = card.size
    board_w, board_h = SPECS[card.kind].size_mm
    book.cut(Box(x, y, width, height))
    book.fill(card_rects(card.kind, card.number), x + SIDE_MM, y + FOOT_MM + board_h)
    label = f"{card.name} · card {card.number}" if card.name else f"spare card {card.number} · station: ____________"
    label += f" · {card.wing}" if card.wing else ""
    _arrow(book, x + SIDE_MM, y + 8.6, board_w, "OUT →" if card.outboard else "LE →")
    name_room = board_w * 0.52
    book.text(x + SIDE_MM, y + 2.6, label, 4.2, bold=True, room=name_room)
    book.text(
        x + width - SIDE_MM,
        y + 2.8,
        "arrow OUTBOARD" if card.outboard else "arrow to the LEADING EDGE",
        2.7,
        align="right",
        room=board_w * 0.44,
    )
    c = book.canvas
    c.saveState()
    c.translate(x + width - SIDE_MM, y + height - 2.6)
    c.rotate(180)
    short = (
        f"{card.name or 'spare'} · card {card.number} · {f'{card.wing} · ' if card.wing else ''}may hang this way up"
    )
    book.text(0, -1.4, short, 2.8, room=board_w)
    c.restoreState()


def _arrow(book: Book, x: float, y: float, length: float, way: str) -> None:
    """A bold arrow along board +x, y its axis; thin enough to stay apart from the board's lowest squares."""
    c = book.canvas
    path = c.beginPath()
    shaft, head, half = 0.45, 7.0, 2.0
    for k, (px, py) in enumerate(
        [
            (0, -shaft),
            (length - head, -shaft),
            (length - head, -half),
            (length, 0),
            (length - head, half),
            (length - head, shaft),
            (0, shaft),
        ]
    ):
        (path.moveTo if k == 0 else path.lineTo)(x + px, y + py)
    path.close()
    c.setFillGray(0)
    c.drawPath(path, stroke=0, fill=1)
    for mark in (0.25, 0.5, 0.75):
        book.text(x + mark * length, y + 0.9, way, 2.2, align="centre")
