"""What happened to a set-up, by local time: when each thing was turned, when each piece of evidence came, what was said."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from shared.job.model import Typed
from shared.quantity import K


@dataclass(frozen=True)
class Told:
    """What a person said of a typed check or of a step. at : local time, ISO 8601. value : as read; None: done."""

    at: str
    value: float | None = None


@dataclass(frozen=True)
class Happened:
    """Everything that states depend on beside the readings. Times are local, ISO 8601, and compare as text.

    turned : station -> when somebody said that it was turned last. moved : station or check by hand -> when it was found to
    have been turned. came : a photo's SHA-256, or a spar's rise -> when it first came into the record. told : step or typed
    check -> what was said of it last.
    """

    turned: Mapping[str, str] = field(default_factory=dict)
    moved: Mapping[str, str] = field(default_factory=dict)
    came: Mapping[str, str] = field(default_factory=dict)
    told: Mapping[str, Told] = field(default_factory=dict)

    def last_came(self, evidence: str) -> str:
        """When a photo came, or a check by hand was read last; empty where nobody knows."""
        told = self.told.get(evidence)
        return max(self.came.get(evidence, ""), told.at if told is not None else "")

    def last_turned(self, thing: str) -> str | None:
        """When a station or a check by hand was turned last; None: never, as far as is known."""
        return max(self.turned.get(thing, ""), self.moved.get(thing, "")) or None


def latest(*times: Mapping[str, str]) -> dict[str, str]:
    """The latest time of each name."""
    found: dict[str, str] = {}
    for each in times:
        for name, at in each.items():
            found[name] = max(at, found.get(name, ""))
    return found


def mended(typed: Typed | None, before: Told | None, value: float | None) -> bool:
    """Whether something was turned between two readings by hand of one typed check.

    It was where the first was not shown to conform and the second is another one, or where the two differ by more than
    the expanded uncertainty (k = 2) of their difference, each with the check's standard uncertainty.
    """
    if typed is None or value is None or before is None or before.value is None:
        return False
    unsure = abs(before.value - typed.design) + K * typed.u > typed.tolerance
    return (unsure and value != before.value) or abs(value - before.value) > K * 2**0.5 * typed.u
