"""Doubts that only a look at all photos of a job together can raise: each is put on the readings it concerns.

A reading knows one photo. That a rib's nose points the other way than its wing-mates', or that the line drawn on it
is longer than the rib that the job describes, shows against the others and against the job.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from shared.flags import FlagCode
from shared.job.model import Job, Station
from shared.lines import Role
from shared.numerics.arrays import F64
from shared.reading import Reading, SeenCard
from shared.rounding import number

LEAN_THAT_TELLS_DEG = 0.5
"""From this stated lean on, the side that it counts to matters: the default uncertainty of a stated lean."""

LONGER, SHORTER = 1.15, 0.6
"""A drawn line that is longer, or shorter, than these parts of the job's chord is drawn on another rib or the chord is
mistaken. One card tells lengths on its rib to some 5 %; lines measured 0.88 to 0.97 of the chord on the sample, and a
line may stop short of the edges or be hidden in part, but never run past the rib."""


def doubted(job: Job, readings: Sequence[Reading]) -> tuple[Reading, ...]:
    """The readings, with a flag on each that is at odds with its wing-mates or with the job's chord."""
    sides = at_odds(job, readings)
    out = []
    for r in readings:
        station = next((s for s in job.stations if s.name == r.station), None)
        flags = list(r.flags)
        if station is not None and r.measured:
            if station.name in sides and matters(job, station):
                flags.append(FlagCode.OTHER_SIDE.flag(sides[station.name]))
            other = other_chord(r, station)
            flags += [FlagCode.OTHER_CHORD.flag(other)] if other else []
        out.append(replace(r, flags=tuple(flags)))
    return tuple(out)


def matters(job: Job, station: Station) -> bool:
    """Whether the job states a lean of the rib, which counts the other way when its side is mistaken."""
    lean = station.lean_deg if station.lean_deg is not None else job.wing.dihedral_deg
    return lean is not None and abs(lean) >= LEAN_THAT_TELLS_DEG


def at_odds(job: Job, readings: Sequence[Reading]) -> dict[str, str]:
    """Station -> words, for each whose leading edge points the other way than that of most of its wing-mates.

    Seen from outboard, a right wing's leading edge points right in the photo and a left wing's left. Where a side is
    evenly divided the other side's photos decide; a station photographed from both sides is none.
    """
    views: dict[str, set[bool]] = {}
    for r in readings:
        if r.station is not None and r.forward is not None and r.measured:
            views.setdefault(r.station, set()).add(r.forward == "right")
    one_way = {s.name: (s, next(iter(v))) for s in job.stations if len(v := views.get(s.name, set())) == 1}
    outboard = {n: right == (s.side == "right") for n, (s, right) in one_way.items() if s.side != "centre"}
    found = {}
    for side in ("right", "left"):
        mates = [n for n in outboard if one_way[n][0].side == side]
        usual = _usual([outboard[n] for n in mates])
        if usual is None:
            usual = _usual(list(outboard.values()))
        for n in mates:
            if usual is not None and outboard[n] != usual:
                found[n] = _words(side, one_way[n][1], [m for m in mates if outboard[m] == usual])
    return found


def _usual(views: Sequence[bool]) -> bool | None:
    count = Counter(views)
    return None if not views or count[True] == count[False] else count[True] > count[False]


def _words(side: str, right: bool, mates: Sequence[str]) -> str:
    here, there = ("right", "left") if right else ("left", "right")
    others = f"of {', '.join(mates[:3])} {there}" if mates else f"of the other stations would point {there}"
    return (
        f"its leading edge points {here} in the photo, that {others}: photographed from the other side of the rib, or not "
        f"on the {side} wing at all"
    )


def other_chord(reading: Reading, station: Station) -> str | None:
    """Words where the chord line seen is longer, or much shorter, than the job's chord; None where it fits."""
    seen = drawn_mm(reading)
    if seen is None or SHORTER * station.chord_mm <= seen <= LONGER * station.chord_mm:
        return None
    return (
        f"the chord line seen is {number(seen, 0)} mm long, the job's chord of {station.name} "
        f"{number(station.chord_mm, 0)} mm"
    )


def drawn_mm(reading: Reading) -> float | None:
    """Length of the chord line seen, mm on the rib plane by its cards (to some 5 %); None where nothing tells."""
    if reading.evidence is None:
        return None
    line = next((x for x in reading.evidence.lines if x.role is Role.CHORD and x.used and len(x.path) > 1), None)
    lengths = [
        n for c in reading.evidence.cards if line is not None and (n := _by_card(c, line.path[0], line.path[-1]))
    ]
    return float(np.median(lengths)) if lengths else None


def _by_card(card: SeenCard, a: tuple[float, float], b: tuple[float, float]) -> float | None:
    """Distance of two pixels on the plane of a card, mm: by the homography of its outline (exact for four points)."""
    from vision.cards.spec import SPECS

    outline = np.array(card.outline, dtype=np.float64)
    if outline.shape != (4, 2):
        return None
    h = _homography(outline, SPECS[card.kind].outline())
    if h is None:
        return None
    ends = np.column_stack([np.array([a, b]), np.ones(2)]) @ h.T
    if not np.all(np.isfinite(ends)) or ends[0, 2] * ends[1, 2] <= 0:
        return None
    flat = ends[:, :2] / ends[:, 2:]
    return float(np.hypot(*(flat[1] - flat[0])))


def _homography(pixels: F64, board: F64) -> F64 | None:
    """(3, 3) from pixels to the board, mm, of four points; None where three of them lie on one line."""
    rows = []
    for (x, y), (u, v) in zip(pixels, board, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
    try:
        solved = np.linalg.solve(np.array(rows), board.ravel())
    except np.linalg.LinAlgError:
        return None
    return np.append(solved, 1.0).reshape(3, 3)


def notes(job: Job, readings: Sequence[Reading]) -> Mapping[str, str]:
    """Stations at odds with their wing-mates where no lean makes it a doubt of the angle: said all the same."""
    return {n: why for n, why in at_odds(job, readings).items() if not matters(job, job.station(n))}
