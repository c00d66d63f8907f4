"""Has anything moved while the glue cures? A test whose rate of false alarms is stated beforehand.

Of every photo three quantities are held against no change since the first photo: the chord angle, and the slide of
mid chord along the rib and up. A warning is given when one is beyond h u in two photos running, to the same side.

    h = z(1 - rate / (2 * 3 * photos))

A single photo beyond h would by itself come up in no more than `rate` of all runs: the probabilities of all tests
added up, which bounds the chance that any of them fails however they depend on each other (Bonferroni), and they
do, as the first photo's noise is in all of them. The second photo guards against what is not noise: a hand, a
passer-by, a door. After a warning the next one is given when it has moved on by as much again.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from scipy.special import ndtri

from shared.quantity import Quantity
from shared.rounding import degrees, number
from vision.live.relative import Change

RATE = 0.01
"""Share of runs, in which nothing moves, that may give a false alarm."""
QUANTITIES = 3
BLIND = 5
"""Photos running without an answer after which that is told as well."""


@dataclass(frozen=True)
class Alarm:
    """A warning. kind : "moved", "camera", "blind" or "missing" (`rigging.live.presence`). words : one line."""

    kind: str
    words: str


def threshold(photos: int, rate: float = RATE) -> float:
    """How many u a change must have, for a run of so many photos."""
    return float(-ndtri(rate / (2 * QUANTITIES * max(photos, 1))))


@dataclass
class CureWatch:
    """Watches one run. photos : how many are planned at most."""

    photos: int
    rate: float = RATE
    _beyond: dict[str, int] = field(default_factory=dict)
    _warned: dict[str, float] = field(default_factory=dict)
    _unseen: int = 0

    @property
    def h(self) -> float:
        """The threshold, in u."""
        return threshold(self.photos, self.rate)

    def look(self, change: Change | None, reason: str = "") -> Alarm | None:
        """Hold the next photo's change against none; a warning, or None.

        change : None for a photo that could not even be compared, for this reason.
        """
        if change is None or change.turn is None:
            self._unseen += 1
            self._beyond.clear()
            if change is not None and change.camera.reason:
                self._warned.clear()  # counting begins anew
                return Alarm("camera", f"The watch is broken: {change.camera.reason}.")
            if self._unseen == BLIND:
                return Alarm(
                    "blind",
                    f"Nothing was seen in {BLIND} photos running: {reason or (change.reason if change else '')}.",
                )
            return None
        self._unseen = 0
        for name, value in (
            ("turned", change.turn),
            ("slid along the chord", change.forward_mm),
            ("slid up or down", change.up_mm),
        ):
            off = 0.0 if value is None else value.value - self._warned.get(name, 0.0)
            side = 0 if value is None or abs(off) <= self.h * value.u else 1 if off > 0 else -1
            last, self._beyond[name] = self._beyond.get(name, 0), side
            if side and side == last and value is not None:
                self._warned[name] = value.value
                self._beyond[name] = 0
                return Alarm("moved", f"The rib has {name}: {_said(name, value)} since the first photo.")
        return None


def _said(name: str, value: Quantity) -> str:
    if name == "turned":
        return f"{degrees(value, sign=True)}"
    return f"{number(value.value, 3, sign=True)} mm ± {number(value.U, 3)} mm"
