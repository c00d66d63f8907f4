"""Doubts about a finished reading: what does not fit together becomes a flag, or ends the reading.

An angle stands between a drawn line and the level reference: it is wrong if either was taken wrongly, so that its chance is the
product of theirs, of the chord angle and of the spar angle alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shared.flags import Flag, FlagCode
from shared.job.model import Station
from shared.numerics.small_sums import straight
from vision.detect import Detections
from vision.evidence.posterior import DOUBT, GIVE
from vision.level.gravity import Gravity
from vision.solution.propagate import Angles
from vision.solution.solve import Solution

MARK_PLACED_MM = 0.5
"""How well a mark is set on its line by hand (common practice, no source)."""
PULL = 3.0
"""Standardised disagreement of two level references, or of cards, beyond which they are doubted. Three standard
deviations: one true pair in 370 is doubted without need (normal errors)."""
HOPELESS_PULL = 6.0
"""The same, beyond which no value is given. Twice as far, by judgement: normal errors never come there, so that one of
the two is not what it was taken for."""
SHORT, VERY_SHORT = 0.75, 0.5
"""Part of the chord over which a chord line must be seen, without and with two marks on it, to go undoubted. By
judgement: a line drawn from edge to edge shows over nearly all of it; lower, a line of something else passes unflagged,
higher, every rib with much before its line is flagged."""
MAX_U_DEG = 1.5
"""A standard uncertainty beyond which a value says nothing about a rib. U is then 3 degrees, more than any tolerance in
use (common practice, no source)."""
TOO_LONG = 1.08
"""The same above which a line is too long for its station's chord. By judgement: 8 % in length is 8 % in distance, so
that the line may be another rib's (`vision.behind.LONGER_THAN_CHORD`)."""
BROKEN = 0.6
"""Share of a chord line's segments that must be measured for it to go unflagged. By judgement: a string, its shadow and
a card hide up to a third."""
WAVY_MM = 0.4
"""Waviness of a chord line from which it is flagged: four times what a pen along a straightedge leaves (0.1 mm; common
practice, no source)."""
MARK_OFF_MM = 2.0
"""Distance of a mark from the line from which it is flagged: four times `MARK_PLACED_MM`."""
MARKS_APART_MM = 50.0
"""Marks nearer to each other give no direction worth comparing: `MARK_PLACED_MM` is 0.8 degrees over it."""
LENS_PULL = 4.0
"""Standard deviations by which the photo may move the lens from its profile along one of its axes: once in 1,700 photos
by chance with nine axes (normal errors)."""


KIND_IN_WORDS = {
    "chord": "the chord line",
    "pen": "another drawn line",
    "spar": "the spar line",
    "string": "a string",
    "string_shadow": "the string's shadow",
    "laser": "the laser's line",
    "laser-beyond": "the laser's line on something else",
    "straightedge": "the edge of a straightedge",
    "rod": "a rod, a cable or a slanted string",
    "edge": "an edge",
    "seam": "grain or a seam",
    "nothing": "no line at all",
}
"""The witness's kinds in words."""


@dataclass(frozen=True)
class Doubt:
    """A reason to end without a value, or flags on the photo, the chord angle and the spar angle."""

    reason: str | None = None
    flags: tuple[Flag, ...] = ()
    chord_flags: tuple[Flag, ...] = ()
    spar_flags: tuple[Flag, ...] = ()


def doubts(result: Angles, solution: Solution, found: Detections, station: Station, poses: tuple[Flag, ...]) -> Doubt:
    """Hold everything that was seen against everything else. poses : flags on which way the card tilts.

    result : angles with budgets, degrees. solution : of this rib. found : its lines with their probabilities. station
    : as the job has it; its design angles are not read.
    """
    assert result.chord is not None
    if not np.isfinite(result.chord.u) or result.chord.u > MAX_U_DEG:
        return Doubt(
            f"the geometry leaves the angle open by U = {2 * result.chord.u:.1f} deg: calibrate the lens, use two "
            "cards, hang the string nearer the middle"
        )
    assert found.gravity is not None
    level = found.gravity.chance
    wrong, why = 1 - found.chance * level, _which(found)
    if wrong > DOUBT:
        return Doubt(f"{why} (probability {wrong:.0%})")
    flags: list[Flag] = []
    chord: list[Flag] = []
    spar: list[Flag] = []
    chord += _length(found, station)
    chord += _marks(found)
    reason, disagreeing = references(solution)
    if reason:
        return Doubt(reason)
    flags += disagreeing
    flags += lens(solution)
    flags += poses
    if wrong > GIVE:
        chord.append(FlagCode.LINE_DOUBTFUL.flag(f"{why} (probability {wrong:.1%})"))
    if found.spar is not None and result.spar is not None:
        wrong = 1 - found.spar.chance * level
        if wrong > GIVE:
            rival = f"what was taken for the spar line may be {KIND_IN_WORDS[found.spar.rival or 'nothing']}"
            why = _level_words(found.gravity) if level < found.spar.chance else rival
            spar.append(FlagCode.SPAR_DOUBTFUL.flag(f"{why} (probability {wrong:.1%})"))
    stroke = found.strokes[0]
    kept = float(stroke.kept.mean())
    if kept < BROKEN:
        chord.append(FlagCode.CHORD_BROKEN.flag(f"only {100 * kept:.0f} % of the chord line could be measured"))
    if stroke.waviness.size / stroke.px_per_mm > WAVY_MM:
        chord.append(
            FlagCode.CHORD_WAVY.flag(
                f"the chord line is wavy or bent by {stroke.waviness.size / stroke.px_per_mm:.1f} mm"
            )
        )
    return Doubt(None, tuple(flags), tuple(chord), tuple(spar))


def _which(found: Detections) -> str:
    """Which of chord line and level reference is the less sure to be what it was taken for, and what it may be."""
    assert found.gravity is not None
    if found.chance > found.gravity.chance:
        return _level_words(found.gravity)
    chosen = found.chord.chosen if found.chord else None
    other = KIND_IN_WORDS[chosen.belief.instead_of("chord")] if chosen else "another line"
    return f"what was taken for the chord line may be {other}: put reference marks on it, or give a hint"


def _level_words(gravity: Gravity) -> str:
    other = KIND_IN_WORDS[gravity.rival or "nothing"]
    return f"what was taken for the level reference may be {other}: hang a string that stands out, its bob in view"


def _length(found: Detections, station: Station) -> list[Flag]:
    """A chord line runs from edge to edge; one that does not is doubted, unless two marks lie on it."""
    part = found.strokes[0].length_mm / station.chord_mm
    if (part < SHORT and len(found.marks) < 2) or part < VERY_SHORT:
        return [FlagCode.CHORD_SHORT.flag(f"the line is seen over only {100 * part:.0f} % of the station's chord")]
    if part > TOO_LONG:
        return [FlagCode.CHORD_LONG.flag(f"the line is {100 * part:.0f} % of the station's chord long")]
    return []


def _marks(found: Detections) -> list[Flag]:
    """Quartered marks against the fitted line, in the rib plane: each one's distance, and the line through two."""
    marks = [m for m in found.marks if np.isfinite(m.sigma_px)]
    if not marks:
        return []
    uv = found.plane.to_sheet(np.array([m.pixel for m in marks]))
    uv = uv[np.argsort(uv[:, 0])][[0, -1]]
    stroke = found.strokes[0]
    slope, at = straight(stroke.uv[:, 0], stroke.uv[:, 1])
    away = float(np.abs(np.polyval((slope, at), uv[:, 0]) - uv[:, 1]).max())
    length = float(np.linalg.norm(uv[1] - uv[0]))
    apart = allowed = 0.0
    if length > MARKS_APART_MM:
        theirs = float(np.degrees(np.arctan2(uv[1, 1] - uv[0, 1], uv[1, 0] - uv[0, 0])))
        apart = abs(theirs - float(np.degrees(np.arctan(slope))))
        size = stroke.waviness.size / stroke.px_per_mm
        allowed = PULL * float(np.degrees(np.hypot(MARK_PLACED_MM * np.sqrt(2), 2 * size) / length))
    if apart > allowed or away > MARK_OFF_MM:
        return [
            FlagCode.MARKS_OFF.flag(
                f"the marks lie up to {away:.1f} mm off the drawn line"
                + (f" and {apart:.2f} deg across it" if apart else "")
            )
        ]
    return []


def references(solution: Solution) -> tuple[str | None, list[Flag]]:
    """Level references against each other and against the stated lean: their residuals in the joint solution."""
    pulls = np.abs(solution.level_pulls)
    count = len([line for line in solution.scene.lines if line.role.is_reference])
    if count < 2 or pulls.max() <= PULL:
        return None, []
    worst = float(pulls.max())
    if float(pulls[:count].max()) > HOPELESS_PULL:
        return (
            f"the level references disagree by {worst:.0f} standard uncertainties: one of them is not plumb or not "
            "level (a rod, a draught, a laser not yet settled); leave one true one in the photo"
        ), []
    return None, [
        FlagCode.REFERENCES_DISAGREE.flag(
            f"strings, level line and the stated lean do not agree (by {worst:.0f} standard uncertainties)"
        )
    ]


def lens(solution: Solution) -> list[Flag]:
    """Whether the photo pulls the lens far from its profile.

    solution : whose `state.z` says by how many standard deviations each axis of the lens moved.
    """
    z = solution.state.z
    if len(z) and float(np.abs(z).max()) > LENS_PULL and solution.scene.lens.sound:
        return [
            FlagCode.LENS_DOUBT.flag("the photo fits the lens profile badly (refocused, zoomed, or another camera)")
        ]
    return []
