"""What is looked for on the rib plane, in order: chord line, level reference, spar line, marks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache, partial
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from shared.job import Job, Station
from vision.cards import Card
from vision.chord import ChordChoice, choose_chord
from vision.gravity import Gravity, find_gravity
from vision.hints import Hint, Role
from vision.laser import laser_map
from vision.lines import Stroke, measure
from vision.marks import Mark, find_marks, locate
from vision.photo import Picture
from vision.rib_plane import LineSeen, Solution
from vision.sheet import Plane, Reduced, Sheet, lay_flat
from vision.spar import SparChoice, choose_spar, is_shadow
from vision.waviness import Waviness

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
Box = tuple[float, float, float, float]

SEGMENT_MM = 14.0
"""Length of the segments in which a drawn line's centre is measured."""
ROLL_FREE_DEG = 6.0
"""How far an unlevelled hand may roll the camera, on top of the gate on the chord angle."""
MARK_REACH_MM = 10.0
"""How far off the line a printed mark is still looked for."""
SAME_INK_MM = 0.35
"""Two measured lines nearer than this at both ends are one."""
ECHO_MM = 4.0
"""A find that cannot be measured is an echo of another when it keeps this close to it."""
HAND_SHARE = 0.6
HAND_MM, HAND_REACH_MM = 0.03, 30.0
"""Least waviness of a short pen line, mm, and how far along it reaches (common practice, no source: pen lines are
straight to about 0.1 mm, slowly)."""
STEEP = 0.75
"""Least cosine between the card's arrow and the photo's horizontal for the photo to count as upright."""


@dataclass(frozen=True)
class LocatedMark:
    """A mark, its centre in pixels (2,) with standard deviation; NaN deviation where only roughly known."""

    mark: Mark
    pixel: F64
    sigma_px: float


@dataclass(frozen=True)
class Findings:
    """Everything seen beside the cards, or the reason why it ends here.

    strokes : the measured lines, in the order of `lines`.
    """

    plane: Plane
    forward_right: bool
    reason: str | None
    lines: tuple[LineSeen, ...] = ()
    strokes: tuple[Stroke, ...] = ()
    chord: ChordChoice | None = None
    chord_ends: F64 | None = None
    gravity: Gravity | None = None
    spar: SparChoice | None = None
    spar_reason: str | None = None
    marks: tuple[LocatedMark, ...] = ()
    reference: Literal["plumb", "level", "both"] | None = None


def look(picture: Picture, solution: Solution, cards: tuple[Card, ...], station: Station, job: Job,
         hints: tuple[Hint, ...]) -> Findings:
    """Find and measure every line on and before the rib plane of `solution`."""
    plane = sheet_plane(solution, cards)
    toward = float(solution.state.rotation[:, 0] @ plane.along_u)
    if abs(toward) < STEEP:
        return Findings(plane, toward > 0, "the card's arrow points up or down in the photo: turn the photo upright, or "
                        "lay the card with its arrow towards the leading edge")
    forward_right = toward > 0
    papers = [plane.to_sheet(c.at(c.spec.paper())) for c in cards]
    boxes = [_box(p) for p in papers]
    scale = float(np.median([c.px_per_mm for c in cards]))
    photo = Reduced.of(picture.gray, 2, 2)
    blur = 0.8 * float(np.median([c.blur_px for c in cards]))
    band = chord_band(picture, photo.further(4, 1), plane, boxes, station.chord_mm, scale)

    @cache
    def laser() -> F32:
        return laser_map(picture.small_colour(), band)

    by_role = {h.role: h for h in hints}
    choice = choose_chord(photo, band, boxes, papers, station.chord_mm,
                          -station.chord_deg if forward_right else station.chord_deg, ROLL_FREE_DEG, laser,
                          partial(same_ink, picture, plane, scale, blur))
    if "chord" in by_role:
        ends = hinted_ends(plane, by_role["chord"])
    elif choice.chosen is None:
        return Findings(plane, forward_right, choice.reason, chord=choice)
    else:
        ends = choice.chosen.ends
    stroke = measure(picture.gray, plane, ends[0], ends[1], half_px=_half(scale), segment_mm=segment(ends),
                     blur_px=blur)
    if stroke is None:
        return Findings(plane, forward_right, "the chord line is too faint to measure: draw it darker", chord=choice,
                        chord_ends=ends)
    ends = _onto(stroke, order(ends))
    tall = photo.further(1, 4)
    lit = laser() if any(dict(c.evidence)["laser colour"] > 0.3 for c in choice.candidates) else None
    gravity = find_gravity(picture, tall, plane, band, lit, ends, station, job, scale, blur, forward_right, by_role,
                           tuple(boxes))
    so_far = Findings(plane, forward_right, gravity.reason, (line_seen("chord", stroke), *gravity.lines),
                      (stroke, *gravity.strokes), choice, ends, gravity, reference=gravity.reference)
    if gravity.reason:
        return so_far
    spar, spar_stroke, spar_reason = _spar(picture, tall, so_far, station, papers, scale, blur, by_role)
    lines, strokes = so_far.lines, so_far.strokes
    if spar_stroke is not None:
        spar_stroke = replace(spar_stroke, waviness=_same_hand(spar_stroke, stroke))
        lines, strokes = (*lines, line_seen("spar", spar_stroke)), (*strokes, spar_stroke)
    # looked for well beyond the line: a mark beside it means that one of the two is wrong
    marks = [m for m in find_marks(photo, plane, ends, 0.05, 2.0 / scale, MARK_REACH_MM)
             if not any(b[0] - 8 < m.uv[0] < b[2] + 8 and b[1] - 8 < m.uv[1] < b[3] + 8 for b in boxes)]
    located = tuple(m for m in (_located(picture, plane, k) for k in marks) if m is not None)
    return Findings(plane, forward_right, None, lines, strokes, choice, ends, gravity, spar, spar_reason, located,
                    gravity.reference)


def same_ink(picture: Picture, plane: Plane, scale: float, blur: float, first: F64, other: F64) -> bool:
    """Measure two candidates with a narrow window: one line found twice comes to the same place, or to nothing."""
    def narrow(e: F64) -> Stroke | None:
        return measure(picture.gray, plane, e[0], e[1], half_px=float(np.clip(2.0 * scale, 5, 8)), segment_mm=segment(e),
                       blur_px=blur, quick=True)

    best, rival = narrow(order(first)), narrow(order(other))
    if rival is None or rival.kept.mean() < 0.5:
        # nothing to be measured there: an echo if it keeps close to the other, else too doubtful to dismiss
        one, two = (np.polyfit(e[:, 0], e[:, 1], 1) for e in (order(first), order(other)))
        span = np.array([max(first[:, 0].min(), other[:, 0].min()), min(first[:, 0].max(), other[:, 0].max())])
        return bool(np.abs(np.polyval(one, span) - np.polyval(two, span)).max() < ECHO_MM)
    if best is None:
        return False
    lines = [np.polyfit(g.uv[:, 0], g.uv[:, 1], 1) for g in (best, rival)]
    ends = np.array([max(best.uv[0, 0], rival.uv[0, 0]), min(best.uv[-1, 0], rival.uv[-1, 0])])
    return bool(np.abs(np.polyval(lines[0], ends) - np.polyval(lines[1], ends)).max() < SAME_INK_MM)


def _same_hand(short: Stroke, long: Stroke) -> Waviness:
    """The spar line is too short to show its own slow waviness, most of which its slope takes up: it is at least
    a good half of what the same hand and pen left on the chord line, and reaches as far as pen lines do."""
    size = max(short.waviness.size, HAND_SHARE * long.waviness.size * short.px_per_mm / long.px_per_mm,
               HAND_MM * short.px_per_mm)
    return Waviness(size, max(short.waviness.reach, HAND_REACH_MM))


def sheet_plane(solution: Solution, cards: tuple[Card, ...]) -> Plane:
    """The rib plane with its origin in the middle of the first card."""
    middle = np.array([*(np.array(cards[0].spec.size_mm) / 2), 0.0])
    s = solution.state
    return Plane.from_pose(s.rotation, s.rotation @ middle + s.shift, solution.theta())


def chord_band(picture: Picture, wide: Reduced, plane: Plane, boxes: list[Box], chord_mm: float, scale: float) -> Sheet:
    """The strip of the rib plane in which the chord line must lie: a chord either way of the cards as far as the
    photo reaches, an eighth of it above and below."""
    b = np.array(boxes)
    middle = plane.to_pixels(np.array([[(b[:, 0].min() + b[:, 2].max()) / 2, (b[:, 1].min() + b[:, 3].max()) / 2]]))[0]
    sides = plane.to_sheet(np.array([[0.0, middle[1]], [picture.width - 1.0, middle[1]]]))[:, 0]
    u0, u1 = max(b[:, 0].min() - chord_mm, sides.min()), min(b[:, 2].max() + chord_mm, sides.max())
    return lay_flat(wide, plane, (u0, b[:, 1].min() - 0.12 * chord_mm, u1, b[:, 3].max() + 0.12 * chord_mm),
                    max(8.0 / scale, (u1 - u0) / 511), 2.0 / scale)


def hinted_ends(plane: Plane, hint: Hint) -> F64:
    """(2, 2) sheet mm of a hint's two points, left (or upper) end first."""
    uv = plane.to_sheet(np.array([hint.a, hint.b], dtype=np.float64))
    return order(uv) if hint.role in ("chord", "level") else uv[np.argsort(uv[:, 1])]


def order(ends: F64) -> F64:
    """Left end first."""
    return ends[np.argsort(ends[:, 0])]


def _onto(stroke: Stroke, ends: F64) -> F64:
    """The ends as found, moved across onto the measured line."""
    slope, at = np.polyfit(stroke.uv[:, 0], stroke.uv[:, 1], 1)
    return np.stack([ends[:, 0], slope * ends[:, 0] + at], axis=1)


def segment(ends: F64) -> float:
    """Segment length for a line between two ends, mm: about 70 segments, never under 4 mm."""
    return max(4.0, min(SEGMENT_MM, float(np.linalg.norm(ends[1] - ends[0])) / 24),
               float(np.linalg.norm(ends[1] - ends[0])) / 70)


def line_seen(role: Literal["chord", "spar", "plumb", "level"], s: Stroke, own_deg: float = 0.0, own_source: str = "",
              own_name: str = "", zero_deg: float = 0.0) -> LineSeen:
    """A measured stroke as an observation."""
    return LineSeen(role, s.pixels, s.sigma_px, s.waviness.size, max(1.0, s.waviness.reach * s.px_per_mm), own_deg,
                    own_source, own_name, zero_deg, s.shade_px)


def _half(scale: float) -> float:
    return float(np.clip(3.2 * scale, 7.0, 14.0))


def _box(ring: F64) -> Box:
    (u0, v0), (u1, v1) = ring.min(0), ring.max(0)
    return float(u0), float(v0), float(u1), float(v1)


def _spar(picture: Picture, tall: Reduced, found: Findings, station: Station, papers: list[F64], scale: float,
          blur: float, by_role: Mapping[Role, Hint]) -> tuple[SparChoice | None, Stroke | None, str | None]:
    if "spar" in by_role:
        choice = SparChoice(hinted_ends(found.plane, by_role["spar"]), "")
    elif station.spar_deg is None:
        return None, None, "the job gives no spar line at this station"
    else:
        chord = found.chord_ends
        assert chord is not None and found.gravity is not None
        c = station.chord_mm
        sheet = lay_flat(tall, found.plane, (chord[0, 0], chord[:, 1].min() - 0.13 * c, chord[1, 0],
                                             chord[:, 1].max() + 0.095 * c), 2.0 / scale, 6.0 / scale)
        choice = choose_spar(sheet, chord, c, found.forward_right, station.spar_at, list(found.gravity.string_ends),
                             papers)
    if choice.ends is None:
        return choice, None, choice.reason
    inset = 0.012 * station.chord_mm * np.array([1.0, -1.0])[:, None] if "spar" not in by_role else np.zeros((2, 1))
    d = (choice.ends[1] - choice.ends[0]) / np.linalg.norm(choice.ends[1] - choice.ends[0])
    ends = choice.ends + inset * d
    stroke = measure(picture.gray, found.plane, ends[0], ends[1], half_px=_half(scale), segment_mm=segment(ends),
                     blur_px=blur)
    if stroke is None or stroke.length_mm < 0.04 * station.chord_mm:
        return choice, None, "the spar line is too faint or too short to measure"
    doubt = None if "spar" in by_role else _no_spar(stroke, found, station)
    return choice, None if doubt else stroke, doubt


def _no_spar(stroke: Stroke, found: Findings, station: Station) -> str | None:
    """Why a measured upright line is not to be believed the spar line: the string itself, its shadow, another pen."""
    assert found.gravity is not None
    ends = np.stack([stroke.uv[0], stroke.uv[-1]])
    if any(is_shadow(ends, string, station.chord_mm) for string in found.gravity.string_ends):
        return ("the upright line on the rib turns out to be the string or its shadow: hang the string further from the "
                "spar line")
    pen = found.strokes[0].width_mm
    if stroke.width_mm > 1.7 * pen + 0.5:
        return (f"the upright line on the rib is {stroke.width_mm:.1f} mm wide, the chord line {pen:.1f} mm: a shadow or an "
                "edge rather than the same pen's spar line")
    return None


def _located(picture: Picture, plane: Plane, mark: Mark) -> LocatedMark | None:
    if mark.kind == "quartered":
        got = locate(picture.gray, plane, mark)
        return None if got is None else LocatedMark(mark, *got)
    return LocatedMark(mark, plane.to_pixels(mark.uv[None])[0], float("nan"))
