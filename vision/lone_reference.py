"""A photo's only level reference, doubted where the angle is far from the design.

A rod, a cable or the string in a photographed photo looks like a string before the rib; a laser that stands out of level
looks like one that does not. Near the design any of them would have to be true by chance; far from it, one reference
counts only if something vouches for it: the string is seen to hang, from above the picture and with a bob at its end; the
laser has a level profile, made by reversal.
"""

from __future__ import annotations

import numpy as np

from shared.job import Level, Station
from shared.quantity import Quantity
from shared.reading import Flag
from shared.small_sums import straight
from vision.bob import bob_seen
from vision.findings import Findings
from vision.lines import Stroke
from vision.photo import Picture
from vision.sheet import Plane
from vision.upright import GONE, at_the_edges

NEAR_DEG = 0.75
"""A chord angle nearer to the design than this is not asked for a witness, as a rule."""


def lone_reference(picture: Picture, found: Findings, chord: Quantity, station: Station, level: Level) -> tuple[Flag, ...]:
    """A doubt about the only level reference of a photo whose chord angle (deg) is far from the design."""
    off = chord.value - station.chord_deg
    references = [s for line, s in zip(found.lines, found.strokes, strict=True) if line.role in ("plumb", "level")]
    if len(references) != 1:
        return ()
    far = f"the chord angle is {off:+.2f} deg from the design, and the only reference is "
    if found.reference == "plumb":
        missing = _not_hanging(picture, found.plane, references[0], abs(off), station.chord_tolerance_deg)
        return (Flag("not-seen-to-hang", f"{far}a string that is not seen to hang ({missing}): check that it is no rod or "
                     "cable; let it come from above the picture and show its bob"),) if missing else ()
    if level.profile is not None or abs(off) <= NEAR_DEG:
        return ()
    return (Flag("level-unchecked", f"{far}a level line without a level profile: calibrate it by reversal, or hang a string "
                 "as well"),)


def _not_hanging(picture: Picture, plane: Plane, string: Stroke, off_deg: float, tolerance_deg: float) -> str:
    """What is missing for a string to be believed at so many degrees from the design; empty where nothing is.

    A string with a bob whose upper end stands in the picture is believed within the tolerance, one that comes from above
    without a bob within NEAR_DEG, one with neither nowhere.
    """
    def bob() -> bool:
        slope, at = straight(string.uv[:, 1], string.uv[:, 0])
        v = np.array([string.uv[:, 1].mean(), string.uv[-1, 1]])
        return bob_seen(picture.gray, plane, np.stack([slope * v + at, v], axis=1))

    if at_the_edges(picture.gray, plane, string)[0] < GONE:
        ended = "its upper end stands in the picture"
        return ended if off_deg > tolerance_deg else "" if bob() else f"{ended}, and no bob is seen"
    return "" if off_deg <= NEAR_DEG or bob() else "its bob is not seen"
