"""The strings of a photo: found by brightness or colour, told from what is behind the rib, measured, and held
against the rib once more as measured."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from shared.numerics.small_sums import straight
from vision.image.photo import Picture
from vision.image.rectified import Plane, Reduced, lay_flat
from vision.level.bob import SURE, bob_seen
from vision.level.crossing import Box, look_along
from vision.level.references import UprightLine, find_uprights, upright_depth, with_colour
from vision.level.strings import apart, beyond, choose_strings, from_pieces, near_tail, plain, promising, whole
from vision.lines.measure import Stroke, measure, shaded
from vision.lines.tracing import segment

F64 = NDArray[np.float64]
U8 = NDArray[np.uint8]

POOR_STRING_PX, FAIR_STRING_PX, PLAIN = 0.30, 0.20, 0.6
"""Scatter of a string's centres beyond which its colour is looked at as well: the lower one where less than the share
PLAIN of it was seen somewhere."""
ABOUT_PX = 200
"""How far from a string as found its path may lead, pixels, with what is looked at on its sides."""
FOLLOWED_PX = 2
"""How far from the measured line a string may still be seen on the rib."""
FURTHER = 2.15
"""How many times as far as before a string is followed in one step."""
DRIFT_PX = 2.0
"""How far following a string further may move it on the stretch measured before."""
LEAST_KEPT = 0.25
"""Least share of a string's segments that must lie on its line."""
STRAIGHT_PX = 2.0
"""How far off the measured line a string may show on the rib."""
SHORTEST = 0.12
"""A string measured over less than this, in chords, is too short."""
CROOKED_PX = 0.8
"""Scatter beyond which it is no straight string."""
LOST = (
    "a string seems to hang before the rib but cannot be followed straight across it: something behind the rib stands "
    "in line with it; photograph it from a step aside"
)
LONGER_THAN_RIB = 0.17
"""Length, in chords, over which a string must have been measured: ribs are less deep than that (common practice, no source:
sections of up to 17 %), and what ends with the rib is no string."""
CROOKED = (
    "the string does not show as one straight line (draught, a knot, something like it beside it): let it hang still "
    "before a plain background"
)


@dataclass(frozen=True)
class Plumb:
    """The strings measured, the reason when none, and the upright lines that were looked at. others : something else
    looked like a string and could not be measured."""

    strokes: tuple[Stroke, ...] = ()
    reason: str | None = None
    weighed: tuple[UprightLine, ...] = ()
    others: bool = False


def find_plumb(
    picture: Picture,
    tall: Reduced,
    plane: Plane,
    chord: F64,
    chord_mm: float,
    forward_right: bool,
    scale: float,
    blur: float,
    boxes: tuple[Box, ...],
) -> Plumb:
    """Every string before the rib: by brightness first, by colour as well where that shows none.

    tall : the grey picture, reduced mostly downwards. chord : (2, 2) sheet mm, left end first. scale : pixels a mm.
    boxes : (u0, v0, u1, v1) sheet mm of the cards.
    """
    sheet = lay_flat(tall, plane, _tall_box(picture, plane, chord), 2.2 / scale, 8.0 / scale)
    depth = upright_depth(sheet)
    best = Plumb()
    for coloured in (False, True):
        if coloured:
            picture.full_colour()  # wanted below almost always; the small picture is then made from it
            depth = with_colour(depth, picture.small_colour(), sheet)
        lines = find_uprights(sheet, depth, chord, chord_mm)
        image = (
            picture.gray
            if not coloured
            else picture.full_colour()
            if any(promising(k) or plain(k) for k in lines)
            else None
        )
        if image is None:
            return best
        strings, reason = choose_strings(image, plane, lines, chord, chord_mm, forward_right, boxes)
        if not strings and coloured:
            strings = from_pieces(image, plane, lines, chord, chord_mm, forward_right, boxes)
        strokes: list[Stroke] = []
        failed: list[F64] = []
        for line in strings:
            if any(not apart(line.ends, _ends(k)) for k in strokes):
                continue
            stroke = measured(picture, plane, line.ends, chord_mm, scale, blur, boxes, line)
            if stroke is not None and (
                _on_rib_only(stroke, chord_mm)
                or not _crosses(picture, plane, stroke, line, chord, chord_mm, forward_right, boxes)
            ):
                reason, stroke = LOST, None
            elif stroke is not None and spread(stroke) > CROOKED_PX:
                reason, stroke = CROOKED, None
            if stroke is not None:
                strokes.append(stroke)
            else:
                failed.append(line.ends)
        if strokes:
            failed += [k.ends for k in lines if whole(k) and not near_tail(k, chord, chord_mm, forward_right)]
            hung = (np.stack([k.at_chord, k.ends[1]]) for k in lines if beyond(k))
            others = any(all(apart(f, _ends(k)) for k in strokes) for f in failed) or any(
                all(apart(f, _ends(k)) for k in strokes) and bob_seen(picture.gray, plane, f, SURE) for f in hung
            )
            return Plumb(tuple(strokes), None, tuple(lines), others)
        if strings or best.reason is None:
            best = Plumb((), reason, tuple(lines))
    return best


def _on_rib_only(stroke: Stroke, chord_mm: float) -> bool:
    """Whether a string could be followed nowhere past the rib: a spar line, with something behind that stood in line."""
    return bool(stroke.uv[-1, 1] - stroke.uv[0, 1] < LONGER_THAN_RIB * chord_mm)


def _crosses(
    picture: Picture,
    plane: Plane,
    stroke: Stroke,
    judged: UprightLine,
    chord: F64,
    chord_mm: float,
    forward_right: bool,
    boxes: tuple[Box, ...],
) -> bool:
    """Whether the line as measured, not only as found, passes in front of the rib."""
    path = replace(
        judged,
        ends=np.stack(_line_ends(stroke, judged.ends[0, 1], judged.ends[1, 1])),
        at_chord=_line_ends(stroke, judged.at_chord[1], judged.at_chord[1])[0],
    )

    def passes(image: U8) -> bool:
        crossing = look_along(image, plane, path, chord, chord_mm, forward_right, boxes, FOLLOWED_PX)
        return crossing is not None and crossing.passes and crossing.aside_px <= STRAIGHT_PX

    if passes(picture.gray):
        return True
    colour = picture.full_colour()
    return colour is not None and passes(colour)


def measured(
    picture: Picture,
    plane: Plane,
    ends: F64,
    chord_mm: float,
    scale: float,
    blur: float,
    boxes: tuple[Box, ...],
    judged: UprightLine | None,
) -> Stroke | None:
    """A string's stroke in the grey picture; where it hardly shows there, in the colour that shows it best. None
    where it cannot be measured over SHORTEST of the chord.

    judged : how the upright line was judged. What was found may be a few pixels askew, or run into
    a pole behind the rib: the string is measured on and about the rib first and followed outwards from there,
    each time by what the stretch so far foretells. None (a hint): measured from end to end at once.
    """
    near = float(np.clip(3.0 * scale, 7, 12))
    least = 1.0 if judged is None else min(judged.above, judged.below, judged.on_rib)
    d = (ends[1] - ends[0]) / (ends[1, 1] - ends[0, 1])  # per mm down
    x = plane.to_pixels(ends[:1])[0, 0]
    top, bottom = float(plane.to_sheet(np.array([[x, 8.0]]))[0, 1]), float(ends[1, 1])

    crossing, reach = (ends[0], 0.0) if judged is None else (judged.at_chord, 0.13 * chord_mm)
    first = (
        (ends[0], ends[1])
        if judged is None
        else (crossing - d * reach, crossing + d * min(reach, bottom - crossing[1]))
    )

    def traced(image: U8, a: F64, b: F64, rounds: int = 2) -> Stroke | None:
        return measure(
            image,
            plane,
            a,
            b,
            half_px=near,
            segment_mm=segment(np.stack([a, b])),
            blur_px=blur,
            any_sign=True,
            rounds=rounds,
            avoid=boxes,
            quick=True,
        )

    def begun(image: U8) -> Stroke | None:
        """On and about the rib."""
        best = traced(image, *first)
        return best if judged is None or (best is not None and best.kept.mean() >= LEAST_KEPT) else None

    def outwards(image: U8, best: Stroke) -> Stroke:
        if judged is None:
            return best
        at, rounds, far = first, 2, reach
        while at[0][1] > top + 1 or at[1][1] < bottom - 1:
            far *= FURTHER
            a, b = _line_ends(best, max(top, crossing[1] - far), min(bottom, crossing[1] + far))
            # half-way, the stretch so far foretells the place well enough for one round to tell whether to go on
            for more in (2,) if a[1] <= top + 1 and b[1] >= bottom - 1 else (1, 2):
                stroke = traced(image, a, b, more)
                if stroke is not None and _followed(plane, best, stroke):
                    best, at, rounds = stroke, (a, b), more
                    break
            else:
                return best if rounds == 2 else traced(image, *at) or best
        return best

    start = begun(picture.gray)
    best = None if start is None else outwards(picture.gray, start)
    if (
        best is not None
        and best.kept.mean() > 0.6
        and spread(best) < (POOR_STRING_PX if least > PLAIN else FAIR_STRING_PX)
        and best.length_mm > SHORTEST * chord_mm
    ):
        return shaded(best)
    colour = picture.full_colour()
    channels = [] if colour is None else [_channel(colour, k, plane.to_pixels(ends)) for k in range(3)]
    starts = [(stroke, image) for image in channels if (stroke := begun(image)) is not None]
    if starts:  # the channel that shows the string best about the rib shows it best farther out
        start, image = min(starts, key=lambda s: _vague(s[0]))
        other = outwards(image, start)
        if best is None or _vague(other) < _vague(best):
            best = other
    return None if best is None or best.length_mm < SHORTEST * chord_mm else shaded(best)


def _channel(colour: U8, k: int, ends: F64) -> U8:
    """(h, w) one channel of a picture (h, w, 3) about the upright line through two pixels (2, 2); zero far from it."""
    h, w, _ = colour.shape
    x = ends[0, 0] + (ends[1, 0] - ends[0, 0]) / (ends[1, 1] - ends[0, 1]) * (np.array([0.0, h]) - ends[0, 1])
    left, right = (int(k) for k in np.clip([x.min() - ABOUT_PX, x.max() + ABOUT_PX], 0, w))
    out = np.zeros((h, w), dtype=np.uint8)
    out[:, left:right] = colour[:, left:right, k]
    return out


def _followed(plane: Plane, before: Stroke, after: Stroke) -> bool:
    """Whether a string followed further is still the string measured so far."""
    return bool(
        after.kept.mean() >= LEAST_KEPT
        and _moved(plane, before, after) <= DRIFT_PX
        and spread(after) <= max(1.5 * spread(before), 0.2)
        and _kept_share(after, before.uv[0, 1], before.uv[-1, 1]) >= 0.75 * before.kept.mean()
    )


def _kept_share(stroke: Stroke, v0: float, v1: float) -> float:
    """Share of a string's segments between two heights, sheet mm, that lie on its line."""
    first = stroke.uv[0, 1] - stroke.place[stroke.kept][0]
    v = first + stroke.place
    part = (v >= v0 - 1) & (v <= v1 + 1)
    return float(stroke.kept[part].mean()) if part.any() else 0.0


def _line_ends(stroke: Stroke, v0: float, v1: float) -> tuple[F64, F64]:
    """The points of a stroke's straight line at two heights, sheet mm."""
    slope, at = straight(stroke.uv[:, 1], stroke.uv[:, 0])
    return np.array([slope * v0 + at, v0]), np.array([slope * v1 + at, v1])


def _ends(stroke: Stroke) -> F64:
    """(2, 2) sheet mm, top first."""
    return np.stack([stroke.uv[0], stroke.uv[-1]])


def _moved(plane: Plane, before: Stroke, after: Stroke) -> float:
    """How far a longer measurement lies from a shorter one at the shorter one's ends, pixels."""
    v0, v1 = float(before.uv[0, 1]), float(before.uv[-1, 1])
    return float(
        np.abs(
            plane.to_pixels(np.stack(_line_ends(before, v0, v1))) - plane.to_pixels(np.stack(_line_ends(after, v0, v1)))
        ).max()
    )


def _vague(stroke: Stroke) -> float:
    """How poorly a stroke fixes a slope: scatter over length and count."""
    return float(spread(stroke) / np.sqrt(stroke.kept.sum()) / stroke.length_mm)


def spread(stroke: Stroke) -> float:
    """Scatter of a string's centres, pixels."""
    return float(np.hypot(np.median(stroke.sigma_px), stroke.waviness.size))


def _tall_box(picture: Picture, plane: Plane, chord: F64) -> tuple[float, float, float, float]:
    """The chord's width and the photo's whole height, sheet mm."""
    x = plane.to_pixels(chord.mean(0)[None])[0, 0]
    v = plane.to_sheet(np.array([[x, 8.0], [x, picture.height - 9.0]]))[:, 1]
    return float(chord[0, 0]), float(v[0]), float(chord[1, 0]), float(v[1])
