"""The level reference of a photo: every string that hangs before the rib, and the level line on it: a laser's, or the
levelled straightedge that the job tells of."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from calibration.level.reversal import level_zero
from shared.job.model import Job, Station
from shared.reading import Flag
from vision.image.photo import Picture
from vision.image.rectified import Plane, Reduced, Sheet
from vision.level.laser import find_level_stripes
from vision.level.plumb import Plumb, find_plumb, measured
from vision.level.references import UprightLine
from vision.level.straightedge import Straightedge, find_straightedge
from vision.lines.candidates import Stripe, profile_along
from vision.lines.chord import SAME_SURFACE
from vision.lines.hints import Hint, Role
from vision.lines.measure import Stroke, measure
from vision.lines.tracing import hinted_ends, line_seen, same_ink, segment
from vision.solution.solve import LineSeen

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
Box = tuple[float, float, float, float]

GHOST = 0.4
"""A second level line seen over more than this share of the first one raises a doubt."""
TONE_MM = (3.0, 4.5)
"""How far beside a line the tone of what it lies on is taken, sheet mm."""
THICK_MM = 2.6
"""A string thicker than this, on the rib's scale, is doubted."""


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


def find_gravity(
    picture: Picture,
    tall: Reduced,
    plane: Plane,
    band: Sheet,
    laser: F32 | None,
    chord: F64,
    station: Station,
    job: Job,
    scale: float,
    blur: float,
    forward_right: bool,
    hints: Mapping[Role, Hint],
    boxes: tuple[Box, ...],
) -> Gravity:
    """Find and measure strings and level lines.

    tall : the grey picture, reduced mostly downwards. band, laser : the sheet round the chord line and where it
    has a laser's colour (None: nowhere). chord : (2, 2) sheet mm, left end first.
    """
    own = job.level.u_deg
    c = station.chord_mm
    if "plumb" in hints:
        by_hand = measured(picture, plane, hinted_ends(plane, hints["plumb"]), c, scale, blur, boxes, None)
        plumb = Plumb(() if by_hand is None else (by_hand,))
    elif "level" in hints:
        plumb = Plumb()
    else:
        plumb = find_plumb(picture, tall, plane, chord, c, forward_right, scale, blur, boxes)
    lines = [
        line_seen("plumb", s, own, f"string {k + 1} at {station.name}", "string's own error")
        for k, s in enumerate(plumb.strokes)
    ]
    strokes = list(plumb.strokes)
    ends = [np.stack([s.uv[0], s.uv[-1]]) for s in strokes]
    bar = Straightedge()
    if job.level.straightedge_mm is not None and not hints.keys() & {"plumb", "level"}:
        bar = find_straightedge(
            picture.gray, plane, chord, c, forward_right, job.level.straightedge_mm, scale, blur, boxes
        )
    level = bar.stroke or _level(picture, plane, band, laser, chord, station, scale, blur, forward_right, hints, boxes)
    if level is not None:
        zero = level_zero(job.level, job.folder)
        lines.append(
            line_seen(
                "level",
                level,
                max(zero.u, 1e-4),
                f"level reference {job.level.profile or ''}".strip(),
                "level line's own error",
                zero.value,
            )
        )
        strokes.append(level)
    if not lines:
        return Gravity(
            (),
            (),
            (),
            None,
            bar.reason
            or plumb.reason
            or "no level reference was found: hang a string before the rib, or throw a level laser line on it",
            plumb.weighed,
        )
    reference: Literal["plumb", "level", "both"] = (
        "both" if ends and level is not None else "plumb" if ends else "level"
    )
    ghosts = () if bar.stroke else _ghosts(picture, band, laser, chord, station, scale, blur, forward_right, level)
    return Gravity(tuple(lines), tuple(strokes), tuple(ends), reference, None, plumb.weighed, _doubts(plumb) + ghosts)


def _ghosts(
    picture: Picture,
    band: Sheet,
    laser: F32 | None,
    chord: F64,
    station: Station,
    scale: float,
    blur: float,
    forward_right: bool,
    level: Stroke | None,
) -> tuple[Flag, ...]:
    """A second level line on the rib that is really there: a reflection, or another laser."""
    stripes = (
        [] if laser is None or level is None else on_rib_stripes(band, laser, chord, station.chord_mm, forward_right)
    )
    for seen, ends in stripes[1:]:
        if seen > GHOST * stripes[0][0] and not same_ink(picture, band.plane, scale, blur, stripes[0][1], ends):
            return (
                Flag(
                    "second-level-line",
                    "there are two level lines on the rib (a reflection?): which one is the laser's?",
                ),
            )
    return ()


def _doubts(plumb: Plumb) -> tuple[Flag, ...]:
    flags = []
    strings = plumb.strokes
    if plumb.others:
        flags.append(
            Flag(
                "second-upright",
                "another upright line seems to hang before the rib and could not be measured: which one is the string?",
            )
        )
    thick = max((s.width_mm for s in strings), default=0.0)
    if thick > THICK_MM:
        flags.append(
            Flag("thick-string", f"the plumb line is {thick:.1f} mm thick: is it a string, or a rod or a cable?")
        )
    return tuple(flags)


def on_rib_stripes(
    band: Sheet, laser: F32, chord: F64, chord_mm: float, forward_right: bool
) -> list[tuple[float, F64]]:
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
        if _off_the_rib(band, cols[on & seen], s, chord_v[on & seen]):
            continue
        c = cols[on][[0, -1]].astype(np.float64)
        found.append((float((on & seen).sum() * band.mm_u), band.uv(np.stack([c, s.row + s.slope * c], axis=1))))
    return sorted(found, key=lambda f: -f[0])


def _off_the_rib(band: Sheet, cols: NDArray[np.int_], s: Stripe, chord_v: F64) -> bool:
    """Whether both sides of a level stripe differ in tone from the rib beside the chord line above or below it: what lies
    lower than a shallow rib is the wall behind, on which the laser's line goes on."""
    image = band.image.astype(np.float64)
    line = band.v0 + band.mm_v * (s.row + s.slope * cols)

    def tone(v: NDArray[np.floating]) -> F64:
        rows = np.clip(np.rint((v - band.v0) / band.mm_v).astype(int), 0, len(image) - 1)
        return np.asarray(image[rows, cols])

    rib = np.median([tone(chord_v + k) for k in (-TONE_MM[1], -TONE_MM[0], TONE_MM[0], TONE_MM[1])], axis=0)
    sides = [np.mean([tone(line + sign * k) for k in TONE_MM], axis=0) for sign in (-1, 1)]
    return all(float(np.median(np.abs(side - rib) / (np.maximum(side, rib) + 10))) > SAME_SURFACE for side in sides)


def _level(
    picture: Picture,
    plane: Plane,
    band: Sheet,
    laser: F32 | None,
    chord: F64,
    station: Station,
    scale: float,
    blur: float,
    forward_right: bool,
    hints: Mapping[Role, Hint],
    boxes: tuple[Box, ...],
) -> Stroke | None:
    if "level" in hints:
        ends = hinted_ends(plane, hints["level"])
    elif laser is None:
        return None
    else:
        stripes = on_rib_stripes(band, laser, chord, station.chord_mm, forward_right)
        if not stripes or stripes[0][0] < 0.12 * station.chord_mm:
            return None
        ends = stripes[0][1]
    return measure(
        picture.gray,
        plane,
        ends[0],
        ends[1],
        half_px=float(np.clip(3.2 * scale, 7, 12)),
        segment_mm=segment(ends),
        blur_px=max(blur, 1.2),
        avoid=boxes,
    )
