"""Sheets beside the station cards: reference marks, gauge tags, the lens board."""

from __future__ import annotations

from rigging.printed.boards import (
    FIRST_TAG,
    LAST_TAG,
    LENS_COLUMNS,
    LENS_ROWS,
    LENS_SQUARE_MM,
    MARK_MM,
    TAG_MM,
    chess_rects,
    marker_rects,
)
from rigging.printed.pages import Book, Box

MARK_CELL = 20.0
TAG_CELL = 28.0


def marks_page(book: Book) -> int:
    """A page of quartered circles, 16 mm across; returns how many."""
    free = book.page("reference marks")
    y = free.y + free.h - 3
    y = (
        book.prose(
            free.x,
            y,
            "Cut out. Lay two on each rib's chord line, one near either end, the further apart the "
            "better: the centre of the circle on the line, the short strokes on the line as well. Thin "
            "double-sided tape or a glue stick that comes off again; no mark may cover the very tips of the "
            "drawn line.",
            2.9,
            free.w,
        )
        - 2
    )
    columns, rows = int(free.w // MARK_CELL), int((y - free.y) // MARK_CELL)
    left = book.width / 2 - columns * MARK_CELL / 2
    for r in range(rows):
        for c in range(columns):
            cell = Box(left + c * MARK_CELL, y - (r + 1) * MARK_CELL, MARK_CELL, MARK_CELL)
            book.cut(cell)
            _mark(book, cell.x + MARK_CELL / 2, cell.y + MARK_CELL / 2)
    return rows * columns


def _mark(book: Book, x: float, y: float) -> None:
    """Two opposite black quarters of a circle, and strokes at the label's rim to lay it along a line."""
    c, r = book.canvas, MARK_MM / 2
    path = c.beginPath()
    for start in (90, 270):
        path.moveTo(x, y)
        path.arcTo(x - r, y - r, x + r, y + r, start, 90)
        path.close()
    c.setFillGray(0)
    c.drawPath(path, stroke=0, fill=1)
    c.setStrokeGray(0)
    c.setLineWidth(0.2)
    for side in (-1, 1):
        c.line(x + side * (r + 0.7), y, x + side * (r + 2.0), y)


def tags_page(book: Book) -> int:
    """A page of gauge tags, 20 mm markers 992 to 999, several of each; returns how many."""
    free = book.page("gauge tags")
    y = free.y + free.h - 3
    y = (
        book.prose(
            free.x,
            y,
            "For photos of an inclinometer's display: tags on the same face tell where the display is and "
            "which way up it stands. Fix two of different number flat beside the display, not over it, their "
            "numbers towards the display's lower edge. A gauge keeps its tags.",
            2.9,
            free.w,
        )
        - 2
    )
    columns, rows = int(free.w // TAG_CELL), int((y - free.y) // TAG_CELL)
    left = book.width / 2 - columns * TAG_CELL / 2
    for k in range(rows * columns):
        r, c = divmod(k, columns)
        ident = FIRST_TAG + k % (LAST_TAG - FIRST_TAG + 1)
        cell = Box(left + c * TAG_CELL, y - (r + 1) * TAG_CELL, TAG_CELL, TAG_CELL)
        book.cut(cell)
        rim = (TAG_CELL - TAG_MM) / 2
        book.fill(marker_rects(ident, TAG_MM), cell.x + rim, cell.y + TAG_CELL - rim)
        book.text(cell.x + TAG_CELL / 2, cell.y + 1.0, str(ident), 2.2, align="centre")
    return rows * columns


def lens_page(book: Book) -> None:
    """The chessboard for the lens on a page laid wide: 9 x 6 inner corners, 25 mm."""
    free = book.page(
        "lens board: keep it whole, glued flat on glass or plywood; a dozen photos, tilted every way",
        wide=True,
        bars=False,
    )
    width, height = LENS_COLUMNS * LENS_SQUARE_MM, LENS_ROWS * LENS_SQUARE_MM
    book.fill(
        chess_rects(LENS_COLUMNS, LENS_ROWS, LENS_SQUARE_MM),
        book.width / 2 - width / 2,
        free.y + free.h / 2 + height / 2 - 0.5,
    )
    book.bar(book.width / 2 - 50, 8.5)
