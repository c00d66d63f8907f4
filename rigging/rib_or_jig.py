"""Is it the rib or the jig? Chord deviation split into lean of the spar line and built-in angle."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from rigging.decision import Decision
from shared.quantity import Quantity

Cause = Literal["neither", "jig", "rib", "both", "sum", "untold"]


@dataclass(frozen=True)
class RibOrJig:
    """A station's chord deviation in its two parts, degrees, nose-up positive.

    jig : deviation of the spar line's lean from design; rib : deviation of the built-in angle from
    design; the two add up to the chord's deviation. cause : "sum" when each part is within its own
    tolerance but together they are not; "untold" when the uncertainty, or a missing spar line, leaves
    it open. before_glue, after_glue : what it means for the builder, in words.
    """

    cause: Cause
    jig: Quantity | None
    rib: Quantity | None
    jig_decision: Decision | None
    rib_decision: Decision | None
    words: str
    before_glue: str
    after_glue: str
