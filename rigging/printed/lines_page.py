"""A page of the job's lines by name: where each is drawn or marked, and what it is to read."""

from __future__ import annotations

from rigging.printed.pages import Book
from shared.job.model import Job
from shared.job.named import NamedLine
from shared.rounding import number

HOW = {
    "line": "draw it along a straightedge with a thin, dark pen, from end to end",
    "two marks": "lay two quartered marks, centres on the line",
    "two edges": "its two edges, bare and clean, before a ground that they stand out from",
}


def lines_page(book: Book, job: Job) -> None:
    """The list, on as many pages as it takes."""
    free = book.page("lines by name")
    y = book.prose(
        free.x,
        free.y + free.h - 4,
        "Measure each place with a ruler from the middle of the card's chequered board, along the card's own edges. On a spar "
        "web, centre section or leading edge the card's arrow points outboard, and the photo is taken from before or behind, "
        "a string in view beside the card. A round bolt may stand before the face, if it runs parallel to it.",
        2.9,
        free.w,
    )
    for face in job.faces:
        lines = job.lines_at(face.name)
        if not lines:
            continue
        if y - free.y < 24:
            free = book.page("lines by name")
            y = free.y + free.h - 4
        numbers = ", ".join(map(str, face.cards))
        book.text(free.x, y - 5, f"{face.name} · card {numbers}", 3.2, bold=True, room=free.w)
        y -= 8
        for line in lines:
            if y - free.y < 14:
                free = book.page("lines by name")
                y = free.y + free.h - 4
            y = book.prose(free.x + 4, y, f"{line.name}: {line_words(line)}.", 2.8, free.w - 4) - 1.5


def line_words(line: NamedLine) -> str:
    """Where a line is, how it is marked, what it is to read."""
    parts = []
    if line.from_card_mm is not None:
        x, z = line.from_card_mm
        ahead = f"{number(abs(x), 0)} mm {'towards the arrow' if x >= 0 else 'against the arrow'}"
        parts.append(
            f"its middle {ahead} and {number(abs(z), 0)} mm {'above' if z >= 0 else 'below'} the card's middle"
        )
    if line.length_mm is not None:
        parts.append(f"{number(line.length_mm, 0)} mm {'apart' if line.marked == 'two marks' else 'long'}")
    if line.width_mm is not None:
        parts.append(f"{number(line.width_mm, 1)} mm wide")
    parts.append(HOW[line.marked])
    parts.append(
        f"to read {number(line.deg, 2)}\N{DEGREE SIGN} \N{PLUS-MINUS SIGN} {number(line.tolerance_deg, 2)}\N{DEGREE SIGN} "
        f"to {line.to}, {line.positive} positive"
    )
    return "; ".join(parts)
