"""The spar line measured: among the upright lines that may be it, the one drawn by the chord line's pen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from shared.job.model import Station
from vision.image.photo import Picture
from vision.image.rectified import Plane, Reduced, lay_flat
from vision.lines.hints import Hint
from vision.lines.measure import Stroke, measure
from vision.lines.spar import Upright, is_string, upright_lines
from vision.lines.tracing import hinted_ends, reach_px, segment
from vision.lines.waviness import Waviness

F64 = NDArray[np.float64]

EQUAL_RIGHT = 0.6
"""A rival with more than this share of the best one's weight is of equal right."""
SHORTEST = 0.04
"""A spar line measured over less than this, in chords, is too short."""
INSET = 0.012
"""How far inside the rib's surfaces, in chords, the line is measured."""
PEN_BREADTH, PEN_INK = 1.25, 1.35
"""By which factors lines of one pen differ at most in breadth and in ink."""
BROADER, BROADER_MM = 1.5, 0.1
"""A line broader than so many times the chord line and so many mm more is of another making."""
HAND_SHARE = 0.6
HAND_MM, HAND_REACH_MM = 0.03, 30.0
"""Least waviness of a short pen line, mm, and how far along it reaches (common practice, no source: pen lines are
straight to about 0.1 mm, slowly)."""


def find_spar(
    picture: Picture,
    tall: Reduced,
    plane: Plane,
    chord: F64,
    pen: Stroke,
    strings: Sequence[F64],
    station: Station,
    papers: list[F64],
    scale: float,
    blur: float,
    forward_right: bool,
    hint: Hint | None,
) -> tuple[Stroke | None, str | None]:
    """The spar line's stroke, or the reason why none.

    tall : the grey picture, reduced mostly downwards. chord : (2, 2) sheet mm, left end first. pen : the chord line
    as measured. strings : (2, 2) sheet mm each. papers : corners (4, 2) of the cards' paper. scale : pixels a mm.
    """
    c = station.chord_mm

    def measured(ends: F64, inset: float) -> Stroke | None:
        d = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
        a, b = ends[0] + inset * c * d, ends[1] - inset * c * d
        s = measure(
            picture.gray, plane, a, b, half_px=reach_px(scale), segment_mm=segment(np.stack([a, b])), blur_px=blur
        )
        return None if s is None or s.length_mm < SHORTEST * c else replace(s, waviness=_same_hand(s, pen))

    if hint is not None:
        pointed = measured(hinted_ends(plane, hint), 0.0)
        return pointed, None if pointed else FAINT
    if station.spar_deg is None:
        return None, "the job gives no spar line at this station"
    sheet = lay_flat(
        tall,
        plane,
        (chord[0, 0], chord[:, 1].min() - 0.13 * c, chord[1, 0], chord[:, 1].max() + 0.095 * c),
        2.0 / scale,
        6.0 / scale,
    )
    lines = upright_lines(sheet, chord, c, forward_right, station.spar_at, list(strings), papers)
    if not lines:
        return None, "no spar line was found that crosses the chord line and ends at the rib's outline"
    equal = [line for line in lines if line.weight > EQUAL_RIGHT * lines[0].weight]
    strokes = [(line, measured(line.ends, INSET)) for line in equal]
    judged = [(s, _no_spar(s, line, pen, strings, alone=len(equal) == 1)) for line, s in strokes]
    good = [s for s, doubt in judged if doubt is None]
    if len(good) == 1:
        return good[0], None
    if len(equal) == 1:
        return None, judged[0][1]
    return None, (
        "two upright lines have about equal right to be the spar line: say in the job where it stands "
        "(spar_at), or give a hint"
    )


FAINT = "the spar line is too faint or too short to measure"


def _no_spar(stroke: Stroke | None, line: Upright, pen: Stroke, strings: Sequence[F64], alone: bool) -> str | None:
    """Why a measured upright line is not to be believed the spar line: the string itself, its shadow, another pen.

    Where it has rivals, is broken or lies where the string's shadow may fall, only the chord line's own pen counts.
    """
    if stroke is None:
        return FAINT
    ends = np.stack([stroke.uv[0], stroke.uv[-1]])
    if any(is_string(ends, string) for string in strings):
        return "the upright line on the rib turns out to be the string: hang the string further from the spar line"
    if broad(stroke) > BROADER * broad(pen) + BROADER_MM:
        return (
            f"the upright line on the rib is about {3.5 * broad(stroke):.1f} mm wide, the chord line {3.5 * broad(pen):.1f} "
            "mm: a shadow or an edge rather than the same pen's spar line"
        )
    if (line.doubtful or not alone) and not same_pen(stroke, pen):
        return (
            "the only upright line on the rib may be the string's shadow, and another pen's than the chord line: hang the "
            "string further from the spar line, draw the line through"
        )
    return None


def broad(stroke: Stroke) -> float:
    """Standard deviation of a line's profile across, mm: of thin lines width and blur cannot be told apart."""
    return float(np.hypot(stroke.width_mm / np.sqrt(12), stroke.blur_px / stroke.px_per_mm))


def same_pen(one: Stroke, other: Stroke) -> bool:
    """Whether two lines look drawn by one pen: as broad, and as much ink (width times darkness) across."""
    ink = abs(float(np.median(one.depth))) * one.width_mm / (abs(float(np.median(other.depth))) * other.width_mm)
    return 1 / PEN_BREADTH < broad(one) / broad(other) < PEN_BREADTH and 1 / PEN_INK < ink < PEN_INK


def _same_hand(short: Stroke, long: Stroke) -> Waviness:
    """The spar line is too short to show its own slow waviness, most of which its slope takes up: it is at least
    a good half of what the same hand and pen left on the chord line, and reaches as far as pen lines do."""
    size = max(
        short.waviness.size,
        HAND_SHARE * long.waviness.size * short.px_per_mm / long.px_per_mm,
        HAND_MM * short.px_per_mm,
    )
    return Waviness(size, max(short.waviness.reach, HAND_REACH_MM))
