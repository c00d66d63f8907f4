"""All named lines of one station or place: each found by the way that it is marked."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from shared.job.model import Job, Station
from shared.job.named import NamedLine, Place
from shared.lines import Role
from vision.cards.detect import Card
from vision.lines.chord_line import Sight
from vision.lines.spar import same_hand
from vision.lines.tracing import line_seen
from vision.named.bar import find_bar
from vision.named.drawn import Around, find_drawn
from vision.named.found import FoundLine
from vision.named.marks import find_pair
from vision.named.sought import sought

TELLS_MM, ALONE_MM = 250.0, 0.06
"""Length from which on a line shows its own waviness; waviness of a shorter one with no longer beside it (common practice, no
source: pen lines are straight to about 0.1 mm, slowly)."""
ONE_FOR_TWO = "the same line was taken for {other}: say nearer where each of them is (from_card_mm, within_mm)"


def find_named(
    sight: Sight, cards: tuple[Card, ...], where: Station | Place, job: Job, around: Around
) -> tuple[FoundLine, ...]:
    """Every line that the job names there, found or with its reason. cards : those of the station or place that are seen."""
    found = _by_one_hand([_one(sight, cards, where, line, around) for line in job.lines_at(where.name)], around)
    for k, one in enumerate(found):
        twin = next((o for o in found if o is not one and _alike(one, o)), None)
        if twin is not None:
            found[k] = replace(one, lines=(), reason=ONE_FOR_TWO.format(other=twin.name))
    return tuple(found)


def _by_one_hand(found: list[FoundLine], around: Around) -> list[FoundLine]:
    """Short drawn lines are as wavy as the longest one beside them shows its hand to be; alone, as hands usually are."""
    strokes = [one.strokes[0] for one in found if one.strokes and one.drawn]
    longest = max((around.pen, *strokes), key=lambda s: 0.0 if s is None else s.length_mm) if strokes else None
    out = []
    for one in found:
        if one.strokes and one.drawn:
            stroke = one.strokes[0]
            pen = longest if longest is not stroke else None
            least = ALONE_MM if stroke.length_mm < TELLS_MM and pen is None else 0.0
            wave = same_hand(stroke, pen)
            wave = replace(wave, size=max(wave.size, least * stroke.px_per_mm))
            stroke = replace(stroke, waviness=wave)
            line = replace(line_seen(Role.NAMED, stroke), name=one.name)
            one = replace(one, lines=(line,), strokes=(stroke,))
        out.append(one)
    return out


def _one(sight: Sight, cards: tuple[Card, ...], where: Station | Place, line: NamedLine, around: Around) -> FoundLine:
    want = sought(line, sight.plane, cards, where.cards)
    if isinstance(want, str):
        return FoundLine(line.name, reason=want)
    if line.marked == "two marks":
        return find_pair(sight, want)
    return find_bar(sight, want) if line.marked == "two edges" else find_drawn(sight, want, around)


def _alike(one: FoundLine, other: FoundLine) -> bool:
    """Whether two finds are one line."""
    if not one.paths or not other.paths:
        return False
    a, b = one.paths[0], other.paths[0]
    t = (b[-1] - b[0]) / np.linalg.norm(b[-1] - b[0])
    off = (a[[0, -1]] - b[0]) @ np.array([-t[1], t[0]])
    return bool(np.abs(off).max() < 1.0)
