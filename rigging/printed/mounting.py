"""How to print and mount each thing, in pictures; the first page of the pack."""

from __future__ import annotations

from collections.abc import Callable

from reportlab.graphics import renderPDF
from reportlab.graphics.shapes import Drawing, Group, Line, Rect

from rigging.printed import kit
from rigging.printed.pages import Book
from shared.cautions import CAUTIONS
from shared.job.model import Job

WIDE, HIGH = 92.0, 44.0
"""Size of every picture, mm."""


def scale_picture() -> Drawing:
    """A ruler laid on the printed bar."""
    ruler = Group(Rect(10, 12, 74, 9, fillColor=kit.PALE, strokeColor=kit.DARK, strokeWidth=0.2))
    for k in range(71):
        ruler.add(Line(12 + k, 21, 12 + k, 21 - (3.2 if k % 10 == 0 else 1.6), strokeColor=kit.DARK, strokeWidth=0.12))
    bar = Group(Line(12, 25, 82, 25, strokeWidth=0.25))
    for x in (12, 82):
        bar.add(Line(x, 22.5, x, 27.5, strokeWidth=0.25))
    return kit.picture(
        WIDE,
        HIGH,
        ruler,
        bar,
        kit.words(47, 31, "the printed bar: 100.0 mm", anchor="middle", bold=True),
        kit.words(47, 7, "a card's board, or these bars: across and down", anchor="middle"),
    )


def card_picture() -> Drawing:
    """Cards on a right rib and, upside down, on a left one."""
    up = Group(kit.rib(24, 16, 42), kit.card(23, 18.9, 7.5, strip=True), kit.mark(42, 16, 1.7), kit.mark(8, 16, 1.7))
    down = Group(
        kit.rib(69, 16, 42, nose_left=True),
        kit.card(70, 18.9, 7.5, strip=True, arrow_left=True),
        kit.mark(51, 16, 1.7),
        kit.mark(85, 16, 1.7),
    )
    return kit.picture(
        WIDE,
        HIGH,
        up,
        down,
        kit.arrow(30, 29, 41, 29),
        kit.arrow(63, 29, 52, 29),
        kit.words(35, 31, "leading edge", 2.3, anchor="middle"),
        kit.words(58, 31, "leading edge", 2.3, anchor="middle"),
        kit.words(24, 6.5, "arrow to the leading edge", 2.4, anchor="middle"),
        kit.words(69, 6.5, "here the card hangs upside down:\nthat is right", 2.4, anchor="middle"),
        kit.words(46, 38.5, "above the chord line, flat, nothing over it", 2.6, bold=True, anchor="middle"),
    )


def two_cards_picture() -> Drawing:
    """Two cards far apart on one rib."""
    return kit.picture(
        WIDE,
        HIGH,
        kit.rib(46, 14, 82),
        kit.card(72, 17.8, 12.5, strip=True, turn=2),
        kit.card(29, 17.8, 12.5, strip=True, turn=-3),
        kit.mark(81, 14, 2.6),
        kit.mark(12, 14, 2.6),
        kit.string(49, 40, 9),
        kit.arrow(29, 28, 72, 28, both=True),
        kit.words(61, 29.2, "as far apart as fits", 2.4, anchor="middle"),
        kit.words(3, 38.5, "two cards on one rib", 2.6, bold=True),
        kit.words(3, 35, "their turn to each other\ndoes not matter", 2.3),
    )


def marks_picture() -> Drawing:
    """A mark laid on the line, near; and where along the chord."""
    near = Group(Line(2, 24, 44, 24, strokeWidth=0.5), kit.mark(23, 24, 13))
    for side in (-1, 1):
        near.add(Line(23 + side * 7.1, 24, 23 + side * 8.1, 24, strokeWidth=0.25))
    return kit.picture(
        WIDE,
        HIGH,
        near,
        kit.verdict(39, 33, True),
        Group(Line(50, 24, 89, 24, strokeWidth=0.5), kit.mark(69, 25.6, 9), kit.verdict(84, 33, False)),
        kit.words(23, 10.5, "centre and strokes on the line", 2.4, anchor="middle"),
        kit.words(69, 10.5, "beside the line: the angle\ngoes wrong with it", 2.4, anchor="middle"),
        kit.words(46, 38.5, "reference marks near both ends of the chord line", 2.6, bold=True, anchor="middle"),
    )


def gauge_picture() -> Drawing:
    """Tags beside an inclinometer's display."""
    body = Group(
        Rect(10, 9, 50, 22, rx=2, ry=2, fillColor=kit.WOOD, strokeColor=kit.DARK, strokeWidth=0.3),
        Rect(25, 14, 20, 12, fillColor=kit.PALE, strokeColor=kit.DARK, strokeWidth=0.2),
        kit.words(35, 18, "-0.4", 5, bold=True, anchor="middle"),
    )
    for x in (17.5, 52.5):
        body.add(Rect(x - 5, 15, 10, 10, fillColor=kit.WHITE, strokeWidth=0))
        body.add(Rect(x - 3.6, 16.4, 7.2, 7.2, fillColor=kit.BLACK, strokeWidth=0))
        body.add(Rect(x - 1.5, 18.5, 2, 3, fillColor=kit.WHITE, strokeWidth=0))
        body.add(Rect(x + 1, 17.5, 1.2, 2, fillColor=kit.WHITE, strokeWidth=0))
    return kit.picture(
        WIDE,
        HIGH,
        body,
        kit.words(46, 38.5, "gauge tags, only to read a display from its photo", 2.6, bold=True, anchor="middle"),
        kit.words(64, 25, "one tag on either\nside, same face,\nnot over the\ndisplay", 2.4),
    )


def lens_picture() -> Drawing:
    """The lens board, and tilted views of it."""
    board = Group(Rect(4, 9, 34, 24.5, fillColor=kit.WHITE, strokeColor=kit.MID, strokeWidth=0.2))
    for r in range(7):
        for c in range(10):
            if (r + c) % 2 == 0:
                board.add(Rect(6 + 3 * c, 29 - 3 * r, 3, 3, fillColor=kit.BLACK, strokeWidth=0))
    views = Group()
    for k, (turn, dx, dy) in enumerate([(-25, 0, 0), (15, 10, -3), (35, -2, 4), (-8, -12, 2)]):
        x = 52 + 22 * (k % 2)
        y = 27 - 14 * (k // 2)
        tile = Group(Rect(-3.4, -2.4, 6.8, 4.8, fillColor=kit.MID, strokeColor=kit.BLACK, strokeWidth=0.2))
        tile.translate(x + dx * 0.4, y + dy * 0.4)
        tile.rotate(turn)
        views.add(Rect(x - 9, y - 6, 18, 12, fillColor=None, strokeColor=kit.DARK, strokeWidth=0.3))
        views.add(tile)
    return kit.picture(
        WIDE,
        HIGH,
        board,
        views,
        kit.words(
            46,
            38.5,
            "lens board: a dozen photos, tilted, near and far, to the corners",
            2.5,
            bold=True,
            anchor="middle",
        ),
    )


def plumb_picture() -> Drawing:
    """The plumb line: bob in water, free of the rib."""
    side = Group(
        Rect(14, 12, 2, 24, fillColor=kit.WOOD, strokeColor=kit.DARK, strokeWidth=0.2),
        Rect(15.5, 2.5, 9, 9, fillColor=kit.PALE, strokeColor=kit.DARK, strokeWidth=0.25),
        kit.string(20, 41, 8.5),
        Line(15.5, 9.8, 24.5, 9.8, strokeColor=kit.DARK, strokeWidth=0.2),
    )
    return kit.picture(
        WIDE,
        HIGH,
        side,
        kit.words(28, 34, "plumb line", 2.6, bold=True),
        kit.words(
            28,
            30,
            "thin dark or bright string in front of the rib,\n5 to 30 mm away, touching nothing;\n"
            "a heavy bob, in a glass of water where\nthere is a draught; wait until it is still;\n"
            "long: it should run through the whole picture",
            2.4,
        ),
    )


PICTURES: dict[str, Callable[[], Drawing]] = {
    "mount-scale": scale_picture,
    "mount-card": card_picture,
    "mount-two-cards": two_cards_picture,
    "mount-marks": marks_picture,
    "mount-plumb": plumb_picture,
    "mount-lens-board": lens_picture,
    "mount-tags": gauge_picture,
}

TEXTS = {
    "mount-scale": "1. Print at 100 %. Measure one card's board across, down and along both diagonals, "
    "best with calipers; ribangle calibrate print turns that into a line for the job. Unmeasured, U allows "
    "for 0.5 % of stretch; worse than that: print again, on another printer.",
    "mount-card": "2. Glue each card to a stiff, flat board (3 mm plywood, acrylic, aluminium) before "
    "cutting. Fix it flat on "
    "the rib's face above the chord line, its name's rib, its arrow to the leading edge.",
    "mount-two-cards": "3. Where the tolerance is tight put two cards on the rib, one fore, one aft: they "
    "check each other. Both numbers belong to the station in the job file.",
    "mount-marks": "4. Reference marks show which of the drawn lines is the chord line and where it ends. "
    "A cross stroke "
    "by pen does as well.",
    "mount-plumb": "5. Hang the string near the middle of the picture, beside the cards, never over one.",
    "mount-lens-board": "6. Once for each camera: the lens board on glass or thick plywood, flat within 0.3 mm.",
    "mount-tags": "7. Tags for the gauge, if its display is to be photographed.",
}

_THEN = (
    "Then",
    "Read the next page before the first photo: what each piece of advice is worth is said there in degrees.",
    "ribangle plan JOB says beforehand how well each station can be read, and the cheapest set-up that "
    "decides its "
    "tolerance. ribangle check JOB PHOTOS says in seconds what is missing or blurred, while everything "
    "still hangs.",
    "Glues, resins, solvents and dust: precautions as their makers say.",
)


def mounting_page(book: Book, job: Job) -> None:
    """The first page: print, check, cut, mount."""
    free = book.page("how to print and mount")
    numbers = ", ".join(f"{n}" for s in job.stations for n in s.cards)
    words = f"{len(job.stations)} stations, cards {numbers}. " + " ".join(CAUTIONS[:2])
    y = book.prose(free.x, free.y + free.h - 4, words, 2.7, free.w) - 1
    step = (y - free.y) / 4
    for k, (name, draw) in enumerate(PICTURES.items()):
        x = free.x + (k % 2) * (free.w - WIDE)
        top = y - (k // 2) * step
        renderPDF.draw(draw(), book.canvas, x, top - HIGH)
        book.prose(x, top - HIGH - 3.6, TEXTS[name], 2.5, WIDE)
    x, top = free.x + free.w - WIDE, y - 3 * step - 3
    for k, line in enumerate(_THEN):
        top = book.prose(x, top, line, 2.7, WIDE, bold=k == 0) - 1.2
