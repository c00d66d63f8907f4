"""The features of one plane: on a rib those that its reading found, and everything that a person pointed at."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

from shared.dimensions import Dimension, Feature
from shared.flags import Flag, FlagCode
from shared.lines import Role
from shared.numerics.arrays import F64
from vision.assess.doubts import KIND_IN_WORDS
from vision.cards.detect import Card
from vision.detect import Detections
from vision.distances.rims import measure_rims
from vision.distances.sight import PlaneSight
from vision.distances.solved import LineFound
from vision.distances.spots import Spot, place_spot
from vision.distances.strokes import measure_drawn
from vision.evidence.posterior import DOUBT, GIVE
from vision.lines.hints import Pointed
from vision.lines.marks import Mark, find_marks, locate
from vision.lines.measure import Stroke
from vision.lines.tracing import line_seen
from vision.lines.waviness import Waviness
from vision.solution.scene import LineSeen

RIM_MM = 8.0
"""About a card nothing is taken for a mark."""
HAND_MM, HAND_REACH_MM = 0.05, 30.0
"""Least waviness of a line or edge, mm, and how far along it reaches (common practice, no source: pen lines are straight to about
0.1 mm, slowly)."""
RIVAL = 0.2
"""How likely another line or edge beside it may have been meant, over itself, to be doubted."""
MARK_REACH_MM = 3.0
"""How far off the chord line a reference mark's middle may lie."""


@dataclass
class Gathered:
    """Features by their text. spots, lines : found; of lines, their points and (tone, tone_px). flags : of each feature.
    missing : why a feature is not there. cards : number -> index among the plane's."""

    spots: dict[str, Spot] = field(default_factory=dict)
    lines: dict[str, LineFound] = field(default_factory=dict)
    flags: dict[str, tuple[Flag, ...]] = field(default_factory=dict)
    missing: dict[str, str] = field(default_factory=dict)
    cards: dict[str, int] = field(default_factory=dict)

    @property
    def scene_lines(self) -> tuple[LineSeen, ...]:
        """As the joint solution takes them, in the order of their indices."""
        return tuple(f.seen for f in self.lines.values())


def gather(
    sight: PlaneSight,
    cards: tuple[Card, ...],
    dimensions: Iterable[Dimension],
    pointed: Mapping[str, Pointed],
    found: Detections | None,
    why_not: str,
) -> Gathered:
    """Find every feature that the dimensions stand on.

    sight : the plane. cards : those in it. dimensions : asked for in it. pointed : what a person pointed at, by its text.
    found : what the rib's reading found, None where the plane is no rib's or nothing was. why_not : the reason then.
    """
    out = Gathered(cards={str(c.number): k for k, c in enumerate(cards)})
    needed: dict[str, Feature] = {}
    for d in dimensions:
        needed |= {f.text: f for f in d.features}
        if d.kind.on_chord:
            needed.setdefault("chord", Feature("chord"))
    rib = _OfRib(sight, found, why_not)
    finders: dict[str, Callable[[Feature], str | None]] = {
        "mark": partial(_mark, sight, out, pointed),
        "line": partial(_line, sight, out, pointed),
        "card": lambda f: None if f.name in out.cards else f"card {f.name} is not seen in this plane",
        "chord": lambda _: rib.line(out, "chord"),
        "spar": lambda _: rib.line(out, "spar"),
        "nose": lambda _: rib.mark(out, "nose"),
        "tail": lambda _: rib.mark(out, "tail"),
    }
    _edges(sight, out, pointed, [f for f in needed.values() if f.what == "edge"])
    for text, feature in needed.items():
        if feature.what == "edge":
            continue
        why = finders[feature.what](feature)
        if why is not None:
            out.missing[text] = why
    return out


def _add_line(out: Gathered, text: str, seen: LineSeen, tone: float = 0.0, tone_px: float = 0.0) -> None:
    out.lines[text] = LineFound(seen, len(out.lines), tone, tone_px)


def _not_pointed(feature: Feature, form: str) -> str:
    text = feature.text
    return f"nobody has pointed at {text} in this photo: point at it on the page, or write {text} {form} in its hints"


def _mark(sight: PlaneSight, out: Gathered, pointed: Mapping[str, Pointed], feature: Feature) -> str | None:
    hint = pointed.get(feature.text)
    if hint is None:
        return _not_pointed(feature, "X,Y")
    pixel = np.array(hint.points[0], dtype=np.float64)
    if not sight.holds(pixel):
        return f"{feature.text} was pointed at outside of the photo"
    spot = place_spot(sight, feature.name, pixel)
    out.spots[feature.text] = spot
    out.flags[feature.text] = spot.flags
    return None


def _ends(sight: PlaneSight, feature: Feature, pointed: Mapping[str, Pointed]) -> F64 | str:
    hint = pointed.get(feature.text)
    if hint is None:
        return _not_pointed(feature, "X,Y X,Y")
    pixels = np.array(hint.points, dtype=np.float64)
    if not all(sight.holds(p) for p in pixels):
        return f"{feature.text} was pointed at outside of the photo"
    return sight.plane.to_sheet(pixels)


def _line(sight: PlaneSight, out: Gathered, pointed: Mapping[str, Pointed], feature: Feature) -> str | None:
    ends = _ends(sight, feature, pointed)
    if isinstance(ends, str):
        return ends
    drawn = measure_drawn(sight, ends[0], ends[1])
    if drawn is None:
        return f"no drawn line was seen at {feature.text}: draw it darker, or point at both its ends again"
    stroke = drawn.stroke
    out.flags[feature.text] = _beside(feature.text, drawn.rival)
    _add_line(out, feature.text, line_seen(Role.FEATURE, _by_hand(_from(stroke, ends[0]))))
    return None


def _from(stroke: Stroke, first: F64) -> Stroke:
    """A stroke whose points begin at its end near `first` (2,) sheet mm."""
    if np.linalg.norm(stroke.uv[0] - first) <= np.linalg.norm(stroke.uv[-1] - first):
        return stroke
    return replace(stroke, pixels=stroke.pixels[::-1], uv=stroke.uv[::-1], sigma_px=stroke.sigma_px[::-1])


def _by_hand(s: Stroke) -> Stroke:
    """A line too short to show its own slow waviness, most of which its slope takes up, has at least that of any other."""
    size = max(s.waviness.size, HAND_MM * s.px_per_mm)
    return replace(s, waviness=Waviness(size, max(s.waviness.reach, HAND_REACH_MM)))


def _edges(sight: PlaneSight, out: Gathered, pointed: Mapping[str, Pointed], features: list[Feature]) -> None:
    """All edges together, as `vision.distances.rims` says why."""
    ends: dict[str, F64] = {}
    for feature in features:
        found = _ends(sight, feature, pointed)
        if isinstance(found, str):
            out.missing[feature.text] = found
        else:
            ends[feature.text] = found
    rims = measure_rims(sight, ends)
    for text in ends:
        if text not in rims:
            out.missing[text] = (
                f"no straight edge of its own was seen at {text}: light it from one side, or point at both its ends again"
            )
            continue
        out.flags[text] = _beside(text, rims[text].rival)
        _add_line(out, text, line_seen(Role.FEATURE, _by_hand(rims[text].stroke)), rims[text].tone, rims[text].tone_px)


def _beside(text: str, rival: float) -> tuple[Flag, ...]:
    if rival < RIVAL:
        return ()
    return (FlagCode.LINE_BESIDE.flag(f"beside {text} runs another, which may have been meant"),)


class _OfRib:
    """Features of a rib that its reading found."""

    def __init__(self, sight: PlaneSight, found: Detections | None, why_not: str) -> None:
        self.sight, self.found, self.why_not = sight, found, why_not
        self._marks: list[tuple[Mark, Spot]] | None = None

    def line(self, out: Gathered, role: str) -> str | None:
        """Chord or spar line."""
        if role in out.lines:
            return None
        found = self.found
        if found is None or not found.strokes:
            return self.why_not
        k = next((k for k, line in enumerate(found.lines) if line.role == role), None)
        if k is None:
            return (found.spar.reason if found.spar else None) or f"the {role} line was not found"
        chance = found.chance if role == "chord" else found.spar.chance if found.spar else 0.0
        if 1 - chance > DOUBT:
            return f"what was taken for the {role} line may be another (probability {1 - chance:.0%})"
        out.flags[role] = _doubtful(role, found, chance)
        _add_line(out, role, found.lines[k])
        return None

    def marks(self) -> list[tuple[Mark, Spot]]:
        """Printed reference marks on the chord line, the foremost first."""
        found = self.found
        if self._marks is None:
            assert found is not None and found.chord_ends is not None
            sight = self.sight
            marks = find_marks(sight.photo.half, sight.plane, found.chord_ends, 0.05, 2.0 / sight.scale, MARK_REACH_MM)
            free = [m for m in marks if m.kind == "quartered" and not any(_within(b, m.uv) for b in sight.boxes)]
            placed = [(m, locate(sight.gray, sight.plane, m)) for m in free]
            spots = [(m, Spot(p[0], p[1], "quartered")) for m, p in placed if p is not None]
            way = -1.0 if found.forward_right else 1.0
            self._marks = sorted(spots, key=lambda s: way * float(s[0].uv[0]))
        return self._marks

    def mark(self, out: Gathered, which: str) -> str | None:
        """The foremost or aftmost reference mark."""
        found = self.found
        if found is None or not found.strokes or found.chord_ends is None:
            return self.why_not
        marks = self.marks()
        if len(marks) < 2:
            seen = "no printed reference mark" if not marks else "only one printed reference mark"
            return (
                f"{seen} was seen on the chord line: put one at its nose and one at its tail, or point at marks by name"
            )
        out.spots[which] = marks[0 if which == "nose" else -1][1]
        out.flags[which] = _doubtful("chord", found, found.chance)
        return None


def _doubtful(role: str, found: Detections, chance: float) -> tuple[Flag, ...]:
    if 1 - chance <= GIVE:
        return ()
    chosen = found.chord.chosen if found.chord else None
    other = KIND_IN_WORDS[chosen.belief.instead_of("chord")] if role == "chord" and chosen else "another line"
    text = f"what was taken for the {role} line may be {other} (probability {1 - chance:.1%})"
    return ((FlagCode.LINE_DOUBTFUL if role == "chord" else FlagCode.SPAR_DOUBTFUL).flag(text),)


def _within(box: tuple[float, float, float, float], uv: F64) -> bool:
    return bool(box[0] - RIM_MM < uv[0] < box[2] + RIM_MM and box[1] - RIM_MM < uv[1] < box[3] + RIM_MM)
