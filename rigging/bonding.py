"""The bonding window: how long is left, and which stations to look at first."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class BondingWindow:
    """Time since the glue was mixed and time left, minutes (negative: over)."""

    since_min: float | None
    working_left_min: float | None
    gel_left_min: float | None
    words: str


@dataclass(frozen=True)
class ToCheck:
    """One station in the order of checking, with the reason it stands there."""

    station: str
    why: str
