"""What a report is made of. Sections hold blocks; HTML and PDF both show the same blocks."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from rigging.plots import Plot

State = Literal["conforming", "nonconforming", "undecided", "not measured"]
SYMBOLS: dict[str, str] = {"conforming": "✓", "nonconforming": "✗", "undecided": "?", "not measured": "–"}


@dataclass(frozen=True)
class Cell:
    """A table cell. state : shown by symbol and colour. share : 0 to 1, shown as a bar. code : hashes.

    strong : stands out.
    """

    text: str
    state: State | None = None
    share: float | None = None
    code: bool = False
    strong: bool = False


@dataclass(frozen=True)
class Words:
    """A paragraph. kind : "note" is small print, "warning" stands out."""

    text: str
    kind: Literal["plain", "note", "warning"] = "plain"


@dataclass(frozen=True)
class Points:
    """A list. ordered : numbered, when the order counts."""

    items: tuple[str, ...]
    ordered: bool = False


@dataclass(frozen=True)
class Table:
    """A table; the first cell of every row heads it. left : columns set flush left (words, not numbers).

    folded : starts closed on a screen; always open in print.
    """

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    left: frozenset[int] = frozenset({0})
    folded: bool = False


@dataclass(frozen=True)
class Folder:
    """Small tables behind one lid, for a screen only: paper shows the same numbers in another block."""

    caption: str
    tables: tuple[Table, ...]


@dataclass(frozen=True)
class Pictures:
    """Plots side by side where there is room."""

    plots: tuple[Plot, ...]


@dataclass(frozen=True)
class AnnotatedPhoto:
    """One annotated photo. sha256 : of the photo. jpeg : its bytes, size its pixels. caption : under it."""

    sha256: str
    alt: str
    caption: str
    jpeg: bytes
    size: tuple[int, int]


@dataclass(frozen=True)
class Shots:
    """Annotated photos: small, opening large."""

    shots: tuple[AnnotatedPhoto, ...]


@dataclass(frozen=True)
class Signatures:
    """Room to sign. roles : who signs."""

    roles: tuple[str, ...]


Block = Words | Points | Table | Folder | Pictures | Shots | Signatures


@dataclass(frozen=True)
class Section:
    """A headed part. ident : anchor in the page."""

    ident: str
    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True)
class Document:
    """The whole report.

    state : the wing's outcome at a glance. verdict : the same in one sentence. facts : name and value,
    shown under the title.
    """

    title: str
    state: State
    verdict: str
    facts: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...] = field(default_factory=tuple)


def cells(*texts: str | Cell) -> tuple[Cell, ...]:
    """A row from texts and cells."""
    return tuple(t if isinstance(t, Cell) else Cell(t) for t in texts)
