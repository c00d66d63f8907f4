"""The rib whose lines are looked for: what every finder of a level reference, and of the spar line, needs to know of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shared.numerics.arrays import F64, Box
from vision.evidence.views import Photograph
from vision.image.rectified import Plane


@dataclass(frozen=True)
class RibFace:
    """What the lines of a rib are looked for with. chord : (2, 2) sheet mm of the chord line, left end first. scale : pixels a
    mm. boxes : (u0, v0, u1, v1) sheet mm of the cards."""

    photo: Photograph
    plane: Plane
    chord: F64
    chord_mm: float
    forward_right: bool
    blur: float
    boxes: tuple[Box, ...]


def ring_of(box: Box) -> F64:
    """(4, 2) corners of a box."""
    u0, v0, u1, v1 = box
    return np.array([[u0, v0], [u1, v0], [u1, v1], [u0, v1]])
