"""The level reference of a photo: every string that hangs before the rib, and the laser's level line on it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from calibration.level import level_zero
from shared.job import Job, Station
from shared.reading import Flag
from vision.candidates import profile_along
from vision.crossing import look_along
from vision.hints import Hint, Role
from vision.laser import find_level_stripes
from vision.level_reference import UprightLine, find_uprights, upright_depth, with_colour
from vision.lines import Stroke, measure, shaded
from vision.photo import Picture
from vision.rib_plane import LineSeen
from vision.sheet import Plane, Reduced, Sheet, lay_flat
from vision.strings import choose_strings, promising

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
U8 = NDArray[np.uint8]
Box = tuple[float, float, float, float]

POOR_STRING_PX, FAIR_STRING_PX, PLAIN = 0.30, 0.20, 0.6
"""Scatter of a string's centres beyond which its colour is looked at as well: the lower one where less than the share
PLAIN of it was seen somewhere."""
GHOST = 0.4
"""A second level line seen over more than this share of the first one raises a doubt."""
THICK_MM = 2.6
"""A string thicker than this, on the rib's scale, is doubted."""
STRAIGHT_PX = 2.0
"""How far off the measured line a string may show on the rib."""
FOLLOWED_PX = 2
"""How far from the measured line a string may still be seen on the rib."""
DRIFT_PX = 2.0
"""How far following a string further may move it on the stretch measured before."""
CROOKED_PX = 0.8
"""Scatter beyond which it is no straight string."""


@dataclass(frozen=True)
class Gravity:
    """The references used, or the reason why none. string_ends : (2, 2) sheet mm of each string.
    weighed : upright lines that were looked at, for the picture."""

    lines: tuple[LineSeen, ...] = ()
    strokes: tuple[Stroke, ...] = ()
    string_ends: tuple[F64, ...] = ()
    reference: Literal["plumb", "level", "both"] | None = None
    reason: str | None = None
    weighed: tuple[UprightLine, ...] = ()
    flags: tuple[Flag, ...] = ()


def find_gravity(picture: Picture, tall: Reduced, plane: Plane, band: Sheet, laser: F32 | None, chord: F64,
                 station: Station, job: Job, scale: float, blur: float, forward_right: bool,
                 hints: Mapping[Role, Hint], boxes: tuple[Box, ...]) -> Gravity:
    """Find and measure strings and level lines.

    tall : the grey picture, reduced mostly downwards. band, laser : the sheet round the chord line and where it
    has a laser's colour (None: nowhere). chord : (2, 2) sheet mm, left end first.
    """
    from vision.findings import hinted_ends, line_seen

    own = job.level.u_deg
    lines: list[LineSeen] = []
    strokes: list[Stroke] = []
    ends: list[F64] = []
    weighed: tuple[UprightLine, ...] = ()
    reason: str | None = None
    if "plumb" in hints:
        found: list[tuple[F64, UprightLine | None]] = [(hinted_ends(plane, hints["plumb"]), None)]
    elif "level" in hints:
        found = []
    else:
        strings, weighed, reason = _strings(picture, tall, plane, chord, station.chord_mm, forward_right, scale,
                                            boxes)
        found = [(w.ends, w) for w in strings]
    for k, (e, w) in enumerate(found):
        stroke = _measured(picture, plane, e, station.chord_mm, scale, blur, boxes, w)
        if stroke is None or stroke.length_mm < 0.12 * station.chord_mm:
            continue
        if w is not None and not _crosses(picture, plane, stroke, w, chord, station.chord_mm, forward_right, boxes):
            reason = ("a string seems to hang before the rib but cannot be followed straight across it: something behind "
                      "the rib stands in line with it; photograph it from a step aside")
            continue
        if _spread(stroke) > CROOKED_PX:
            return Gravity(reason="the string does not show as one straight line (draught, a knot, something like it beside "
                           "it): let it hang still before a plain background", weighed=weighed)
        lines.append(line_seen("plumb", stroke, own, f"string {k + 1} at {station.name}", "string's own error"))
        strokes.append(stroke)
        ends.append(np.stack([stroke.uv[0], stroke.uv[-1]]))
    level = _level(picture, plane, band, laser, chord, station, scale, blur, forward_right, hints, boxes)
    if level is not None:
        zero = level_zero(job.level, job.folder)
        lines.append(line_seen("level", level, max(zero.u, 1e-4), f"level reference {job.level.profile or ''}".strip(),
                               "level line's own error", zero.value))
        strokes.append(level)
    if not lines:
        return Gravity((), (), (), None, reason or "no level reference was found: hang a string before the rib, or throw "
                       "a level laser line on it", weighed)
    reference: Literal["plumb", "level", "both"] = "both" if ends and level is not None else \
        "plumb" if ends else "level"
    return Gravity(tuple(lines), tuple(strokes), tuple(ends), reference, None, weighed,
                   _doubts(strokes[:len(ends)], len(found)) + _ghosts(picture, band, laser, chord, station,
                                                                       scale, blur, forward_right, level))


def _strings(picture: Picture, tall: Reduced, plane: Plane, chord: F64, chord_mm: float, forward_right: bool,
             scale: float, boxes: tuple[Box, ...]) -> tuple[list[UprightLine], tuple[UprightLine, ...], str | None]:
    """The strings, all upright lines that were looked at, and the reason when none is a string: by brightness
    first; by colour as well where that shows no string."""
    sheet = lay_flat(tall, plane, _tall_box(picture, plane, chord), 2.2 / scale, 8.0 / scale)
    depth = upright_depth(sheet)
    lines = find_uprights(sheet, depth, chord, chord_mm)
    strings, reason = choose_strings(picture.gray, plane, lines, chord, chord_mm, forward_right, boxes)
    if strings:
        return strings, tuple(lines), reason
    lines = find_uprights(sheet, with_colour(depth, picture.small_colour(), sheet), chord, chord_mm)
    colour = picture.full_colour() if any(promising(line) for line in lines) else None
    if colour is not None:
        strings, reason = choose_strings(colour, plane, lines, chord, chord_mm, forward_right, boxes)
    return strings, tuple(lines), reason


def _crosses(picture: Picture, plane: Plane, stroke: Stroke, judged: UprightLine, chord: F64, chord_mm: float,
             forward_right: bool, boxes: tuple[Box, ...]) -> bool:
    """Whether the line as measured, not only as found, passes in front of the rib."""
    path = replace(judged, ends=np.stack(_line_ends(stroke, judged.ends[0, 1], judged.ends[1, 1])),
                   at_chord=_line_ends(stroke, judged.at_chord[1], judged.at_chord[1])[0])

    def passes(image: U8) -> bool:
        crossing = look_along(image, plane, path, chord, chord_mm, forward_right, boxes, FOLLOWED_PX)
        return crossing is not None and crossing.passes and crossing.aside_px <= STRAIGHT_PX

    if passes(picture.gray):
        return True
    colour = picture.full_colour()
    return colour is not None and passes(colour)


def _ghosts(picture: Picture, band: Sheet, laser: F32 | None, chord: F64, station: Station, scale: float, blur: float,
            forward_right: bool, level: Stroke | None) -> tuple[Flag, ...]:
    """A second level line on the rib that is really there: a reflection, or another laser."""
    from vision.findings import same_ink

    stripes = [] if laser is None or level is None else on_rib_stripes(band, laser, chord, station.chord_mm, forward_right)
    for seen, ends in stripes[1:]:
        if seen > GHOST * stripes[0][0] and not same_ink(picture, band.plane, scale, blur, stripes[0][1], ends):
            return (Flag("second-level-line", "there are two level lines on the rib (a reflection?): which one is the "
                         "laser's?"),)
    return ()


def _doubts(strings: list[Stroke], found: int) -> tuple[Flag, ...]:
    flags = []
    if strings and found > len(strings):
        flags.append(Flag("second-upright", "another upright line seems to hang before the rib and could not be measured: "
                          "which one is the string?"))
    thick = max((s.width_mm for s in strings), default=0.0)
    if thick > THICK_MM:
        flags.append(Flag("thick-string", f"the plumb line is {thick:.1f} mm thick: is it a string, or a rod or a cable?"))
    return tuple(flags)


def _measured(picture: Picture, plane: Plane, ends: F64, chord_mm: float, scale: float,
              blur: float, boxes: tuple[Box, ...], judged: UprightLine | None) -> Stroke | None:
    """A string's stroke in the grey picture; where it hardly shows there, in the colour that shows it best.

    judged : how the upright line was judged. What was found may be a few pixels askew, or run into
    a pole behind the rib: the string is measured on and about the rib first and followed outwards from there,
    each time by what the stretch so far foretells. None (a hint): measured from end to end at once.
    """
    from vision.findings import segment

    near = float(np.clip(3.0 * scale, 7, 12))
    least = 1.0 if judged is None else min(judged.above, judged.below, judged.on_rib)
    d = (ends[1] - ends[0]) / (ends[1, 1] - ends[0, 1])  # per mm down
    x = plane.to_pixels(ends[:1])[0, 0]
    top, bottom = float(plane.to_sheet(np.array([[x, 8.0]]))[0, 1]), float(ends[1, 1])

    def stroke_in(image: U8) -> Stroke | None:
        def traced(a: F64, b: F64, rounds: int = 2) -> Stroke | None:
            return measure(image, plane, a, b, half_px=near, segment_mm=segment(np.stack([a, b])), blur_px=blur,
                           any_sign=True, rounds=rounds, avoid=boxes, quick=True)

        if judged is None:
            return traced(ends[0], ends[1])
        crossing = judged.at_chord
        best: Stroke | None = None
        reach = 0.13 * chord_mm
        a, b = crossing - d * reach, crossing + d * min(reach, bottom - crossing[1])
        while True:
            stroke = traced(a, b)
            if stroke is None or stroke.kept.mean() < 0.25:
                return best
            if best is not None and _moved(plane, best, stroke) > DRIFT_PX:
                return best
            if best is not None and (_spread(stroke) > max(1.5 * _spread(best), 0.2) or _kept_share(
                    stroke, best.uv[0, 1], best.uv[-1, 1]) < 0.75 * best.kept.mean()):
                return best
            best = stroke
            if a[1] <= top + 1 and b[1] >= bottom - 1:
                return best
            reach *= 1.7
            a, b = _line_ends(best, max(top, crossing[1] - reach), min(bottom, crossing[1] + reach))

    best = stroke_in(picture.gray)
    if best is not None and best.kept.mean() > 0.6 and _spread(best) < (POOR_STRING_PX if least > PLAIN else FAIR_STRING_PX):
        return shaded(best)
    colour = picture.full_colour()
    for k in range(3) if colour is not None else ():
        other = stroke_in(np.ascontiguousarray(colour[..., k]))  # type: ignore[index]  # checked above
        if other is not None and (best is None or _vague(other) < _vague(best)):
            best = other
    return None if best is None else shaded(best)


def _kept_share(stroke: Stroke, v0: float, v1: float) -> float:
    """Share of a string's segments between two heights, sheet mm, that lie on its line."""
    first = stroke.uv[0, 1] - stroke.place[stroke.kept][0]
    v = first + stroke.place
    part = (v >= v0 - 1) & (v <= v1 + 1)
    return float(stroke.kept[part].mean()) if part.any() else 0.0


def _line_ends(stroke: Stroke, v0: float, v1: float) -> tuple[F64, F64]:
    """The points of a stroke's straight line at two heights, sheet mm."""
    slope, at = np.polyfit(stroke.uv[:, 1], stroke.uv[:, 0], 1)
    return np.array([slope * v0 + at, v0]), np.array([slope * v1 + at, v1])


def _moved(plane: Plane, before: Stroke, after: Stroke) -> float:
    """How far a longer measurement lies from a shorter one at the shorter one's ends, pixels."""
    v0, v1 = float(before.uv[0, 1]), float(before.uv[-1, 1])
    return float(np.abs(plane.to_pixels(np.stack(_line_ends(before, v0, v1)))
                        - plane.to_pixels(np.stack(_line_ends(after, v0, v1)))).max())


def _vague(stroke: Stroke) -> float:
    """How poorly a stroke fixes a slope: scatter over length and count."""
    return float(_spread(stroke) / np.sqrt(stroke.kept.sum()) / stroke.length_mm)


def _spread(stroke: Stroke) -> float:
    return float(np.hypot(np.median(stroke.sigma_px), stroke.waviness.size))


def on_rib_stripes(band: Sheet, laser: F32, chord: F64, chord_mm: float, forward_right: bool) -> list[tuple[float, F64]]:
    """Level stripes of a laser's colour on the rib: how long each is seen there, mm, and its ends (2, 2) there.

    The rib is taken as thin towards the trailing edge: what passes above or below it there is the wall behind.
    """
    left, right = band.index(chord)[:, 0]
    cols = np.arange(max(0, int(left) + 1), min(band.image.shape[1], int(right)))
    slope = (chord[1, 1] - chord[0, 1]) / (chord[1, 0] - chord[0, 0])
    u = band.u0 + band.mm_u * cols
    chord_v = chord[0, 1] + slope * (u - chord[0, 0])
    tail = np.abs(u - (chord[0, 0] if forward_right else chord[1, 0]))
    depth = np.minimum(0.08 * chord_mm, 0.1 * tail)
    found = []
    for s in find_level_stripes(band, laser, chord_mm):
        v = band.v0 + band.mm_v * (s.row + s.slope * cols)
        seen = np.nan_to_num(profile_along(laser, s.row, s.slope), nan=0.0)[cols] > 0.4
        on = (np.abs(v - chord_v) < depth) & (cols >= s.first) & (cols <= s.last)
        if (on & seen).sum() * band.mm_u < 0.1 * chord_mm:
            continue
        c = cols[on][[0, -1]].astype(np.float64)
        found.append((float((on & seen).sum() * band.mm_u), band.uv(np.stack([c, s.row + s.slope * c], axis=1))))
    return sorted(found, key=lambda f: -f[0])


def _tall_box(picture: Picture, plane: Plane, chord: F64) -> tuple[float, float, float, float]:
    """The chord's width and the photo's whole height, sheet mm."""
    x = plane.to_pixels(chord.mean(0)[None])[0, 0]
    v = plane.to_sheet(np.array([[x, 8.0], [x, picture.height - 9.0]]))[:, 1]
    return float(chord[0, 0]), float(v[0]), float(chord[1, 0]), float(v[1])


def _level(picture: Picture, plane: Plane, band: Sheet, laser: F32 | None, chord: F64, station: Station, scale: float,
           blur: float, forward_right: bool, hints: Mapping[Role, Hint], boxes: tuple[Box, ...]) -> Stroke | None:
    from vision.findings import hinted_ends, segment

    if "level" in hints:
        ends = hinted_ends(plane, hints["level"])
    elif laser is None:
        return None
    else:
        stripes = on_rib_stripes(band, laser, chord, station.chord_mm, forward_right)
        if not stripes or stripes[0][0] < 0.12 * station.chord_mm:
            return None
        ends = stripes[0][1]
    return measure(picture.gray, plane, ends[0], ends[1], half_px=float(np.clip(3.2 * scale, 7, 12)),
                   segment_mm=segment(ends), blur_px=max(blur, 1.2), avoid=boxes)
