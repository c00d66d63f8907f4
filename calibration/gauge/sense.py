"""How an inclinometer counts, and what its number means nose-up positive.

Conventions (`shared.job.model.Sense`): "nose-up" signed, nose-up positive, a plumb spar line at 90; "unsigned" the
same without a sign on the chord line; "0-90" level at 0 and plumb at 90, counting back on either side, never
negative; "0-180" a half circle, nose-down just below 180.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from shared.flags import Flag, FlagCode
from shared.gauge.readings import GaugeReading, Line
from shared.job.model import Sense

Said = Literal["nose-up", "nose-down"] | None


def meanings(shown: float, line: Line, sense: Sense, said: Said = None) -> tuple[float, ...]:
    """Every angle that a shown number can mean, degrees: chord nose-up positive, spar line 90 + lean.

    One where the convention carries the sign, two where it does not. `said` outranks the convention's sign.
    """
    if line == "chord":
        if said is not None:
            return (abs(shown) if said == "nose-up" else -abs(shown),)
        if sense == "0-180" and shown > 90:
            return (shown - 180.0,)
        if sense in ("unsigned", "0-90") and shown > 0:
            return (shown, -shown)
        return (shown,)
    off = abs(90.0 - shown)
    if said is not None:
        return (90.0 + off if said == "nose-up" else 90.0 - off,)
    if sense == "0-90" and off > 0:
        return (90.0 - off, 90.0 + off)
    return (shown,)


def contradictions(readings: Sequence[GaugeReading], sense: Sense) -> tuple[Flag, ...]:
    """Readings that a gauge counting as declared cannot show."""
    allowed = {
        "nose-up": (-180.0, 180.0),
        "unsigned": (0.0, 180.0),
        "0-90": (0.0, 90.0),
        "0-180": (0.0, 180.0),
    }[sense]
    bad = [r for r in readings if not allowed[0] <= r.shown_deg <= allowed[1]]
    if not bad:
        return ()
    which = ", ".join(f"{r.station} {r.line} {r.shown_deg:g}" for r in bad[:4])
    more = f" and {len(bad) - 4} more" if len(bad) > 4 else ""
    return (
        FlagCode.GAUGE_SENSE.flag(
            f'the gauge is declared "{sense}" ({allowed[0]:g} to {allowed[1]:g}) but shows {which}{more}'
        ),
    )
