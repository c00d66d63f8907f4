"""Whether a plumb line is seen to hang: from above the picture, a bob at its lower end.

A rod, a cable or the string in a photographed photo looks like a string before the rib. Where the angle is near the
design, any of them would have to be plumb by chance; where it is not, the string must be seen to hang.
"""

from __future__ import annotations

import numpy as np

from shared.job import Station
from shared.quantity import Quantity
from shared.reading import Flag
from shared.small_sums import straight
from vision.bob import bob_seen
from vision.findings import Findings
from vision.photo import Picture
from vision.upright import GONE, at_the_edges

NEAR_DEG = 0.75
"""A chord angle further than this from the design is doubted unless its only string is seen to hang."""


def not_seen_to_hang(picture: Picture, found: Findings, chord: Quantity, station: Station) -> tuple[Flag, ...]:
    """A doubt about the only level reference of a photo whose chord angle (deg) is far from the design."""
    off = chord.value - station.chord_deg
    strings = [s for line, s in zip(found.lines, found.strokes, strict=True) if line.role == "plumb"]
    if abs(off) <= NEAR_DEG or len(strings) != 1 or found.reference != "plumb":
        return ()
    at_top, _ = at_the_edges(picture.gray, found.plane, strings[0])
    slope, at = straight(strings[0].uv[:, 1], strings[0].uv[:, 0])
    v = np.array([strings[0].uv[:, 1].mean(), strings[0].uv[-1, 1]])
    if at_top >= GONE and bob_seen(picture.gray, found.plane, np.stack([slope * v + at, v], axis=1)):
        return ()
    missing = "its bob is not seen" if at_top >= GONE else "its upper end stands in the picture"
    return (Flag("not-seen-to-hang", f"the chord angle is {off:+.1f} deg from the design, and the only reference is a string "
                 f"that is not seen to hang ({missing}): check that it is no rod or cable; let it come from above the picture "
                 "and show its bob"),)
