"""The probability that the level references used are true, with all that speaks for and against them beside the witness."""

from __future__ import annotations

from dataclasses import replace

from vision.evidence.posterior import true_reference
from vision.image.rectified import Plane
from vision.level.agree import contradict
from vision.level.gravity import Gravity
from vision.level.uprights import speaks_for
from vision.solution.scene import Lean


def weighed(gravity: Gravity, plane: Plane, lean: Lean) -> Gravity:
    """The same references, each with the probability that it is true beside those left out that contradict it, and beside
    what else stands upright in the photo.

    gravity : with all that was measured. plane : of the rib. lean : of the rib as stated, with its u.
    """
    left_out = [j for j in gravity.judged if not j.used]
    chance = 1.0
    for one in gravity.judged:
        if one.used:
            rivals = [other.share for other in left_out if contradict(plane, one.line, other.line, lean)]
            shop = speaks_for(plane, one.line, list(gravity.weighed), lean)
            chance *= true_reference(one.kind, one.share, rivals, shop)
    return replace(gravity, chance=min(gravity.chance, chance))
