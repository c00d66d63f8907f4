"""The wing as a whole: washout, symmetry, twist. (Fairness along the span: `rigging.survey.fairness`.)"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from rigging.survey.decision import Decision, decide
from rigging.survey.fairness import LEAST_RUN_MM
from rigging.survey.least_squares import fit
from shared.job.model import SAME_SPAN_MM, Job, Station
from shared.quantity import Quantity
from shared.rounding import number


@dataclass(frozen=True)
class Washout:
    """Root's chord angle minus the station's; positive when the station is nose-down of the root."""

    station: str
    quantity: Quantity
    design_deg: float
    deviation: Quantity
    decision: Decision
    root: str = ""


@dataclass(frozen=True)
class Symmetry:
    """Left minus right of two stations at equal span, what the design itself differs by taken out."""

    left: str
    right: str
    span_mm: float
    quantity: Quantity
    decision: Decision


@dataclass(frozen=True)
class Twist:
    """Twist over a stretch of span, degrees a metre outboard, nose-up positive (washout: negative)."""

    name: str
    stations: tuple[str, ...]
    per_metre: Quantity
    design_per_metre: float


def run_of(job: Job, side: str) -> list[Station]:
    """The stations of one side from the root outboard."""
    return sorted((s for s in job.stations if s.side == side), key=lambda s: s.span_mm)


def washout(job: Job, chords: Mapping[str, Quantity], doubts: Mapping[str, str] | None = None) -> dict[str, Washout]:
    """Washout of every measured station against the root; what both share cancels. Empty without the root.

    chords : station -> chord angle. doubts : station -> why its angle is doubtful (the root's spreads).
    The tolerance is the station's chord tolerance.
    """
    root = job.station(job.wing.root)
    if root.name not in chords:
        return {}
    doubts = doubts or {}
    out = {}
    for s in job.stations:
        if s.name == root.name or s.name not in chords:
            continue
        angle = chords[root.name] - chords[s.name]
        design = root.chord_deg - s.chord_deg
        off = angle.shifted(-design)
        doubt = doubts.get(s.name) or doubts.get(root.name)
        out[s.name] = Washout(s.name, angle, design, off, decide(off, s.chord_tolerance_deg, doubt), root.name)
    return out


def pairs(job: Job) -> list[tuple[Station, Station]]:
    """Left and right stations at equal span, from the root outboard, each used once."""
    right = run_of(job, "right")
    out = []
    for left in run_of(job, "left"):
        near = min(right, key=lambda r: abs(r.span_mm - left.span_mm), default=None)
        if near is not None and abs(near.span_mm - left.span_mm) <= SAME_SPAN_MM:
            out.append((left, near))
            right.remove(near)
    return out


def symmetry(job: Job, chords: Mapping[str, Quantity], doubts: Mapping[str, str] | None = None) -> tuple[Symmetry, ...]:
    """Left minus right at each pair, the design's own difference taken out, against the wing's tolerance."""
    doubts = doubts or {}
    out = []
    for left, right in pairs(job):
        if left.name in chords and right.name in chords:
            off = (chords[left.name] - chords[right.name]).shifted(right.chord_deg - left.chord_deg)
            doubt = doubts.get(left.name) or doubts.get(right.name)
            out.append(
                Symmetry(left.name, right.name, left.span_mm, off, decide(off, job.wing.symmetry_tolerance_deg, doubt))
            )
    return tuple(out)


def twist(name: str, stations: Sequence[Station], chords: Mapping[str, Quantity]) -> Twist | None:
    """Slope of the chord angle over span by generalised least squares; None below two stations."""
    known = [s for s in stations if s.name in chords]
    span = np.array([s.span_mm / 1000.0 for s in known])
    if len(known) < 2 or np.ptp(span) < LEAST_RUN_MM / 1000.0:
        return None
    design = np.column_stack([np.ones(len(known)), span - span.mean()])
    slope = fit(design, [chords[s.name] for s in known])[1]
    wanted = float(np.polyfit(span, [s.chord_deg for s in known], 1)[0])
    return Twist(name, tuple(s.name for s in known), slope, wanted)


def twists(job: Job, chords: Mapping[str, Quantity]) -> tuple[Twist, ...]:
    """Twist of each side as a whole, then of each panel, then of each bay between neighbouring stations."""
    out: list[Twist | None] = []
    for side in ("left", "right"):
        run = run_of(job, side)
        out.append(twist(f"{side} wing", run, chords))
        for panel in dict.fromkeys(s.panel for s in run if s.panel):
            out.append(twist(f"panel {panel}", [s for s in run if s.panel == panel], chords))
        known = [s for s in run if s.name in chords]
        out += [twist(f"{a.name} to {b.name}", [a, b], chords) for a, b in pairwise(known)]
    return tuple(t for t in out if t is not None)


def per_metre(t: Twist) -> str:
    """The twist in words."""
    return (
        f"{t.name}: {number(t.per_metre.value, 2, sign=True)}° per metre "
        f"(U {number(t.per_metre.U, 2)}°), design {number(t.design_per_metre, 2, sign=True)}°"
    )
