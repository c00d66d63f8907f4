"""The order of the set-up as a list to tick at the bench: a line a step, with room for what was found and when."""

from __future__ import annotations

from rigging.order.ahead import bare
from rigging.order.words import what_to_do
from rigging.printed.pages import Book
from shared.job.model import Job

_HEADS = (("found wrong", 30.0), ("turned", 22.0), ("right, at", 26.0))
_LINE = 4.2


def order_page(book: Book, job: Job) -> None:
    """One page, or more where the steps do not fit."""
    setup = bare(job)
    where = "The job states this order." if setup.stated else "The job states no order: this is a usual one."
    y = 0.0
    for k, s in enumerate(setup.steps, 1):
        if y < 30.0:
            free = book.page("order of the set-up")
            told = (
                f"{where} A step hangs on those named under it; when one of them is turned, it is open again, however right "
                "it was. First say that a step is done, then photograph. ribangle order JOB and the page at the bench show "
                "how far it has come."
            )
            y = book.prose(free.x, free.y + free.h - 4, told, 2.7, free.w) - 5
            x = free.x + free.w - sum(w for _, w in _HEADS)
            for head, width in _HEADS:
                book.text(x, y, head, 2.6, bold=True)
                x += width
            y -= 7
        y = _step(book, k, (s.step.name, what_to_do(s), " and ".join(s.step.after)), (free.x, y, free.w))


def _step(book: Book, number: int, words: tuple[str, str, str], place: tuple[float, float, float]) -> float:
    """Draw one step from a baseline downwards; the next free baseline. place : x, y, width."""
    name, what, after = words
    x, y, width = place
    room = width - sum(w for _, w in _HEADS) - 12
    c = book.canvas
    c.setLineWidth(0.25)
    c.rect(x, y - 0.8, 4, 4, stroke=1, fill=0)
    at = x + width - sum(w for _, w in _HEADS)
    for _, w in _HEADS:
        c.line(at, y - 0.8, at + w - 3, y - 0.8)
        at += w
    y = book.prose(x + 7, y, f"{number}. {name}", 3.2, room, bold=True)
    y = book.prose(x + 7, y, what, 2.7, room)
    if after:
        y = book.prose(x + 7, y, f"hangs on {after}", 2.5, room)
    return y - _LINE
