"""What in a job keeps every rule and still looks like a mistake: said, never corrected, and no reason to stop.

A slip shows against the rest of the job: a number off the run of its neighbours, a left rib unlike its right one, a
length that reads like inches. The design itself is never judged: a wing may be drawn as it likes.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np

from shared.flags import FlagCode
from shared.job.model import SAME_SPAN_MM, Job, Station
from shared.numerics.arrays import F64
from shared.rounding import number

LEAST_DEG, LEAST_PART = 0.5, 0.15
"""A design angle, or a chord (as a part of itself), further off the run of its neighbours than this may be a slip:
washout and taper run evenly along a wing, steps in them are smaller (common practice, no source)."""
TIMES = 4.0
"""... where it is also so many times what the other stations lie off."""
ONE_PLACE_MM = 1.0
"""Stations of a side this near in span stand at one place."""
INCHES_CHORD, INCHES_SPAN = 130.0, 250.0
"""Chords and spans that all lie below these read like inches: a rib of 130 mm carries no card."""
BIG_CHORD_DEG = 10.0
"""A wing's chord lines stand within a few degrees of level (common practice, no source)."""
BIG_LEAN_DEG = 15.0
"""A lean or dihedral beyond this is more likely another angle."""


@dataclass(frozen=True)
class JobHint:
    """One thing to look at again. thing : what of the job it is about, as "station R4: chord_deg"."""

    code: str
    thing: str
    text: str

    @property
    def words(self) -> str:
        """Thing and text in one line."""
        return f"{self.thing}: {self.text}"


def lint(job: Job) -> tuple[JobHint, ...]:
    """Everything in the job that looks like a slip, in the job's order; empty for a plain job."""
    found = [*_inches(job), *_root(job)]
    for side in ("right", "left", "centre"):
        run = sorted((s for s in job.stations if s.side == side), key=lambda s: s.span_mm)
        found += [*_places(job, side, run), *_run(run, "chord_deg"), *_run(run, "chord_mm")]
    found += [*_sides(job), *_alone(job), *_lean(job)]
    return tuple(found)


def _run(run: Sequence[Station], key: Literal["chord_deg", "chord_mm"]) -> Iterator[JobHint]:
    """Values off the straight run of their neighbours, the worst first, each taken out before the next is sought."""
    left = [s for k, s in enumerate(run) if not k or s.span_mm - run[k - 1].span_mm >= ONE_PLACE_MM]
    while len(left) >= 4:
        span = np.array([s.span_mm for s in left])
        value = np.array([float(getattr(s, key)) for s in left])
        off, expected = _off(span, value)
        least = LEAST_DEG if key == "chord_deg" else LEAST_PART * float(np.median(value))
        # who is wrong spoils its neighbours' runs too: the one without which the rest run most evenly is named
        rest = [
            float(np.abs(_off(np.delete(span, k), np.delete(value, k))[0]).max(initial=0.0)) for k in range(len(left))
        ]
        worst = int(np.argmin(rest))
        if not abs(off[worst]) > max(least, TIMES * rest[worst]):
            return
        unit = "°" if key == "chord_deg" else " mm"
        digits = 2 if key == "chord_deg" else 0
        yield JobHint(
            "off-the-run",
            f"station {left[worst].name}: {key}",
            f"{number(value[worst], digits)}{unit} lies off the run of its neighbours, which would have "
            f"{number(expected[worst], digits)}{unit} here: is it, or its span of {number(span[worst], 0)} mm, a slip?",
        )
        del left[worst]


def _off(span: F64, value: F64) -> tuple[F64, F64]:
    """(n,) how far each value lies off the line through its two neighbours (at an end: extended), and that line's value."""
    expected = np.empty(len(value))
    for k in range(len(value)):
        i, j = (k - 1, k + 1) if 0 < k < len(value) - 1 else (1, 2) if k == 0 else (k - 2, k - 1)
        i, j = max(min(i, len(value) - 1), 0), max(min(j, len(value) - 1), 0)
        rise = (value[j] - value[i]) / (span[j] - span[i]) if span[j] != span[i] else 0.0
        expected[k] = value[i] + rise * (span[k] - span[i])
    return value - expected, expected


def _places(job: Job, side: str, run: Sequence[Station]) -> Iterator[JobHint]:
    """Spans that are equal, out of the order of the file, or far from the rest."""
    for a, b in pairwise(run):
        if b.span_mm - a.span_mm < ONE_PLACE_MM:
            yield JobHint(
                "equal-spans",
                f"stations {a.name} and {b.name}: span_mm",
                f"both stand at {number(a.span_mm, 0)} mm on the {side} wing: washout, twist and the fair line leave them "
                "out; give each its own place",
            )
    listed = [s for s in job.stations if s.side == side]
    for before, s, after in zip(listed, listed[1:], listed[2:], strict=False):
        if (s.span_mm - before.span_mm) * (after.span_mm - s.span_mm) < 0 < (after.span_mm - before.span_mm):
            yield JobHint(
                "span-order",
                f"station {s.name}: span_mm",
                f"{number(s.span_mm, 0)} mm does not lie between {before.name} ({number(before.span_mm, 0)} mm) and "
                f"{after.name} ({number(after.span_mm, 0)} mm), where the file lists it: is it a slip?",
            )


def _inches(job: Job) -> Iterator[JobHint]:
    chords, spans = [s.chord_mm for s in job.stations], [s.span_mm for s in job.stations]
    if max(chords) < INCHES_CHORD and max(spans) < INCHES_SPAN:
        yield JobHint(
            "inches",
            "chord_mm and span_mm",
            f"chords up to {number(max(chords), 0)} and spans up to {number(max(spans), 0)} read like inches, and count as "
            f'millimetres: write them as "{number(max(chords), 2)} in"',
        )


def _root(job: Job) -> Iterator[JobHint]:
    root = job.station(job.wing.root)
    inner = min(job.stations, key=lambda s: s.span_mm)
    if inner.span_mm < root.span_mm - SAME_SPAN_MM:
        yield JobHint(
            "root",
            f"[wing]: root {root.name}",
            f"stands at {number(root.span_mm, 0)} mm, {inner.name} further in at {number(inner.span_mm, 0)} mm: washout is "
            "counted from the root",
        )


def _sides(job: Job) -> Iterator[JobHint]:
    """Left and right ribs of one place, or of one number, that the job describes unlike each other."""
    right = [s for s in job.stations if s.side == "right"]
    for left in (s for s in job.stations if s.side == "left"):
        mate = next((r for r in right if _numbered(r) == _numbered(left) is not None), None)
        near = next((r for r in right if abs(r.span_mm - left.span_mm) <= SAME_SPAN_MM), None)
        if mate is not None and mate is not near:
            yield JobHint(
                "pair-apart",
                f"stations {left.name} and {mate.name}: span_mm",
                f"{number(left.span_mm, 0)} and {number(mate.span_mm, 0)} mm: no pair, so left and right are not compared "
                "there",
            )
        if near is None:
            continue
        unlike = [
            f"{key} {number(getattr(left, key), 2)} and {number(getattr(near, key), 2)}"
            for key, least in (("chord_deg", 0.01), ("chord_mm", 1.0), ("chord_tolerance_deg", 1e-6))
            if abs(getattr(left, key) - getattr(near, key)) > least
        ]
        unlike += [
            f"{key} {getattr(left, key)} and {getattr(near, key)}"
            for key in ("spar_deg", "lean_deg")
            if getattr(left, key) != getattr(near, key)
        ]
        if unlike:
            yield JobHint(
                "sides-unlike",
                f"stations {left.name} and {near.name}",
                f"left and right differ in {', '.join(unlike)}: one of them may be a slip",
            )


def _numbered(s: Station) -> str | None:
    """The number in a station's name, that left and right ribs share: "3" of L3 and R3."""
    found = re.findall(r"\d+", s.name)
    return found[-1].lstrip("0") or "0" if found else None


def _alone(job: Job) -> Iterator[JobHint]:
    for s in job.stations:
        if not s.cards:
            yield JobHint("no-card", f"station {s.name}: cards", "it has no card, so no photo can be assigned to it")
        if abs(s.chord_deg) > BIG_CHORD_DEG:
            point = f"is the point lost, {number(s.chord_deg / 10, 2)}°?"
            yield JobHint(
                "chord-far", f"station {s.name}: chord_deg", f"{s.chord_deg:g}° is a steep chord line: {point}"
            )
        if s.lean_deg is not None and abs(s.lean_deg) > BIG_LEAN_DEG:
            yield JobHint(
                "big-lean", f"station {s.name}: lean_deg", f"{s.lean_deg:g}° is a large lean: 0 is a plumb rib"
            )
        if s.spar_deg is not None and abs(s.spar_deg - 90) > BIG_LEAN_DEG:
            yield JobHint(
                "spar-far", f"station {s.name}: spar_deg", f"{s.spar_deg:g}° leans far: a plumb spar line is 90"
            )
    if job.wing.dihedral_deg is not None and abs(job.wing.dihedral_deg) > BIG_LEAN_DEG:
        yield JobHint("big-lean", "[wing]: dihedral_deg", f"{job.wing.dihedral_deg:g}° is a large dihedral")


def _lean(job: Job) -> Iterator[JobHint]:
    if job.wing.dihedral_deg is None and any(s.lean_deg is None for s in job.stations):
        yield JobHint(
            FlagCode.LEAN_NOT_STATED,
            "[wing]: dihedral_deg",
            "is not stated, so any lean of the ribs within some 4° is allowed for and U with one string is several times as "
            "large as it could be: 0 where the ribs stand plumb, with u_lean_deg for how well that is known",
        )
