"""What of the job's dimensions a photo is fit for. No value is told."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from shared.reading import Measured

Said = tuple[str, str]
"""A doubt's code and its text."""


def doubts_of(dimensions: Iterable[Measured]) -> Iterator[Said]:
    """Why dimensions of a photo have no value, and what makes those that have one doubtful. dimensions : of the photo."""
    for m in dimensions:
        if m.quantity is None:
            yield "dimension", f"{m.place}: {m.name}: {m.reason}"
        yield from ((f.code, f"{m.name}: {f.text}") for f in m.flags)
