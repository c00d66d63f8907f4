"""A drawn line by name: of all that look like a drawn line where the job says it is, the likeliest, measured."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from shared.flags import Flag, FlagCode
from shared.lines import Role
from shared.numerics.arrays import F64
from vision.evidence.belief import Belief, beliefs, believed_at
from vision.evidence.kinds import PLACES
from vision.evidence.posterior import ALIKE, DOUBT, one_of
from vision.evidence.strips import SPAN
from vision.evidence.views import View, Window, window_view
from vision.lines.chord_line import Sight
from vision.lines.crossing import crossing_of, crossings
from vision.lines.measure import Stroke, measure
from vision.lines.spar import broad, pen_odds
from vision.lines.tracing import line_seen, reach_px, segment
from vision.named.found import FoundLine
from vision.named.sought import Sought

DRAWN = ("chord", "pen", "spar")
"""The witness's kinds that are drawn lines: which of them a line is, its place says, not the witness."""
ELSEWHERE = 0.02
"""Probability that the job's word on the place does not hold for this line."""
POSSIBLE = 0.02
"""Probability from which on a candidate is measured and judged once more as measured."""
TILTED = 0.25
"""Slope of a line, mm across per mm along, that the search has room for."""
SHORTEST_MM, SHORTEST = 15.0, 0.4
"""A line measured over less than this, mm or part of the stated length, is none or not the one."""
PART = 0.6
"""... and over less than this part of the stated length it is doubted."""
SAME_MM = 2.0
"""Lines nearer to each other than this at both ends are one."""
WHOLE = 6
"""Of a drawn line the part s of its length that can be measured has a density that grows as s^(WHOLE - 1): six sevenths on
average, as good photos show, pens skip and things hang before it."""
PEN_MM, PENS, OTHERS = 0.8, 0.35, 0.9
"""Breadth of a usual pen's line, and the standard deviations of the logarithm of breadths seen: of pens' lines, and of anything
else, grain and shadows among it (common practice, no source: pens draw 0.4 to 1.5 mm)."""
CROSS = 0.18
"""Height of the window about an upright line, chords, as the witness knows lines across a rib."""
FAINT = "too faint or too short to measure: draw it darker and from end to end"
NOT_FOUND = "no drawn line was found where the job says it is: correct from_card_mm, or draw it darker"
NOWHERE = "no drawn line was found that could be it: say where it is (from_card_mm), or draw it darker"
EQUAL = "two lines are about as likely to be it: say nearer where it is (from_card_mm, within_mm), or rub the other out"


@dataclass(frozen=True)
class Around:
    """What is known round about the line: `chord` (2, 2) sheet mm of the rib's chord line, or at a place that is no rib of a
    level line through its card. pen : the chord line as measured, if any. taken : lines that are something else."""

    chord: F64
    pen: Stroke | None
    taken: tuple[F64, ...]


def find_drawn(sight: Sight, want: Sought, around: Around) -> FoundLine:
    """Find and measure it."""
    name = want.line.name
    view, part = _view(sight, want, around)
    said = _beliefs(sight, view, around)
    likely = sorted((b for b in said if _drawn(b) > POSSIBLE), key=lambda b: -_drawn(b))
    found: list[tuple[Stroke, Belief]] = []
    for belief in likely:
        if any(_same(belief.ends, t) for t in around.taken):
            continue
        stroke = _measured(sight, belief, want, part)
        if stroke is None or any(_same(_ends(stroke), o) for o in (*around.taken, *(_ends(s) for s, _ in found))):
            continue
        found.append((stroke, _again(sight, view, stroke, around)))
    if not found:
        return FoundLine(name, reason=FAINT if likely else NOT_FOUND if want.middle is not None else NOWHERE)
    speaks = [place_odds(want, _ends(s)) * _shown_odds(want, s) * _pen_odds(s, around.pen) for s, _ in found]
    choice = one_of("named", [_drawn(b) for _, b in found], speaks)
    assert choice.best is not None
    if choice.chance < 1 - DOUBT:
        several = sorted(choice.chances)[-2:]
        nothing = NOT_FOUND if want.middle is not None else NOWHERE
        return FoundLine(name, reason=EQUAL if len(several) > 1 and several[0] > ALIKE else nothing)
    stroke, belief = found[choice.best]
    rival = next((k for k in _by_share(belief) if k not in DRAWN), "nothing")
    if choice.chance < _drawn(belief):
        rival = "pen"
    seen = replace(line_seen(Role.NAMED, stroke), name=name)
    flags = _flags(want, stroke)
    return FoundLine(name, (seen,), None, choice.chance, rival, (_ends(stroke),), (stroke,), flags, True)


def _view(sight: Sight, want: Sought, around: Around) -> tuple[View, tuple[float, float]]:
    """The lines looked at, and the stretch along them, sheet mm, within which it must show."""
    family: Literal["level", "upright"] = "level" if want.line.runs == "level" else "upright"
    i = 0 if family == "level" else 1
    mm = sight.chord_mm
    length = want.line.length_mm or 0.3 * mm
    middle = around.chord.mean(0) if want.middle is None else want.middle
    if want.middle is None:
        half, wide = mm, 0.14 * mm if family == "level" else 0.5 * mm
        if want.line.length_mm is None and family == "upright":
            half = 0.5 * CROSS * mm
    else:
        half = 0.5 * length + want.within_mm if want.line.length_mm else 0.5 * mm
        wide = 2 * want.within_mm + TILTED * min(half, 0.5 * length + want.within_mm)
    part = (float(middle[i] - half), float(middle[i] + half))
    reach = max(half, 0.5 * SPAN["level"] * mm if family == "level" else 0.5 * CROSS * mm)
    along = _in_photo(sight, middle, i, reach)
    across = (float(middle[1 - i] - wide), float(middle[1 - i] + wide))
    box = (along[0], across[0], along[1], across[1]) if i == 0 else (across[0], along[0], across[1], along[1])
    part = (max(part[0], along[0]), min(part[1], along[1]))
    window = Window(family, box, part, length)
    return window_view(sight.photo, sight.plane, sight.papers, sight.foreign, mm, window), part


def _in_photo(sight: Sight, middle: F64, i: int, reach: float) -> tuple[float, float]:
    """The stretch about a place along one axis of the sheet that the photo shows, mm."""
    picture, px = sight.photo.picture, sight.plane.to_pixels(middle[None])[0]
    rim = np.array(
        [[0.0, px[1]], [picture.width - 1.0, px[1]]] if i == 0 else [[px[0], 0.0], [px[0], picture.height - 1.0]]
    )
    low, high = np.sort(sight.plane.to_sheet(rim)[:, i])
    a, b = max(float(middle[i]) - reach, float(low)), min(float(middle[i]) + reach, float(high))
    return (a, b) if b > a else (float(middle[i]) - reach, float(middle[i]) + reach)


def _beliefs(sight: Sight, view: View, around: Around) -> list[Belief]:
    count = len(view.candidates)
    if not count:
        return []
    middles = np.full(count, sight.middle) if view.raster.family == "level" else crossings(view, around.chord)
    return beliefs(view, sight.chord_mm, middles, sight.right)


def _again(sight: Sight, view: View, stroke: Stroke, around: Around) -> Belief:
    """What the witness says of the line as measured."""
    ends = _ends(stroke)
    middle = sight.middle if view.raster.family == "level" else float(crossing_of(ends, around.chord)[1])
    return believed_at(view, ends, sight.chord_mm, middle, sight.right)


def _drawn(b: Belief) -> float:
    return min(sum(b.of(k) for k in DRAWN), 1.0)


def _by_share(b: Belief) -> list[str]:
    from vision.evidence.kinds import KINDS

    return [KINDS[k] for k in np.argsort(-b.shares)]


def _measured(sight: Sight, belief: Belief, want: Sought, part: tuple[float, float]) -> Stroke | None:
    """The stroke within the window; where the job does not say where it is and how long, where the witness sees it."""
    i = 0 if want.line.runs == "level" else 1
    a, b = belief.ends if belief.ends[0, i] < belief.ends[1, i] else belief.ends[::-1]
    stated = want.line.length_mm
    low, high = part
    if stated is None or want.middle is None:
        more = sight.chord_mm / PLACES
        low, high = max(a[i] - more, part[0]), min(b[i] + more, part[1])
    if high - low < SHORTEST_MM:
        return None
    slope = (b[1 - i] - a[1 - i]) / (b[i] - a[i])
    ends = np.empty((2, 2))
    ends[:, i] = low, high
    ends[:, 1 - i] = a[1 - i] + slope * (ends[:, i] - a[i])
    stroke = measure(
        sight.photo.picture.gray,
        sight.plane,
        ends[0],
        ends[1],
        half_px=reach_px(sight.scale),
        segment_mm=segment(ends),
        blur_px=sight.blur,
        avoid=sight.boxes,
    )
    if stroke is None or stroke.length_mm < max(SHORTEST_MM, SHORTEST * (stated or 0.0)):
        return None
    return stroke


def place_odds(want: Sought, ends: F64) -> float:
    """Likelihood ratio of where a line (2, 2) sheet mm lies, against anywhere in the window that is searched."""
    if want.middle is None:
        return 1.0
    spread = 0.5 * want.within_mm
    z = want.off(ends) / spread
    density = float(np.exp(-0.5 * z**2) / (spread * np.sqrt(2 * np.pi)))
    return (1 - ELSEWHERE) * density * 4 * want.within_mm + ELSEWHERE


def _pen_odds(stroke: Stroke, pen: Stroke | None) -> float:
    """Likelihood ratio of a line's breadth: of the chord line's pen, or of pens in general, against anything else."""
    if pen is not None:
        return pen_odds(stroke, pen)
    usual = float(np.hypot(PEN_MM / np.sqrt(12), stroke.blur_px / stroke.px_per_mm))
    z = float(np.log(broad(stroke) / usual))
    return float(np.exp(-0.5 * (z / PENS) ** 2 + 0.5 * (z / OTHERS) ** 2) * OTHERS / PENS + 1e-3)


def _shown_odds(want: Sought, stroke: Stroke) -> float:
    """Likelihood ratio of the part of the stated length over which a line could be measured: of a drawn line most of it, of
    anything else any part."""
    stated = want.line.length_mm
    if stated is None or want.middle is None:
        return 1.0
    along = (stroke.uv - want.middle) @ want.along
    step = float(np.median(np.diff(stroke.place)))
    share = min(1.0, float((np.abs(along) <= 0.5 * stated).sum()) * step / stated)
    return WHOLE * share ** (WHOLE - 1) + 1e-3


def _ends(stroke: Stroke) -> F64:
    return np.stack([stroke.uv[0], stroke.uv[-1]])


def _same(one: F64, other: F64) -> bool:
    """Whether a line (2, 2) sheet mm runs along another one (2, 2)."""
    t = (other[1] - other[0]) / np.linalg.norm(other[1] - other[0])
    off = (one - other[0]) @ np.array([-t[1], t[0]])
    return bool(np.abs(off).max() < SAME_MM)


def _flags(want: Sought, stroke: Stroke) -> tuple[Flag, ...]:
    name, stated = want.line.name, want.line.length_mm
    out = []
    if stated is not None and stroke.length_mm < PART * stated:
        out.append(
            FlagCode.NAMED_SHORT.flag(f"{name} is seen over {100 * stroke.length_mm / stated:.0f} % of its length")
        )
    wave = stroke.waviness.size / stroke.px_per_mm
    if wave > 0.4:
        out.append(FlagCode.NAMED_WAVY.flag(f"{name} is wavy or bent by {wave:.1f} mm"))
    return tuple(out)
