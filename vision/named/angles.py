"""The named lines' angles as a reading carries them: with their doubts, or with the reason why there is none."""

from __future__ import annotations

import numpy as np

from shared.flags import FlagCode
from shared.quantity import Quantity
from shared.reading import Angle, NamedAngle
from vision.assess.doubts import KIND_IN_WORDS, MAX_U_DEG
from vision.detect import Detections
from vision.evidence.posterior import DOUBT, GIVE
from vision.level.gravity import Gravity
from vision.named.found import FoundLine
from vision.solution.propagate import Angles


def named_angles(
    found: Detections, result: Angles, gravity: Gravity, no_level: str | None = None
) -> tuple[NamedAngle, ...]:
    """Every named line's angle. gravity : the references used, and how sure they are. no_level : why nothing shows gravity;
    the angles are then relative."""
    by_name = dict(result.named)
    return tuple(_angle(line, by_name.get(line.name), gravity, no_level) for line in found.named)


def unread(found: Detections, reason: str) -> tuple[NamedAngle, ...]:
    """The same where the reading ended before it had angles."""
    return tuple(NamedAngle(line.name, Angle(None, line.reason or reason)) for line in found.named)


def _angle(line: FoundLine, quantity: Quantity | None, gravity: Gravity, no_level: str | None) -> NamedAngle:
    if quantity is None:
        return NamedAngle(line.name, Angle(None, line.reason or "it was not found"))
    if no_level is not None:
        return NamedAngle(line.name, Angle(None, no_level), quantity if 1 - line.chance <= GIVE else None)
    if not np.isfinite(quantity.u) or quantity.u > MAX_U_DEG:
        return NamedAngle(line.name, Angle(None, f"the geometry leaves it open by U = {quantity.U:.1f} deg"))
    wrong, flags = 1 - line.chance * gravity.chance, line.flags
    level_first = gravity.chance < line.chance
    what, rival = ("the level reference", gravity.rival) if level_first else (line.name, line.rival)
    why = f"what was taken for {what} may be {KIND_IN_WORDS[rival or 'nothing']} (probability {wrong:.1%})"
    if wrong > DOUBT:
        return NamedAngle(line.name, Angle(None, why))
    if wrong > GIVE:
        flags = (*flags, FlagCode.NAMED_DOUBTFUL.flag(why))
    return NamedAngle(line.name, Angle(quantity, None, flags))
