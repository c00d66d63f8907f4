"""What features are looked for in: one photo, one plane."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shared.numerics.arrays import F64, U8, Box
from vision.cards.detect import Card
from vision.evidence.views import Photograph
from vision.image.photo import Picture
from vision.image.rectified import Plane


@dataclass(frozen=True)
class PlaneSight:
    """A plane as its features are looked for.

    boxes : (u0, v0, u1, v1) sheet mm of the cards in it. scale : pixels a mm at the cards. blur : standard deviation of the
    picture's, pixels.
    """

    photo: Photograph
    plane: Plane
    boxes: tuple[Box, ...]
    blur: float

    @classmethod
    def of(cls, picture: Picture, plane: Plane, cards: tuple[Card, ...]) -> PlaneSight:
        """The sight of a plane. picture : the photo. plane : laid flat. cards : those that lie in it."""
        scale = float(np.median([c.px_per_mm for c in cards]))
        rings = [plane.to_sheet(c.at(c.spec.paper())) for c in cards]
        boxes = tuple(
            (float(r[:, 0].min()), float(r[:, 1].min()), float(r[:, 0].max()), float(r[:, 1].max())) for r in rings
        )
        return cls(Photograph.of(picture, scale), plane, boxes, 0.8 * float(np.median([c.blur_px for c in cards])))

    @property
    def gray(self) -> U8:
        """The picture's grey, (h, w)."""
        return self.photo.picture.gray

    @property
    def scale(self) -> float:
        """Pixels a mm at the cards."""
        return self.photo.scale

    def holds(self, pixel: F64) -> bool:
        """Whether it lies in the picture. pixel : (2,) x, y."""
        return bool(
            (pixel >= 0).all() and (pixel <= [self.photo.picture.width - 1, self.photo.picture.height - 1]).all()
        )
