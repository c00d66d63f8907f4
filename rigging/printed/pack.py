"""The whole pack of printed matter for a job, as one PDF at true scale."""

from __future__ import annotations

from collections.abc import Iterable

from rigging.printed import aids, dimensions_page, guide, lines_page, mounting
from rigging.printed.boards import kind_for
from rigging.printed.card_sheet import PrintedCard, draw_card
from rigging.printed.order_page import order_page
from rigging.printed.pages import Book
from shared.cards import KINDS, CardKind
from shared.job.model import Job, Station
from vision.cards.spec import LAST_CARD

SPARES = 4
_GAP = 4.0


def card_kind(station: Station) -> CardKind:
    """The kind of card a station gets: the job's word, or what its rib's depth allows."""
    return station.card or kind_for(station.chord_mm)


def cards_of(job: Job, spares: int = SPARES) -> tuple[PrintedCard, ...]:
    """The cards in the job's order, then spares (as many of each kind) with unused numbers."""
    cards = [PrintedCard(card_kind(s), n, s.name, job.wing.name) for s in job.stations for n in s.cards]
    cards += [PrintedCard(p.card, n, p.name, job.wing.name, p.arrow == "outboard") for p in job.places for n in p.cards]
    used = {c.number for c in cards}
    free = [n for n in range(LAST_CARD + 1) if n not in used][:spares]
    return (
        *cards,
        *(PrintedCard(KINDS[k * len(KINDS) // max(len(free), 1)], n, None, job.wing.name) for k, n in enumerate(free)),
    )


def print_pack(job: Job, paper: str = "a4", spares: int = SPARES) -> bytes:
    """The PDF: how to mount and to photograph, the order of the set-up, lines by name and dimensions if any, station cards,
    reference marks, gauge tags, lens board.

    paper : "a4" or "letter". Black and grey only.
    """
    book = Book(paper, job.wing.name)
    mounting.mounting_page(book, job)
    guide.guide_page(book)
    order_page(book, job)
    if job.lines:
        lines_page.lines_page(book, job)
    if job.dimensions:
        dimensions_page.dimensions_page(book, job)
    cards_pages(book, cards_of(job, spares))
    aids.marks_page(book)
    aids.tags_page(book)
    aids.lens_page(book)
    return book.done()


def cards_pages(book: Book, cards: Iterable[PrintedCard]) -> None:
    """Cards down the page, as many as fit; on each page the widest kind first, so that none is wasted."""
    waiting = list(cards)
    while waiting:
        free = book.page("station cards")
        y = free.y + free.h
        for card in _next_page(waiting, free.h):
            waiting.remove(card)
            width, height = card.size
            y -= height
            draw_card(book, card, book.width / 2 - width / 2, y)
            y -= _GAP


def _next_page(waiting: list[PrintedCard], room: float) -> list[PrintedCard]:
    """The first card waiting, and after it whichever following ones still fit."""
    taken = []
    for card in waiting:
        if card.size[1] <= room:
            taken.append(card)
            room -= card.size[1] + _GAP
    return taken
