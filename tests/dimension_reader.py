"""A stand-in for the reading of a photo of a place: its first dimension needs an edge and a mark pointed at."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from shared.job.model import Job
from shared.quantity import Component, Quantity
from shared.reading import NO_RIB, Angle, Evidence, Made, Measured, Photo, Reading, SeenCard
from vision.image.photo import Picture
from vision.lines.hints import Hint, Pointed


def read_photo(picture: Picture, job: Job, hints: Sequence[Hint | Pointed] = ()) -> Reading:
    """A value of 0.3 mm once everything that a dimension stands on was pointed at."""
    done = {h.key for h in hints}
    none = Angle(None, NO_RIB)
    card = SeenCard("panel", 20, ((0.0, 0.0), (9.0, 0.0), (9.0, 9.0), (0.0, 9.0)), (), (), 0.1)
    measured = []
    for d in job.dimensions:
        lacks = next((f.text for f in d.features if f.text not in done), None)
        value = None if lacks else Quantity(0.3, (Component("line and edge fit", picture.sha256[:6], 0.05),))
        why = None if value else f"nobody has pointed at {lacks} in this photo"
        measured.append(Measured(d.place, d.name, d.kind.unit, value, why))
    return Reading(
        Photo(picture.name, picture.sha256, picture.width, picture.height, None, None), job.places[0].name, none, none,
        None, None,
        Made("test", None, None, helped=bool(hints)), evidence=Evidence((picture.width, picture.height), (card,)),
        dimensions=tuple(measured),
    )  # fmt: skip


def draw(picture: Picture, reading: Reading, job: Job) -> Any:  # noqa: ARG001 - the drawer's signature
    """A small picture."""
    return np.full((8, 8, 3), int(picture.gray.mean()), np.uint8)
