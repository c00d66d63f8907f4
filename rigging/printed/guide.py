"""How to photograph, on one page: each piece of advice drawn, with what it is worth in degrees."""

from __future__ import annotations

from collections.abc import Callable

from reportlab.graphics import renderPDF
from reportlab.graphics.shapes import Circle, Drawing, Group, Line, Polygon, Rect

from rigging.planning.advice_worth import Worth, kept
from rigging.printed import kit
from rigging.printed.pages import Book

WIDE, HIGH = 60.0, 40.0
"""Size of every picture, mm."""


def square_picture() -> Drawing:
    """From above: the camera square to the rib, right opposite the string; and askew."""
    good = Group(
        Rect(4, 29, 24, 1.6, fillColor=kit.WOOD, strokeColor=kit.DARK, strokeWidth=0.2),
        Circle(16, 27.2, 0.6, fillColor=kit.BLACK),
        kit.dashed(16, 10, 16, 29),
        kit.phone(16, 8.5),
        Rect(16, 26.8, 2, 2, fillColor=None, strokeColor=kit.MID, strokeWidth=0.2),
        kit.verdict(6, 36, True),
    )
    bad = Group(
        Rect(33, 29, 24, 1.6, fillColor=kit.WOOD, strokeColor=kit.DARK, strokeWidth=0.2),
        Circle(37, 27.2, 0.6, fillColor=kit.BLACK),
        kit.dashed(51, 10, 44, 29),
        kit.phone(51.6, 8.5, 20),
        kit.verdict(36, 36, False),
    )
    return kit.picture(
        WIDE,
        HIGH,
        good,
        bad,
        kit.words(16, 3, "seen from above", 2.0, anchor="middle"),
        kit.words(9, 24, "string", 2.0),
        kit.words(45, 3, "askew, string aside", 2.0, anchor="middle"),
    )


def fill_picture() -> Drawing:
    """The rib fills the picture, or is lost in it."""
    good = kit.screen(5, 12, 22, 18, kit.rib(16, 20, 17), kit.card(16, 22.2, 3, strip=True))
    bad = kit.screen(34, 12, 22, 18, kit.rib(45, 20, 7), kit.card(45, 20.9, 1.2, strip=True))
    return kit.picture(
        WIDE,
        HIGH,
        good,
        bad,
        kit.verdict(6, 35.5, True),
        kit.verdict(34, 35.5, False),
        kit.words(17, 6, "chord 2/3 to 4/5\nof the width", 2.1, anchor="middle"),
        kit.words(45, 6, "too far away", 2.1, anchor="middle"),
    )


def string_picture() -> Drawing:
    """The string near the middle, beside the card; and over it."""
    good = kit.screen(
        5, 10, 22, 20, kit.rib(16, 19, 19), kit.card(19.5, 21.4, 3.6, strip=True), kit.string(14.5, 30, 15)
    )
    bad = kit.screen(34, 10, 22, 20, kit.rib(45, 19, 19), kit.card(47, 21.4, 3.6, strip=True), kit.string(47, 30, 15))
    return kit.picture(
        WIDE,
        HIGH,
        good,
        bad,
        kit.verdict(6, 35.5, True),
        kit.verdict(34, 35.5, False),
        kit.words(17, 5, "near the middle", 2.1, anchor="middle"),
        kit.words(45, 5, "over the card", 2.1, anchor="middle"),
    )


def cards_picture() -> Drawing:
    """Two cards far apart; a card that stands off the rib."""
    two = Group(
        kit.rib(30, 25, 54),
        kit.card(47, 28, 8, strip=True),
        kit.card(19, 28, 8, strip=True),
        kit.verdict(6, 35.5, True),
    )
    off = Group(
        Rect(24, 4, 1.6, 13, fillColor=kit.WOOD, strokeColor=kit.DARK, strokeWidth=0.2),
        Line(25.8, 6, 29, 15, strokeColor=kit.BLACK, strokeWidth=0.7),
        kit.verdict(17, 12, False),
    )
    return kit.picture(WIDE, HIGH, two, off, kit.words(32, 11, "card stands off", 2.1))


def lean_picture() -> Drawing:
    """Seen along the span: a leaning rib, and a spirit level held against its face."""
    rib = Group(Rect(-0.9, -12, 1.8, 24, fillColor=kit.WOOD, strokeColor=kit.DARK, strokeWidth=0.2))
    rib.translate(15, 20)
    rib.rotate(8)
    gauge = Group(
        Rect(-1.1, -7, 2.2, 14, fillColor=kit.PALE, strokeColor=kit.BLACK, strokeWidth=0.25),
        Circle(0, 0, 0.8, fillColor=kit.WHITE, strokeColor=kit.BLACK, strokeWidth=0.2),
    )
    gauge.translate(17.2, 20)
    gauge.rotate(8)
    two = Group(kit.rib(44, 22, 28), kit.string(39, 36, 12), kit.string(50, 36, 12))
    return kit.picture(
        WIDE,
        HIGH,
        kit.dashed(15, 6, 15, 36),
        rib,
        gauge,
        two,
        kit.words(15, 3, "lean", 2.1, anchor="middle"),
        kit.words(44, 3, "or two strings", 2.1, anchor="middle"),
    )


def zoom_picture() -> Drawing:
    """The camera's 1x button; zoom crossed out."""
    body = Group(
        Rect(18, 6, 24, 30, rx=2, ry=2, fillColor=kit.DARK, strokeWidth=0),
        Rect(20, 12, 20, 22, fillColor=kit.PALE, strokeWidth=0),
        kit.rib(30, 24, 14),
    )
    for x, label, chosen in ((24, ".5", False), (30, "1×", True), (36, "3", False)):
        body.add(
            Circle(
                x,
                15.5,
                2.1,
                fillColor=kit.WHITE if chosen else kit.MID,
                strokeColor=kit.BLACK,
                strokeWidth=0.2,
            )
        )
        body.add(kit.words(x, 14.8, label, 1.9, anchor="middle", bold=chosen))
    body.add(Circle(30, 9, 1.8, fillColor=kit.WHITE, strokeWidth=0))
    return kit.picture(
        WIDE,
        HIGH,
        body,
        kit.verdict(10, 15.5, False),
        kit.verdict(50, 15.5, False),
        kit.words(30, 2.2, "1× and nothing else", 2.1, anchor="middle"),
    )


def light_picture() -> Drawing:
    """No flash; elbows on something."""
    flash = Group(
        kit.bulb(14, 24, 8),
        Line(5, 14, 23, 34, strokeColor=kit.BLACK, strokeWidth=0.8),
        kit.verdict(6, 35.5, False),
    )
    stand = Group(
        Rect(34, 6, 20, 2, fillColor=kit.WOOD, strokeColor=kit.DARK, strokeWidth=0.2),
        Polygon([44, 20, 38, 8, 50, 8], fillColor=None, strokeColor=kit.DARK, strokeWidth=0.5),
        kit.phone(44, 21.5, 0, 9),
        kit.verdict(34, 35.5, True),
    )
    return kit.picture(
        WIDE,
        HIGH,
        flash,
        stand,
        kit.words(14, 6, "no flash", 2.1, anchor="middle"),
        kit.words(44, 2.3, "rested or on a stand", 2.1, anchor="middle"),
    )


def photos_picture() -> Drawing:
    """Three places to stand, seen from above."""
    g = Group(
        Rect(14, 31, 32, 1.6, fillColor=kit.WOOD, strokeColor=kit.DARK, strokeWidth=0.2),
        Circle(30, 29.2, 0.6, fillColor=kit.BLACK),
    )
    for x, turn in ((20, -14), (30, 0), (40, 14)):
        g.add(kit.phone(x, 10, turn))
        g.add(kit.dashed(x, 12, 30 + (x - 30) * 0.15, 30.5))
    return kit.picture(WIDE, HIGH, g, kit.words(30, 4, "a hand's breadth apart", 2.1, anchor="middle"))


def transfer_picture() -> Drawing:
    """From the phone to the computer: by cable, whole; not by messenger."""
    g = Group(
        Rect(6, 17, 9, 16, rx=1, ry=1, fillColor=kit.DARK, strokeWidth=0),
        Rect(7, 19, 7, 12, fillColor=kit.PALE, strokeWidth=0),
        Rect(40, 20, 16, 11, fillColor=kit.DARK, strokeWidth=0),
        Rect(41, 21, 14, 9, fillColor=kit.PALE, strokeWidth=0),
        Polygon([38, 18, 58, 18, 56, 20, 40, 20], fillColor=kit.MID, strokeWidth=0),
        kit.arrow(17, 28, 37, 28, 0.6),
        kit.verdict(27, 33, True),
        kit.words(27, 24.5, "cable, card", 2.1, anchor="middle"),
    )
    bubble = Group(
        Rect(21, 6, 12, 8, rx=2, ry=2, fillColor=kit.WHITE, strokeColor=kit.BLACK, strokeWidth=0.25),
        Polygon([23, 6, 25.5, 6, 22.5, 3.5], fillColor=kit.WHITE, strokeColor=kit.BLACK, strokeWidth=0.25),
        Line(23, 11, 31, 11, strokeWidth=0.3),
        Line(23, 9, 29, 9, strokeWidth=0.3),
        kit.verdict(38, 10, False),
    )
    return kit.picture(WIDE, HIGH, g, bubble)


PICTURES: dict[str, Callable[[], Drawing]] = {
    "photo-square": square_picture,
    "photo-fill": fill_picture,
    "photo-string": string_picture,
    "photo-cards": cards_picture,
    "photo-lean": lean_picture,
    "photo-zoom": zoom_picture,
    "photo-light": light_picture,
    "photo-several": photos_picture,
    "photo-transfer": transfer_picture,
}


def instead(worth: Worth) -> str:
    """The worth of a piece of advice in words."""
    if worth.kind == "U":
        both = (f"{v:.3f}" if v < 0.1 else f"{v:.2f}" for v in (worth.followed, worth.ignored))
        return "±{}° instead of ±{}°".format(*both)
    return f"up to {worth.ignored:.2f}° wrong"


def advice(worth: dict[str, Worth] | None = None) -> dict[str, tuple[str, str]]:
    """Heading and text for each picture, with the figures put in."""
    w = {k: instead(v) for k, v in (worth or kept()).items()}
    return {
        "photo-square": (
            "Stand square, opposite the string",
            "Lens at the height of the chord line, straight in front of "
            f"the string, looking square at the rib: {w['square']} askew with the string far aside.",
        ),
        "photo-fill": (
            "Come close",
            "The whole chord in the picture, with a little room at both ends, the phone held "
            f"across: {w['fill']} from too far away.",
        ),
        "photo-string": (
            "String: middle, beside the cards",
            "In front of the rib, in the middle third, free from end to end, "
            f"bob still and in the picture. Over a card it hides corners: an angle from these is {w['crossed']}.",
        ),
        "photo-cards": (
            "Cards flat and true, two where it matters",
            f"A card 2 mm off at one end: {w['lifted']}. A print stretched by 1 % and not measured: {w['stretched']}. "
            f"Two cards far apart check each other: {w['two-cards']}.",
        ),
        "photo-lean": (
            "Know the rib's lean",
            f"From a level on the rib's face, to 0.2°: {w['lean']} for a lean known to 2°. "
            f"Two strings: {w['two-strings']} with one. A level laser line: {w['level-line']}.",
        ),
        "photo-zoom": (
            "Never zoom",
            f"Main camera, 1×, no filter, not cropped. Zoomed by 1.25 and read with the plain profile: "
            f"{w['zoom']}. Calibrate it once: {w['profile']}.",
        ),
        "photo-light": (
            "Light, no flash, hold still",
            "Even light from the side; flash shines on the cards and throws a second "
            f"line beside the string. Sharp: {w['sharp']} for a blurred one.",
        ),
        "photo-several": (
            "Three photos of each station",
            "From three places a hand's breadth apart, all cards and the string in "
            f"each: {w['photos']} for one; a slip shows. Lean unknown: one step to the side, the string towards the "
            "other end of the picture, and two photos measure it. Ribs behind, seen over this one, are read too.",
        ),
        "photo-transfer": (
            "Copy the originals",
            "By cable, memory card or a drive that keeps originals. Messengers shrink "
            "photos and drop what names the lens: then the profile cannot be found.",
        ),
    }


def guide_page(book: Book) -> None:
    """The page: nine pictures, each with its advice."""
    free = book.page("how to photograph")
    y = (
        book.prose(
            free.x,
            free.y + free.h - 4,
            "Per rib: station card flat, arrow to the leading edge; reference marks on the "
            "chord line; string hanging still; chord line drawn and clean. The figures are U (k = 2, "
            "about 95 %) for an "
            "example: 1 m chord, one strip card, phone of 27 mm, lean known to 0.5°. ribangle plan JOB "
            "gives your own.",
            2.6,
            free.w,
        )
        - 2.5
    )
    step, gap = (y - free.y) / 3, (free.w - 3 * WIDE) / 2
    for k, (name, (heading, text)) in enumerate(advice().items()):
        x, top = free.x + (k % 3) * (WIDE + gap), y - (k // 3) * step
        book.text(x, top - 3, f"{k + 1}. {heading}", 2.8, bold=True, room=WIDE)
        renderPDF.draw(PICTURES[name](), book.canvas, x, top - 5 - HIGH)
        book.prose(x, top - HIGH - 8.8, text, 2.8, WIDE)
