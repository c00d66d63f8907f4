"""Whether a photo stands on its head: what its string tells.

Turned by half a turn, a photo shows the same rib, card and arrow as from its other side, and every angle with the other sign;
only gravity differs. A plumb line comes from above, mostly out of the picture, and ends below at its bob, mostly within it. A
string that ends within the picture at the top and leaves it at the bottom was seen upside down, or hangs from something in the
picture, its bob below it; that is for a person to say. Where the string does not decide, the file's own word counts (EXIF
orientation).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from shared.flags import Flag, FlagCode
from shared.quantity import Quantity
from vision.evidence.belief import Belief
from vision.image.photo import Picture
from vision.image.rectified import Plane

END_PLACES = 4
"""Places of a strip at the picture's edge over which a string must show, or not: 0.08 chords."""
THERE, GONE = 0.6, 0.2
"""Mean probability there of a string that goes on at least, and of one that has ended at most. By judgement; what lies
between leaves it open."""


@dataclass(frozen=True)
class StringAtEdges:
    """How surely a string shows at the picture's upper and at its lower edge; NaN where the strip does not reach it."""

    top: float
    bottom: float


def edges_of(picture: Picture, plane: Plane, string: Belief) -> StringAtEdges:
    """How surely one string shows at the picture's upper and lower edge.

    picture : whose height counts. plane : of the rib. string : what the witness believes at each place along it.
    Means over `END_PLACES` places.
    """
    px = plane.to_pixels(string.places)
    inside = np.flatnonzero((px[:, 1] >= 0) & (px[:, 1] < picture.height))
    if len(inside) < 4 * END_PLACES:
        return StringAtEdges(float("nan"), float("nan"))
    top = string.seen[inside[:END_PLACES]].mean() if inside[0] > 0 else float("nan")
    bottom = string.seen[inside[-END_PLACES:]].mean() if inside[-1] < len(px) - 1 else float("nan")
    return StringAtEdges(float(top), float(bottom))


def which_way_up(
    picture: Picture, edges: tuple[StringAtEdges, ...], chord: Quantity
) -> tuple[str | None, tuple[Flag, ...]]:
    """A reason to give no angle, or doubts, about which way up the photo is. edges : of each of its strings.

    picture : whose EXIF may say how the camera was held. chord : as measured; near 180 degrees the photo is on its
    head.
    """
    told = {way_up(e) for e in edges} - {"open"}
    if "on its head" in told:
        doubt = FlagCode.UPSIDE_DOWN.flag(
            "the string ends in the picture at the top and leaves it at the bottom; the photo seems to stand on its head"
        )
        return (None, (doubt,)) if picture.exif.told else (doubt.text, ())
    if told or picture.exif.told or abs(chord.value) < 2 * chord.u:
        return None, ()
    return None, (
        FlagCode.WHICH_WAY_UP.flag(
            "neither the file nor the string shows which way up the photo is; on its head the angle "
            "would have the other sign"
        ),
    )


def way_up(edges: StringAtEdges) -> Literal["upright", "on its head", "open"]:
    """What one string says of which way is up: its upper end leaves the picture, its lower end hangs in it.

    edges : of that string. "open" where both ends or neither do.
    """
    if edges.top > THERE and edges.bottom < GONE:
        return "upright"
    if edges.top < GONE and edges.bottom > THERE:
        return "on its head"
    return "open"
