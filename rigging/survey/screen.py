"""Tables that fit the terminal: columns are dropped or stacked where it is narrow, digits never cut."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
from rich.measure import Measurement
from rich.table import Table

UNBOUNDED = 10_000
"""Columns that no table reaches."""


@dataclass(frozen=True)
class Fitting:
    """The first of several renderings of the same thing that is narrow enough; the last where none is.

    A rendering is one table, or several that stand below each other.
    """

    renderings: tuple[Sequence[RenderableType], ...]

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield the parts of the rendering that fits."""
        free = options.update(max_width=UNBOUNDED)
        for parts in self.renderings[:-1]:
            if all(Measurement.get(console, free, part).maximum <= options.max_width for part in parts):
                yield from parts
                return
        yield from self.renderings[-1]


def plain_table(*names: str, left: Sequence[str] = ("station",), title: str | None = None) -> Table:
    """A table without a frame whose cells wrap before a digit is lost. left : columns of words, the rest are figures."""
    table = Table(title=title, title_justify="left", header_style="bold", box=None, padding=(0, 2, 0, 0))
    for name in names:
        table.add_column(name, justify="left" if name in left else "right", overflow="fold")
    return table
