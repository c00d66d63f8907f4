"""Which line is the chord line, and how sure that is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from shared.numerics.arrays import F64, Box
from vision.evidence.belief import Belief
from vision.evidence.posterior import ALIKE, DOUBT, Line, one_of
from vision.image.rectified import Plane, Reduced
from vision.lines.marks import Mark, find_marks

MARKED = {"quartered": 30.0, "cross": 3.0}
"""How much likelier a mark of each kind is on a chord line than on another line (a few in a thousand of these show
one). A cross may be any two strokes, and counts a tenth. By judgement."""
LOOKED_AT = 3
"""How many of the likeliest lines are looked at for marks. It saves time; by judgement."""
ECHO_MM, ECHO_DEG = 3.0, 0.3
"""Candidates that keep this close to each other, and are this parallel, are one line found twice. By judgement: a line
and its own edge; lines that are meant to differ are drawn farther apart."""
WORTH_MEASURING = 0.02
"""Probability from which on a rival is measured, to see whether it is the best candidate's own ink. Less than
`GIVE`."""
RIM_MM = 8.0
"""About a card nothing is taken for a mark. A mark's radius."""
NO_LINE = "no line was found that could be the chord line: draw it from edge to edge with a pen that stands out, or give a hint"


@dataclass(frozen=True)
class Rival:
    """A candidate for the chord line. chance : that it is the one. marks : on it."""

    belief: Belief
    chance: float
    marks: tuple[Mark, ...] = ()


@dataclass(frozen=True)
class ChordChoice:
    """The chosen line, None with a reason; all candidates, the likeliest first."""

    chosen: Rival | None
    reason: str
    candidates: tuple[Rival, ...]


def choose_chord(
    photo: Reduced,
    plane: Plane,
    levels: list[Belief],
    boxes: tuple[Box, ...],
    mm: float,
    same_ink: Callable[[F64, F64], bool],
    line: Line = "chord",
) -> ChordChoice:
    """Weigh all candidates against each other.

    mm : the reduced picture's pixel on the rib. boxes : the cards, sheet mm. same_ink : whether two candidates (2, 2) sheet
    mm turn out to be one line when measured in the full picture. line : whose prior odds count.

    photo : the half-size picture. plane : of the rib. levels : what is believed of each level candidate.
    """
    ranked = sorted(levels, key=lambda b: -b.of("chord"))
    distinct: list[Belief] = []
    for b in ranked:
        if any(same_line(b.ends, k.ends) for k in distinct):
            continue
        if not distinct or b.of("chord") < WORTH_MEASURING or not same_ink(distinct[0].ends, b.ends):
            distinct.append(b)
    marks = [
        tuple(m for m in find_marks(photo, plane, b.ends, 0.05, mm) if not any(_within(x, m.uv) for x in boxes))
        if k < LOOKED_AT and b.of("chord") > 1e-3
        else ()
        for k, b in enumerate(distinct)
    ]
    speaks = [_speaks(ms) for ms in marks]
    choice = one_of(line, [b.of("chord") for b in distinct], speaks)
    rivals = [Rival(b, float(c), m) for b, c, m in zip(distinct, choice.chances, marks, strict=True)]
    rivals.sort(key=lambda r: -r.chance)
    if not rivals or rivals[0].chance < 1 - DOUBT:
        return ChordChoice(None, _why(rivals), tuple(rivals))
    return ChordChoice(rivals[0], "", tuple(rivals))


def as_measured(choice: ChordChoice, share: float, line: Line = "chord") -> float:
    """Probability that the chosen line is the chord line, with the witness's probability of it along the line as measured.

    choice : as chosen among the candidates. share : 0 to 1, of the line as measured.
    """
    shares = [share, *(r.belief.of("chord") for r in choice.candidates[1:])]
    return float(one_of(line, shares, [_speaks(r.marks) for r in choice.candidates]).chances[0])


def _speaks(marks: tuple[Mark, ...]) -> float:
    """Likelihood ratio of the marks on a line."""
    return float(np.prod([MARKED[m.kind] for m in marks[:2]]))


def _why(rivals: list[Rival]) -> str:
    likely = [r for r in rivals if r.chance > ALIKE]
    if len(likely) >= 2:
        return (
            "two lines are about as likely to be the chord line: add reference marks to the true one, rub the other out, "
            "or give a hint"
        )
    return NO_LINE


def same_line(a: F64, b: F64) -> bool:
    """Whether two level lines (2, 2) sheet mm are one found twice.

    a, b : left end first. The same where both of b's ends lie within `ECHO_MM` of a, or one lies on it and their
    directions differ by less than `ECHO_DEG`.
    """
    turn = np.degrees(np.arctan2(*(a[1] - a[0])[::-1]) - np.arctan2(*(b[1] - b[0])[::-1]))
    t = (a[1] - a[0]) / np.linalg.norm(a[1] - a[0])
    off = np.abs((b - a[0]) @ np.array([-t[1], t[0]]))
    return bool(off.max() < ECHO_MM or (off.min() < 1.0 and abs(turn) < ECHO_DEG))


def _within(box: Box, uv: F64) -> bool:
    return bool(box[0] - RIM_MM < uv[0] < box[2] + RIM_MM and box[1] - RIM_MM < uv[1] < box[3] + RIM_MM)
