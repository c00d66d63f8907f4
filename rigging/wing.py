"""The wing as a whole: washout, symmetry, fairness along the span, twist."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from rigging.decision import Decision
from shared.quantity import Quantity


@dataclass(frozen=True)
class Washout:
    """Root's chord angle minus the station's; positive when the station is nose-down of the root."""

    station: str
    quantity: Quantity
    design_deg: float
    deviation: Quantity
    decision: Decision


@dataclass(frozen=True)
class Symmetry:
    """Left minus right of two stations at equal span, what the design itself differs by taken out."""

    left: str
    right: str
    span_mm: float
    quantity: Quantity
    decision: Decision


@dataclass(frozen=True)
class Fairness:
    """How far a station's deviation from design lies off the straight line through its two neighbours.

    off : degrees, nose-up positive. neighbours : the two stations (beyond an end: the nearest two,
    and the line is extended; `extended` says so).
    """

    station: str
    neighbours: tuple[str, str]
    off: Quantity
    extended: bool


@dataclass(frozen=True)
class Unfair:
    """A break in the run of the deviations along one wing, too large for fair work.

    kind : "station" (one station stands off alone) or "step" (all stations outboard of `inboard`
    are turned against the rest). stations : those that stand off. size : degrees, nose-up positive.
    """

    side: str
    kind: Literal["station", "step"]
    stations: tuple[str, ...]
    inboard: str | None
    size: Quantity
    words: str


@dataclass(frozen=True)
class Twist:
    """Twist over a stretch of span, degrees a metre outboard, nose-up positive (washout: negative)."""

    name: str
    stations: tuple[str, ...]
    per_metre: Quantity
    design_per_metre: float
