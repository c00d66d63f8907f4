"""A page of the job's dimensions: what each stands between, what to mark for it, what it is to be."""

from __future__ import annotations

from rigging.printed.pages import Book
from rigging.survey.dimension_words import design_words
from shared.dimensions import Dimension, Kind
from shared.job.model import Job

MARKED = {
    "nose": "a quartered mark on the chord line near the leading edge",
    "tail": "a quartered mark on the chord line near the trailing edge",
    "card": "nothing but the card itself",
    "mark": "a quartered mark or a pen cross, which you point at",
    "chord": "the chord line",
    "spar": "the spar line",
    "line": "a thin, dark line or a string in the card's plane, which you point at",
    "edge": "a straight edge, bare and clean, before a ground that it stands out from; you point at it",
}
"""What each kind of feature asks for."""
BEST = {
    Kind.STEP: "card on the fixed part, the camera square to the face and near",
    Kind.GAP: "card on the fixed part, the camera square to the face and near",
    Kind.SWEEP: "from above or below; the string square to the root, in the card's plane",
    Kind.CHORD: "two cards far apart, if there are two",
}
"""How such a dimension is best photographed, beside squarely and with the card in view."""


def dimensions_page(book: Book, job: Job) -> None:
    """The list, on as many pages as it takes."""
    free = book.page("dimensions")
    y = book.prose(
        free.x,
        free.y + free.h - 4,
        "Lengths and angles in the plane of a card: everything that one stands on must lie in that plane, to a fraction of a "
        "millimetre, and show in one photo with the card. Print scale goes straight into a length: measure the check bar. No "
        "string is needed.",
        2.9,
        free.w,
    )
    for d in job.dimensions:
        if y - free.y < 20:
            free = book.page("dimensions")
            y = free.y + free.h - 4
        numbers = ", ".join(map(str, d.cards))
        book.text(free.x, y - 5, f"{d.place}: {d.name} \N{MIDDLE DOT} card {numbers}", 3.2, bold=True, room=free.w)
        y = book.prose(free.x + 4, y - 9.5, f"{dimension_words(d, job)}.", 2.8, free.w - 4) - 1.5


def dimension_words(d: Dimension, job: Job) -> str:
    """What a dimension is, what to mark for it, what it is to be."""
    parts = [f"{d.kind.label}, from {d.between[0].text} to {d.between[1].text}"]
    parts += dict.fromkeys(f"{part.text}: {MARKED[part.what]}" for part in d.features if part.what not in ("card",))
    if d.kind in BEST:
        parts.append(BEST[d.kind])
    if said := design_words(job, d):
        parts.append(f"to be {said}")
    return "; ".join(parts)
