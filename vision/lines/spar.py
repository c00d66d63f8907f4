"""The spar line: the upright line across the rib that is it, measured."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from shared.job.model import Station
from shared.numerics.arrays import F64
from vision.evidence.belief import Belief, beliefs, believed_at
from vision.evidence.posterior import ALIKE, DOUBT, POSSIBLE, one_of
from vision.evidence.views import View
from vision.lines.crossing import crossing_of, crossings
from vision.lines.hints import Hint
from vision.lines.measure import Stroke, measure
from vision.lines.rib import RibFace
from vision.lines.tracing import hinted_ends, reach_px, segment
from vision.lines.waviness import Waviness

SHORTEST_SPAR = 0.04
"""A spar line measured over less than this, in chords, is too short. A thin rib's depth at the rear spar; over less,
0.1 mm is 0.15 degrees on a chord of 1 m."""
INSET = 0.004
"""How far inside the stretch over which it shows the line is measured, chords: the rib's edges are no part of it. By
judgement: 4 mm of a metre."""
PLACE_SPREAD = 0.02
"""Standard deviation, in chords, of where a spar line stands from where the job says (`spar_at`). 2 cm of a metre:
where a builder says it stands, to the nearest per cent or two (common practice, no source)."""
ELSEWHERE = 0.02
"""Probability that the job's word on the place does not hold for this line. By judgement: one job in fifty has a slip
there; at zero a slip would decide against the right line however clear it is."""
PEN, OTHER = 0.15, 0.6
"""Standard deviation of the logarithm of two lines' breadths: of one pen, and of any two lines. By judgement: one pen
keeps its breadth to 15 %, any two lines differ by a factor of up to two."""
HAND_SHARE = 0.6
"""Share of the chord line's waviness that a short line drawn by the same hand and pen shows (by judgement: the slow
part does not fit into its length)."""
HAND_MM, HAND_REACH_MM = 0.03, 30.0
"""Least waviness of a short pen line, mm, and how far along it reaches (common practice, no source: pen lines are
straight to about 0.1 mm, slowly)."""
FAINT_SPAR = "the spar line is too faint or too short to measure"
NOT_FOUND = "no spar line was found that crosses the chord line and ends at the rib's outline"
EQUAL = "two upright lines are about as likely to be the spar line: say in the job where it stands (spar_at), or give a hint"


@dataclass(frozen=True)
class SparChoice:
    """The spar line's stroke, or the reason why none. chance : that it is the one. weighed : all candidates."""

    stroke: Stroke | None = None
    reason: str | None = None
    chance: float = 0.0
    rival: str = ""
    weighed: tuple[Belief, ...] = ()


def find_spar(rib: RibFace, view: View, pen: Stroke, station: Station, hint: Hint | None) -> SparChoice:
    """Find and measure it. view : of the lines across the rib. pen : the chord line as measured.

    rib : the one it is drawn on. station : says where it may stand (`spar_at`); its design angle is not read. hint :
    the line pointed at by a person, measured in place of a choice.
    """
    if hint is not None:
        pointed = _measured(rib, hinted_ends(rib.plane, hint), 0.0, pen)
        return SparChoice(pointed, None if pointed else FAINT_SPAR, 1.0)
    if station.spar_deg is None:
        return SparChoice(reason="the job gives no spar line at this station")
    weighed = beliefs(view, rib.chord_mm, crossings(view, rib.chord), rib.forward_right)
    likely = sorted((b for b in weighed if b.of("spar") > POSSIBLE), key=lambda b: -b.of("spar"))
    found: list[tuple[Stroke, Belief]] = []
    for belief in likely:
        stroke = _measured(rib, belief.ends, INSET * rib.chord_mm, pen)
        if stroke is None or any(_same(stroke, s) for s, _ in found):
            continue
        ends = np.stack([stroke.uv[0], stroke.uv[-1]])
        v = float(crossing_of(ends, rib.chord)[1])
        found.append((stroke, believed_at(view, ends, rib.chord_mm, v, rib.forward_right)))
    if not found:
        return SparChoice(reason=FAINT_SPAR if likely else NOT_FOUND, weighed=tuple(weighed))
    speaks = [_place(rib, s, station) * pen_odds(s, pen) for s, _ in found]
    choice = one_of("spar", [b.of("spar") for _, b in found], speaks)
    assert choice.best is not None
    if choice.chance < 1 - DOUBT:
        several = sorted(choice.chances)[-2:]
        return SparChoice(
            reason=EQUAL if len(several) > 1 and several[0] > ALIKE else NOT_FOUND, weighed=tuple(weighed)
        )
    stroke, belief = found[choice.best]
    return SparChoice(stroke, None, choice.chance, belief.instead_of("spar"), tuple(weighed))


def _place(rib: RibFace, stroke: Stroke, station: Station) -> float:
    """Likelihood ratio of where the line crosses the chord line, against anywhere along it."""
    if station.spar_at is None:
        return 1.0
    nose = rib.chord[1] if rib.forward_right else rib.chord[0]
    at = crossing_of(np.stack([stroke.uv[0], stroke.uv[-1]]), rib.chord)
    off = float(np.linalg.norm(at - nose)) / rib.chord_mm - station.spar_at
    return float(
        (1 - ELSEWHERE) * np.exp(-0.5 * (off / PLACE_SPREAD) ** 2) / (PLACE_SPREAD * np.sqrt(2 * np.pi)) + ELSEWHERE
    )


def pen_odds(stroke: Stroke, pen: Stroke) -> float:
    """Likelihood ratio of the line's breadth for the chord line's pen, against any other line.

    stroke : the line asked about. With z the logarithm of both breadths' ratio: N(z; 0, PEN) / N(z; 0, OTHER).
    """
    z = float(np.log(broad(stroke) / broad(pen)))
    return float(np.exp(-0.5 * (z / PEN) ** 2 + 0.5 * (z / OTHER) ** 2) * OTHER / PEN + 1e-3)


def broad(stroke: Stroke) -> float:
    """Standard deviation of a line's profile across, mm: of thin lines width and blur cannot be told apart.

    stroke : of a thin line; width w and blur b add as variances: w^2 / 12 + b^2.
    """
    return float(np.hypot(stroke.width_mm / np.sqrt(12), stroke.blur_px / stroke.px_per_mm))


def _measured(rib: RibFace, ends: F64, inset_mm: float, pen: Stroke) -> Stroke | None:
    d = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
    a, b = ends[0] + inset_mm * d, ends[1] - inset_mm * d
    scale = rib.photo.scale
    s = measure(
        rib.photo.picture.gray,
        rib.plane,
        a,
        b,
        half_px=reach_px(scale),
        segment_mm=segment(np.stack([a, b])),
        blur_px=rib.blur,
        avoid=rib.boxes,
    )
    return None if s is None or s.length_mm < SHORTEST_SPAR * rib.chord_mm else replace(s, waviness=same_hand(s, pen))


def _same(one: Stroke, other: Stroke) -> bool:
    """Whether two upright strokes are one line."""
    return bool(np.abs(one.uv[[0, -1], 0] - other.uv[[0, -1], 0]).max() < 3.0)


def same_hand(short: Stroke, long: Stroke | None) -> Waviness:
    """A short line does not show its own slow waviness, most of which its slope takes up: it is at least a good half of
    what the same hand and pen left on the chord line, and reaches as far as pen lines do. long : the chord line, if any."""
    size = max(short.waviness.size, HAND_MM * short.px_per_mm)
    if long is not None:
        size = max(size, HAND_SHARE * long.waviness.size * short.px_per_mm / long.px_per_mm)
    return Waviness(size, max(short.waviness.reach, HAND_REACH_MM))
