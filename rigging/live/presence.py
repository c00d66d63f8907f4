"""How much of the time was watched? Photos that do not come are an alarm of their own: no photo is not no movement."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from rigging.live.cure_watch import Alarm

MISSED = 3
"""Photos that may fail to come before that is an alarm: one may be late, one lost, and two running make a warning."""


@dataclass
class Presence:
    """Keeps account of one watch. every_s : time from photo to photo, seconds. begun : of the clock that `missing` asks."""

    every_s: float
    begun: float
    seen_s: float = 0.0
    _last_came: float | None = None
    _first_at: datetime | None = None
    _last_at: datetime | None = None
    _last_seen: datetime | None = None
    _told: bool = False

    @property
    def gap_s(self) -> float:
        """Longest time between two photos in which the rib still counts as watched, seconds."""
        return MISSED * self.every_s

    def came(self, now: float, at: datetime, seen: bool) -> None:
        """A photo came. now : by the clock. at : when it was taken. seen : whether the rib was measured in it."""
        self._last_came, self._told = now, False
        self._first_at, self._last_at = self._first_at or at, at
        if not seen:
            return
        if self._last_seen is not None:
            gap = (at - self._last_seen).total_seconds()
            self.seen_s += gap if 0 <= gap <= self.gap_s else 0.0
        self._last_seen = at

    def missing(self, now: float) -> Alarm | None:
        """A warning where no photo has come for too long, once until one comes again."""
        since = now - (self.begun if self._last_came is None else self._last_came)
        if self._told or since <= self.gap_s:
            return None
        self._told = True
        return Alarm(
            "missing",
            f"No photo has come for {duration(since)} (one every {duration(self.every_s)} is expected, --every): "
            "nothing is watched. Is the camera asleep, full or out of reach?",
        )

    def words(self, now: float) -> str:
        """How much of the time was seen, for the end."""
        taken = (self._last_at - self._first_at).total_seconds() if self._last_at and self._first_at else 0.0
        whole = max(now - self.begun, taken, self.seen_s)
        share = self.seen_s / whole if whole > 0 else 0.0
        return f"Watched: {duration(self.seen_s)} of {duration(whole)} ({int(100 * share)} %)."


def duration(seconds: float) -> str:
    """A time as a person says it: "45 s", "12 min", "11 h 40 min"; rounded down."""
    whole = int(seconds)
    if whole < 120:
        return f"{whole} s"
    minutes = whole // 60
    return f"{minutes} min" if minutes < 120 else f"{minutes // 60} h {minutes % 60:02d} min"
