"""A photo's only level reference, doubted where the angle is far from the design.

A rod, a cable or the string in a photographed photo looks like a string before the rib; a laser that stands out of level
looks like one that does not. One reference alone counts undoubted only if something vouches for it. A string comes from above
the picture; a rod that leans against the bench and a picture within the picture end in it. Near the design a rod that passes
through the picture, or a laser out of level, would have to be true by chance; far from it the string must have a bob at its
end, the laser a level profile, made by reversal.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from shared.job.model import Level, Station
from shared.numerics.small_sums import straight
from shared.quantity import Quantity
from shared.reading import Flag
from vision.detect import Findings
from vision.image.photo import Picture
from vision.image.rectified import Plane
from vision.level.bob import bob_seen
from vision.level.upright import GONE, Edges, at_the_edges
from vision.lines.measure import Stroke

F64 = NDArray[np.float64]

NEAR_DEG = 0.75
"""A chord angle nearer to the design than this asks for no bob and no profile."""


def lone_reference(
    picture: Picture, found: Findings, edges: tuple[Edges, ...], chord: Quantity, station: Station, level: Level
) -> tuple[Flag, ...]:
    """A doubt about the only level reference of a photo, the more so where its chord angle (deg) is far from the design.

    edges : of each of its strings.
    """
    off = chord.value - station.chord_deg
    references = [s for line, s in zip(found.lines, found.strokes, strict=True) if line.role in ("plumb", "level")]
    if len(references) != 1:
        return ()
    far = f"the chord angle is {off:+.1f} deg from the design, and the only reference is "
    if found.reference == "plumb":
        if edges[0].top < GONE and _ends_above(picture, found.plane, references[0]):
            return (
                Flag(
                    "hangs-from-nothing",
                    "the string's upper end stands in the picture, so that nothing shows that it "
                    "hangs (a rod? a photo of a photo?): let it come from above the picture",
                ),
            )
        if abs(off) > NEAR_DEG and not bob_seen(picture.gray, found.plane, _two_points(references[0])):
            return (
                Flag(
                    "no-bob", f"{far}a string whose bob is not seen: check that it is no rod or cable; let the bob show"
                ),
            )
    elif level.profile is None and abs(off) > NEAR_DEG:
        return (
            Flag(
                "level-unchecked",
                f"{far}a level line without a level profile: calibrate it by reversal, or hang a string as well",
            ),
        )
    return ()


def _ends_above(picture: Picture, plane: Plane, string: Stroke) -> bool:
    """Whether a string that does not show at the picture's upper edge by brightness does not show there by colour either."""
    colour = picture.full_colour()
    return colour is None or at_the_edges(colour, plane, string).top < GONE


def _two_points(string: Stroke) -> F64:
    """(2, 2) sheet mm on a string's straight line, at the middle and the lower end of what was measured."""
    slope, at = straight(string.uv[:, 1], string.uv[:, 0])
    v = np.array([string.uv[:, 1].mean(), string.uv[-1, 1]])
    return np.stack([slope * v + at, v], axis=1)
