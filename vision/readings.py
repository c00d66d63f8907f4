"""From solved ribs to their readings: the foremost one's, those of the ribs behind it, those that have no angle."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from calibration.lens.model import Lens
from calibration.print.profile import KnownPrint
from shared.flags import Flag, FlagCode
from shared.job.model import Job, Station
from shared.lines import Shows
from shared.reading import Angle, Evidence, Made, Photo, Reading
from shared.rounding import degrees, number
from vision.assess import gates
from vision.assess.advice import advise
from vision.assess.annotations import show
from vision.assess.doubts import PULL, doubts
from vision.behind import Behind
from vision.detect import Detections
from vision.image.photo import Picture
from vision.level.upright import StringAtEdges, edges_of, which_way_up
from vision.lines.hints import Hint
from vision.named.angles import named_angles
from vision.ribs import UNKNOWN_U_LEAN_DEG, Solved
from vision.solution.monte_carlo import compare, draw
from vision.solution.solve import Solution

SPAR_BEHIND = "spar lines are read on the foremost rib only"
HIDDEN = frozenset({FlagCode.CHORD_SHORT, FlagCode.CHORD_BROKEN})
"""Flags that say no more of a rib behind than that a nearer one hides a part of it."""
RELATIVE = "; how the ribs of the photo stand against each other is known all the same"


@dataclass(frozen=True)
class Seen:
    """A reading with what it was made of: the joint solution and the lines; None where it ended before them."""

    reading: Reading
    solution: Solution | None = None
    found: Detections | None = None


@dataclass(frozen=True)
class Refused(Exception):
    """A reading that ends here, with what had been found. found : of the rib's lines."""

    reason: str
    evidence: Evidence | None = None
    flags: tuple[Flag, ...] = field(default=())
    found: Detections | None = None


@dataclass(frozen=True)
class Case:
    """A photo and what it is read with. flags : doubts about the lens."""

    picture: Picture
    photo: Photo
    job: Job
    lens: Lens
    prints: KnownPrint
    hints: tuple[Hint, ...]
    made: Made
    flags: tuple[Flag, ...]
    draws: int


def foremost(case: Case, solved: Solved) -> Seen:
    """The foremost rib's reading. Raises Refused.

    case : the photo and what it is read with. solved : its ribs.
    """
    rib, best, result = solved.ribs[0], solved.best[0], solved.angles[0]
    picture, found = case.picture, rib.found
    assert isinstance(rib.station, Station)
    made, flags = case.made, rib.flags + _lean_flags(case.job, solved, 0)
    verdict = gates.after_solving(best)
    if verdict.reason:
        raise Refused(verdict.reason, show(picture, rib.cards, best, found), found=found)
    flags = tuple(dict.fromkeys(flags + verdict.flags))
    if solved.open:
        return Seen(_relative(case, solved, 0, flags), best, found)
    shared = replace(found, gravity=solved.gravity)
    doubt = doubts(result, best, shared, rib.station, solved.flags[0])
    if doubt.reason:
        raise Refused(doubt.reason, show(picture, rib.cards, best, found), doubt.flags, found)
    assert result.chord is not None
    turned, way = which_way_up(picture, edges_seen(case, solved), result.chord)
    if turned:
        raise Refused(turned, show(picture, rib.cards, best, found), doubt.flags, found)
    flags += way
    if case.draws > 1:
        said, off = compare(draw(solved.together, solved.best, case.draws)[0], result.chord)
        made, flags = replace(made, settings=(*made.settings, ("monte carlo", said))), flags + off
    chord = Angle(result.chord, None, doubt.chord_flags)
    spar_reason = found.spar.reason if found.spar else None
    spar = Angle(result.spar, None if result.spar else spar_reason or "no spar line was looked for", doubt.spar_flags)
    reading = Reading(
        case.photo,
        rib.station.name,
        chord,
        spar,
        "right" if found.forward_right else "left",
        solved.reference,
        made,
        flags + doubt.flags,
        advise(best, result, found),
        show(picture, rib.cards, best, found),
        lean=solved.leans[0],
        lines=named_angles(found, result, solved.gravity),
    )
    return Seen(reading, best, found)


def further(case: Case, solved: Solved, k: int) -> Seen:
    """The reading of a rib behind.

    case, solved : as for `foremost`. k : its place among the solved ribs, 1 for the one next behind. Raises Refused.
    """
    rib, best, result = solved.ribs[k], solved.best[k], solved.angles[k]
    assert isinstance(rib.station, Station)
    flags = tuple(dict.fromkeys(rib.flags + _lean_flags(case.job, solved, k) + gates.after_solving(best).flags))
    assert result.chord is not None
    if solved.open:
        return Seen(_relative(case, solved, k, flags), best, rib.found)
    doubt = doubts(result, best, replace(rib.found, gravity=solved.gravity), rib.station, solved.flags[k])
    if doubt.reason:
        return Seen(
            _refusal(case, rib.station, doubt.reason, show(case.picture, rib.cards, best, rib.found)), best, rib.found
        )
    _, way = which_way_up(case.picture, edges_seen(case, solved), result.chord)
    # that another rib hides a part of the line is no doubt: its own card says whose it is
    chord = Angle(result.chord, None, tuple(f for f in doubt.chord_flags if f.code not in HIDDEN))
    reading = Reading(
        case.photo,
        rib.station.name,
        chord,
        Angle(None, SPAR_BEHIND),
        "right" if rib.found.forward_right else "left",
        solved.reference,
        case.made,
        flags + doubt.flags + way,
        advise(best, result, replace(rib.found, gravity=None)),
        show(case.picture, rib.cards, best, rib.found),
        False,
        solved.twist(k),
        lean=solved.leans[k],
    )
    return Seen(reading, best, rib.found)


def left_out(case: Case, behind: Behind, solved: Solved) -> Seen:
    """The reading of a rib behind that could not be solved for: its reason.

    case : as for `foremost`. behind : the station. solved : says why it was dropped.
    """
    reason = solved.dropped.get(behind.station.name) or behind.reason or "it could not be solved for"
    best = behind.poses[0] if behind.poses else None
    return Seen(_refusal(case, behind.station, reason, show(case.picture, behind.cards, best, behind.found)))


def _relative(case: Case, solved: Solved, k: int, flags: tuple[Flag, ...]) -> Reading:
    """A rib's reading where nothing shows gravity: no angle, but how the photo's ribs stand against each other."""
    rib, best = solved.ribs[k], solved.best[k]
    why = (solved.ribs[0].found.reason or "no level reference was found") + RELATIVE
    none = Angle(None, why)
    return Reading(
        case.photo,
        rib.station.name,
        none,
        none,
        "right" if rib.found.forward_right else "left",
        None,
        case.made,
        flags + solved.flags[k],
        (),
        show(case.picture, rib.cards, best, rib.found),
        k == 0,
        solved.twist(k) if k else None,
        solved.angles[k].chord,
        lines=named_angles(rib.found, solved.angles[k], solved.gravity, why),
    )


def _refusal(case: Case, station: Station, reason: str, evidence: Evidence | None) -> Reading:
    none = Angle(None, reason)
    return Reading(case.photo, station.name, none, none, None, None, case.made, case.flags, (), evidence, False)


def edges_seen(case: Case, solved: Solved) -> tuple[StringAtEdges, ...]:
    """How the strings used end at the picture's edges. case, solved : as for `foremost`."""
    return tuple(
        edges_of(case.picture, r.found.plane, b)
        for r in solved.ribs
        for b in (r.found.gravity.strings if r.found.gravity and not r.found.gravity.reason else ())
    )


def _lean_flags(job: Job, solved: Solved, k: int) -> tuple[Flag, ...]:
    """Whether a lean that the job does not state has its share in U, or one that it states is not what the photo shows."""
    rib, found = solved.ribs[k], solved.leans[k]
    stated = job.wing.dihedral_deg is not None or rib.station.lean_deg is not None
    if found is None:
        if (
            stated
            or solved.open
            or not any(line.role.shows is Shows.PLUMB for s in solved.together.scenes for line in s.lines)
        ):
            return ()
        text = f"the job does not state the ribs' lean (dihedral): U allows for {2 * UNKNOWN_U_LEAN_DEG:g} deg of it"
        return (FlagCode.LEAN_NOT_STATED.flag(text),)
    if not stated or found.off <= PULL:
        return ()
    text = (
        f"the rib leans by {degrees(found.quantity, sign=True)} as the photo shows it, the job states "
        f"{number(found.stated_deg, 2, sign=True)} deg"
    )
    return (FlagCode.LEAN_OFF.flag(text),)
