"""Whether a photo stands on its head: what its string tells.

Turned by half a turn, a photo shows the same rib, card and arrow as from its other side, and every angle with the
other sign; only gravity differs. A plumb line comes from above, mostly out of the picture, and ends below at its
bob, mostly within it. A string that ends within the picture at the top and leaves it at the bottom was seen upside
down, or hangs from something in the picture, its bob below it; that is for a person to say. Where the string does
not tell, the file's own word counts (EXIF orientation); where there is none either, it matters only if the other
sign would do as well for the design.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from shared.job.model import Station
from shared.numerics.small_sums import straight
from shared.quantity import Quantity
from shared.reading import Flag
from vision.detect import Findings
from vision.image.photo import Picture
from vision.image.rectified import Plane
from vision.level.crossing import seen_along
from vision.lines.measure import Stroke

F64 = NDArray[np.float64]
U8 = NDArray[np.uint8]

RIM_PX = 24
"""Pixels at the picture's upper and lower edge that are not looked at."""
END_MM = 45.0
"""Length of the string's path at the picture's edge over which it must be seen, or not."""
THERE, GONE = 0.6, 0.2
"""Share of that length over which a string that goes on is seen at least, and one that has ended at most."""
PLAUSIBLE_DEG = 2.0
"""How far from the design a chord angle may be to be as plausible as the one of the other sign."""


@dataclass(frozen=True)
class Edges:
    """Share of a string's path over which it is seen at the picture's upper and at its lower edge."""

    top: float
    bottom: float


def which_way_up(
    picture: Picture,
    edges: tuple[Edges, ...],
    chord: Quantity,
    station: Station,
) -> tuple[str | None, tuple[Flag, ...]]:
    """A reason to give no angle, or doubts, about which way up the photo is. edges : of each of its strings."""
    told = {way_up(e) for e in edges} - {"open"}
    if "on its head" in told:
        text = (
            "the string ends in the picture at the top and leaves it at the bottom: the photo seems to stand on its head; "
            "turn it by half a turn, or let the string come from above the picture"
        )
        return (None, (Flag("upside-down", text),)) if picture.exif.told else (text, ())
    other = abs(-chord.value - station.chord_deg)
    if told or picture.exif.told or other > PLAUSIBLE_DEG or abs(chord.value) < 2 * chord.u:
        return None, ()
    return None, (
        Flag(
            "which-way-up",
            "neither the file nor the string tells which way up the photo is; on its head the angle "
            "would have the other sign: use the camera's own file, or let the bob show",
        ),
    )


def way_up(edges: Edges) -> Literal["upright", "on its head", "open"]:
    """What one measured string tells."""
    if edges.top > THERE and edges.bottom < GONE:
        return "upright"
    if edges.top < GONE and edges.bottom > THERE:
        return "on its head"
    return "open"


def edges_of(picture: Picture, found: Findings) -> tuple[Edges, ...]:
    """Of each measured string of a photo, in the grey picture."""
    return tuple(
        at_the_edges(picture.gray, found.plane, s)
        for line, s in zip(found.lines, found.strokes, strict=True)
        if line.role == "plumb"
    )


def at_the_edges(image: U8, plane: Plane, stroke: Stroke) -> Edges:
    """Where a string is seen at the picture's edges. image : (h, w) or (h, w, 3), full size."""
    h = image.shape[0]
    slope, at = straight(stroke.uv[:, 1], stroke.uv[:, 0])

    def there(v: float) -> F64:
        return np.array([slope * v + at, v])

    x = float(plane.to_pixels(there(float(stroke.uv[:, 1].mean()))[None])[0, 0])
    edge = plane.to_sheet(np.array([[x, RIM_PX], [x, h - 1.0 - RIM_PX]]))[:, 1]
    # what lies round about is part of the yardstick
    reach = min(2 * END_MM, float(edge[1] - edge[0]))
    seen, centre = seen_along(image, plane, there(float(edge[0])), there(float(edge[0]) + reach))
    top = seen[centre[:, 1] < edge[0] + END_MM].mean()
    seen, centre = seen_along(image, plane, there(float(edge[1]) - reach), there(float(edge[1])))
    bottom = seen[centre[:, 1] > edge[1] - END_MM].mean()
    return Edges(float(top), float(bottom))
