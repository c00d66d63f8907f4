"""What is believed of each candidate line: where it lies, where it shows, and what it is, each with a probability."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from shared.numerics.arrays import F64
from vision.evidence.candidates import Candidates
from vision.evidence.kinds import KINDS, PLACES
from vision.evidence.strips import SPAN, cut_strips
from vision.evidence.views import View
from vision.evidence.witness import ask

SHOWN_FROM = 0.5
"""Probability from which on a line is taken to show at a place. More likely shown than not."""


@dataclass(frozen=True)
class Belief:
    """One candidate. ends : (2, 2) sheet mm of the stretch over which it shows (of the whole strip where it shows nowhere),
    left or upper end first. places : (PLACES, 2) sheet mm. seen : (PLACES,) probability that it shows there. shares :
    (kinds,) probability of each kind."""

    ends: F64
    places: F64
    seen: F64
    shares: F64

    def of(self, kind: str) -> float:
        """Probability of a kind."""
        return float(self.shares[KINDS.index(kind)])

    @property
    def likeliest(self) -> str:
        """The likeliest kind."""
        return KINDS[int(self.shares.argmax())]

    def instead_of(self, kind: str) -> str:
        """The likeliest kind but for one."""
        others = self.shares.copy()
        others[KINDS.index(kind)] = -1.0
        return KINDS[int(others.argmax())]


def beliefs(view: View, chord_mm: float, middle_mm: F64, forward_right: bool) -> list[Belief]:
    """What the witness says of a view's candidates; parameters as in `cut_strips`.

    view : with its raster and candidates, n. chord_mm : of the rib. middle_mm : (n,) mm along the raster of each
    strip's middle. forward_right : whether the leading edge is to the right.
    """
    raster, c = view.raster, view.candidates
    said = ask(cut_strips(raster, view.context, c, chord_mm, middle_mm, forward_right), raster.family)
    pace = SPAN[raster.family] * chord_mm / PLACES
    offset = (np.arange(PLACES) - (PLACES - 1) / 2) * pace
    if raster.family == "level" and not forward_right:
        offset = -offset
    out = []
    for i in range(len(c)):
        cols = (middle_mm[i] + offset - raster.start[0]) / raster.step[0]
        places = raster.uv(np.stack([cols, c.row[i] + c.slope[i] * cols], axis=1))
        out.append(Belief(_ends(places, said.seen[i], pace), places, said.seen[i], said.shares[i]))
    return out


def believed_at(view: View, ends: F64, chord_mm: float, middle_mm: float, forward_right: bool) -> Belief:
    """What the witness says of the straight line through two points, as measured.

    view : of the line's family. ends : (2, 2) sheet mm. chord_mm, middle_mm, forward_right : as for `beliefs`, of one
    line.
    """
    (c0, r0), (c1, r1) = view.raster.index(ends)
    slope = (r1 - r0) / (c1 - c0)
    one = Candidates(np.array([r0 - slope * c0]), np.array([slope]), np.zeros(1), np.zeros(1, dtype=np.intp))
    return beliefs(replace(view, candidates=one), chord_mm, np.array([middle_mm]), forward_right)[0]


def _ends(places: F64, seen: F64, pace: float) -> F64:
    """(2, 2) from where a line first shows to where it last does, half a place further at both ends."""
    shown = np.flatnonzero(seen > SHOWN_FROM)
    first, last = (int(shown[0]), int(shown[-1])) if len(shown) else (0, len(places) - 1)
    a, b = places[first], places[last]
    way = (places[-1] - places[0]) / np.linalg.norm(places[-1] - places[0]) * pace / 2
    ends = np.stack([a - way, b + way])
    return ends if ends[0] @ [1.0, 1.0] <= ends[1] @ [1.0, 1.0] else ends[::-1].copy()
