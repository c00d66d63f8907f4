"""One photo, start to end: the recipe.

    load -> cards -> station, lens -> rib plane -> chord line -> level reference -> spar line -> ribs behind
         -> one least-squares solution -> angles with budgets -> doubts and advice

Every step may end the reading with a reason; nothing raises for what a photo holds.
"""

from __future__ import annotations

import math
import os
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.lens.model import Lens
from calibration.lens.profiles import LensProfile
from calibration.print.profile import KnownPrint
from shared.flags import Flag, FlagCode
from shared.job.model import Job, Station
from shared.lines import Shows
from shared.reading import Angle, Evidence, Made, Photo, Reading
from shared.rounding import degrees, number
from shared.version import version
from vision.assess import gates
from vision.assess.advice import advise
from vision.assess.annotations import show
from vision.assess.doubts import PULL, doubts
from vision.behind import Behind, look_behind
from vision.cards import mirrored
from vision.cards.detect import Card, find_cards
from vision.cards.print_choice import print_of
from vision.cards.stations import Named, name_station
from vision.detect import Detections, detect
from vision.evidence.posterior import true_reference
from vision.image.photo import Picture, open_photo
from vision.image.photo_file import PhotoError
from vision.level.agree import contradict
from vision.level.upright import Edges, edges_of, which_way_up
from vision.lines.hints import Hint
from vision.ribs import UNKNOWN_U_LEAN_DEG, Rib, Solved, solve_ribs
from vision.solution.lens_choice import choose_lens
from vision.solution.monte_carlo import compare, draw
from vision.solution.poses import from_starts, near
from vision.solution.scene import Lean, LineSeen, Scene
from vision.solution.solve import Solution, starts

F64 = NDArray[np.float64]

DEFAULT_U_LEAN_DEG = 0.5
"""Where the job states the ribs' lean but not how well."""
U_SEAT_DEG = 0.1
"""How flat a taped card lies on the rib: 0.3 mm over the card's length."""
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
class _Refused(Exception):
    """A reading that ends here, with what had been found."""

    reason: str
    evidence: Evidence | None = None
    flags: tuple[Flag, ...] = field(default=())


def read_photo(
    source: str | os.PathLike[str] | Picture | NDArray[Any],
    job: Job,
    *,
    lens: Lens | LensProfile | None = None,
    hints: Sequence[Hint] = (),
    monte_carlo: int = 0,
) -> Reading:
    """Read the angles of one rib in one photo.

    Parameters
    ----------
    source : path of a photo, a loaded `Picture`, or an array (h, w) or (h, w, 3) BGR, upright.
    job : the wing and what it is measured with. lens : overrides the job's choice of lens profile.
    hints : lines pointed at by a person; recorded as help. monte_carlo : number of draws (JCGM 101) to hold the
    linear budget against; 0: none.

    Returns
    -------
    Reading : angles in degrees, nose-up positive, with budgets; or without a value and with the reason.

    Raises UserError for a broken job (a named lens profile that cannot be read), never for a photo.
    """
    return read_fully(source, job, lens=lens, hints=hints, monte_carlo=monte_carlo).reading


def read_stations(
    source: str | os.PathLike[str] | Picture | NDArray[Any],
    job: Job,
    *,
    lens: Lens | LensProfile | None = None,
    hints: Sequence[Hint] = (),
    monte_carlo: int = 0,
) -> tuple[Reading, ...]:
    """As `read_photo`, for every rib in the photo: the foremost one's reading, then those of the ribs behind it, the nearer
    first, each with its value or its reason. hints : of the foremost rib."""
    return tuple(s.reading for s in read_every(source, job, lens=lens, hints=hints, monte_carlo=monte_carlo))


def read_fully(
    source: str | os.PathLike[str] | Picture | NDArray[Any],
    job: Job,
    *,
    lens: Lens | LensProfile | None = None,
    hints: Sequence[Hint] = (),
    monte_carlo: int = 0,
) -> Seen:
    """As `read_photo`, with the solution and the lines behind the reading."""
    return read_every(source, job, lens=lens, hints=hints, monte_carlo=monte_carlo)[0]


def read_every(
    source: str | os.PathLike[str] | Picture | NDArray[Any],
    job: Job,
    *,
    lens: Lens | LensProfile | None = None,
    hints: Sequence[Hint] = (),
    monte_carlo: int = 0,
) -> tuple[Seen, ...]:
    """As `read_stations`, with the solution and the lines behind each reading."""
    try:
        picture = _picture(source)
    except PhotoError as error:
        return (Seen(_unread(error, source, job)),)
    made = Made(version(), None, job.level.profile or f"u {job.level.u_deg:g} deg", helped=bool(hints))
    photo = Photo(picture.name, picture.sha256, picture.width, picture.height, picture.exif.taken, picture.exif.camera)
    station: Station | None = None
    flags: tuple[Flag, ...] = tuple(FlagCode.PHOTO_NOTE.flag(note) for note in picture.notes)
    if hints:
        flags += (FlagCode.HELPED.flag("a person pointed at " + " and ".join(sorted({h.role for h in hints}))),)
    cards: list[Card] = []
    try:
        cards = find_cards(picture.gray, picture.half())
        named = name_station(cards, job)
        station = named.station
        if station is None:
            mirror = not cards and mirrored.is_mirrored(picture.gray)
            raise _Refused(mirrored.REASON if mirror else named.reason or "", show(picture, tuple(cards)))
        verdict = gates.before_solving(list(named.cards))
        if verdict.reason:
            raise _Refused(verdict.reason, show(picture, named.cards))
        prints = print_of(job)
        if prints.measured:
            made = replace(made, settings=(*made.settings, ("card print", prints.text)))
        chosen = choose_lens(lens, job, picture)
        if chosen.lens is None:
            raise _Refused(chosen.reason or "", show(picture, named.cards))
        made = replace(made, lens=chosen.lens.ident)
        case = _Case(picture, photo, job, chosen.lens, prints, tuple(hints), made, chosen.flags, monte_carlo)
        return _measure(case, station, named, flags + verdict.flags + chosen.flags)
    except _Refused as end:
        none = Angle(None, end.reason)
        name = station.name if station else None
        return (Seen(Reading(photo, name, none, none, None, None, made, flags + end.flags, (), end.evidence)),)


@dataclass(frozen=True)
class _Case:
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


def _measure(case: _Case, station: Station, named: Named, flags: tuple[Flag, ...]) -> tuple[Seen, ...]:
    picture, job, cards = case.picture, case.job, named.cards
    first = _plane_only(cards, case.lens, case.prints, case.photo)
    if not first:
        raise _Refused("the card's pose could not be solved for: photograph it less obliquely")
    verdict = gates.after_solving(first[0])
    if verdict.reason:
        raise _Refused(verdict.reason, show(picture, cards, first[0]))
    flags += verdict.flags
    found = detect(picture, first[0], cards, named.others, station, job, case.hints)
    behind: tuple[Behind, ...] = ()
    if job.only == "every" and named.further and (found.reason is None or found.strokes):
        posed = [_posed(case, s, c) for s, c in named.further]
        behind = look_behind(picture, (station, cards, found), posed, named.strangers, job)
    read = tuple(b for b in behind if b.found is not None)
    if found.reason and not (found.strokes and read):
        raise _Refused(found.reason, show(picture, cards, first[0], found))
    lean = _lean(job, station, found.forward_right)
    found = _contradicted(found, lean)
    ribs = (Rib(station, cards, near(first), found, lean, flags), *(_rib(case, b) for b in read))
    solved = solve_ribs(case.photo.sha256[:12], ribs, lambda r, lean: _scene_of(case, r, r is not ribs[0], lean))
    if solved is None:
        raise _Refused("the card's pose could not be solved for: photograph it less obliquely")
    main = _foremost(case, solved)
    seen = [main, *(_further(case, solved, k) for k in range(1, len(solved.ribs)))]
    kept = {r.station.name for r in solved.ribs}
    seen += [_left_out(case, b, solved) for b in behind if b.station.name not in kept]
    order = {s.name: k for k, s in enumerate((station, *(b.station for b in behind)))}
    return tuple(sorted(seen, key=lambda s: order[s.reading.station or ""]))


def _posed(case: _Case, station: Station, cards: tuple[Card, ...]) -> Behind:
    """A station behind with its plane by its cards alone, or the reason why there is none."""
    verdict = gates.before_solving(list(cards))
    poses = _plane_only(cards, case.lens, case.prints, case.photo, station.name)
    reason = verdict.reason or (
        gates.after_solving(poses[0]).reason if poses else "its card's pose could not be solved for"
    )
    return Behind(station, cards, tuple(near(poses)) if poses else (), None, reason)


def _rib(case: _Case, behind: Behind) -> Rib:
    assert behind.found is not None
    flags = gates.before_solving(list(behind.cards)).flags + case.flags
    lean = _lean(case.job, behind.station, behind.found.forward_right)
    return Rib(behind.station, behind.cards, list(behind.poses), behind.found, lean, flags)


def _scene_of(case: _Case, rib: Rib, behind: bool, lean: Lean) -> Scene:
    name = rib.station.name if behind else ""
    return _scene(case.lens, rib.cards, case.prints, case.photo, rib.found.lines, lean, name)


def _foremost(case: _Case, solved: Solved) -> Seen:
    """The foremost rib's reading. Raises _Refused."""
    rib, best, result = solved.ribs[0], solved.best[0], solved.angles[0]
    picture, found = case.picture, rib.found
    made, flags = case.made, rib.flags + _lean_flags(case.job, solved, 0)
    verdict = gates.after_solving(best)
    if verdict.reason:
        raise _Refused(verdict.reason, show(picture, rib.cards, best, found))
    flags = tuple(dict.fromkeys(flags + verdict.flags))
    if solved.open:
        return Seen(_relative(case, solved, 0, flags), best, found)
    shared = replace(found, gravity=solved.gravity)
    doubt = doubts(result, best, shared, rib.station, solved.flags[0])
    if doubt.reason:
        raise _Refused(doubt.reason, show(picture, rib.cards, best, found), doubt.flags)
    assert result.chord is not None
    turned, way = which_way_up(picture, _edges(case, solved), result.chord)
    if turned:
        raise _Refused(turned, show(picture, rib.cards, best, found), doubt.flags)
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
    )
    return Seen(reading, best, found)


def _further(case: _Case, solved: Solved, k: int) -> Seen:
    """The reading of a rib behind."""
    rib, best, result = solved.ribs[k], solved.best[k], solved.angles[k]
    flags = tuple(dict.fromkeys(rib.flags + _lean_flags(case.job, solved, k) + gates.after_solving(best).flags))
    assert result.chord is not None
    if solved.open:
        return Seen(_relative(case, solved, k, flags), best, rib.found)
    doubt = doubts(result, best, replace(rib.found, gravity=solved.gravity), rib.station, solved.flags[k])
    if doubt.reason:
        return Seen(
            _refusal(case, rib.station, doubt.reason, show(case.picture, rib.cards, best, rib.found)), best, rib.found
        )
    _, way = which_way_up(case.picture, _edges(case, solved), result.chord)
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


def _relative(case: _Case, solved: Solved, k: int, flags: tuple[Flag, ...]) -> Reading:
    """A rib's reading where nothing shows gravity: no angle, but how the photo's ribs stand against each other."""
    rib, best = solved.ribs[k], solved.best[k]
    none = Angle(None, (solved.ribs[0].found.reason or "no level reference was found") + RELATIVE)
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
    )


def _refusal(case: _Case, station: Station, reason: str, evidence: Evidence | None) -> Reading:
    none = Angle(None, reason)
    return Reading(case.photo, station.name, none, none, None, None, case.made, case.flags, (), evidence, False)


def _left_out(case: _Case, behind: Behind, solved: Solved) -> Seen:
    reason = solved.dropped.get(behind.station.name) or behind.reason or "it could not be solved for"
    best = behind.poses[0] if behind.poses else None
    return Seen(_refusal(case, behind.station, reason, show(case.picture, behind.cards, best, behind.found)))


def _edges(case: _Case, solved: Solved) -> tuple[Edges, ...]:
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


def _picture(source: str | os.PathLike[str] | Picture | NDArray[Any]) -> Picture:
    if isinstance(source, Picture):
        return source
    if isinstance(source, np.ndarray):
        return Picture.from_array(source)
    return open_photo(source)


def _unread(error: PhotoError, source: object, job: Job) -> Reading:
    name = Path(source).name if isinstance(source, (str, os.PathLike)) else "array"
    none = Angle(None, error.reason)
    return Reading(
        Photo(name, error.sha256, error.width, error.height, None, None),
        None,
        none,
        none,
        None,
        None,
        Made(version(), None, job.level.profile),
    )


def _scene(
    lens: Lens,
    cards: tuple[Card, ...],
    prints: KnownPrint,
    photo: Photo,
    lines: tuple[LineSeen, ...] = (),
    lean: Lean | None = None,
    name: str = "",
) -> Scene:
    """A rib's scene. name : of a station behind the foremost, which sets its sources apart from the foremost rib's."""
    return Scene(
        lens,
        cards,
        lines,
        lean,
        " ".join((photo.sha256[:12], name)).strip(),
        prints.u_stretch,
        prints.source,
        U_SEAT_DEG,
        prints.aspect,
        math.radians(prints.skew_deg),
        math.radians(prints.u_skew_deg),
        prints.scale,
    )


def _plane_only(
    cards: tuple[Card, ...], lens: Lens, prints: KnownPrint, photo: Photo, name: str = ""
) -> list[Solution]:
    """The rib plane from the cards alone, best pose first; gravity stays open. Empty where it cannot be solved for."""
    scene = _scene(lens, cards, prints, photo, name=name)
    return from_starts(scene, starts(scene))


def _lean(job: Job, station: Station, forward_right: bool) -> Lean:
    """The stated lean of the rib plane and which way it counts in this photo.

    Seen from outboard, a right wing's leading edge points to the right in the photo.
    """
    stated = (
        station.lean_deg
        if station.lean_deg is not None
        else -job.wing.dihedral_deg
        if job.wing.dihedral_deg is not None
        else None
    )
    u = station.u_lean_deg if station.u_lean_deg is not None else job.wing.u_lean_deg
    if u is None:
        u = DEFAULT_U_LEAN_DEG if stated is not None else UNKNOWN_U_LEAN_DEG
    from_outboard = forward_right == (station.side != "left")
    # ribs are set one by one: each errs by its own, also where the job states one lean for all
    return Lean(stated or 0.0, u, f"lean of {station.name}", -1.0 if from_outboard else 1.0)


def _contradicted(found: Detections, lean: Lean) -> Detections:
    """What is left of the belief in the string used where another one, that cannot be plumb as well, looks like a string."""
    gravity = found.gravity
    if gravity is None or not gravity.strings or not gravity.unused:
        return found
    used = next(line for line in found.lines if line.role.shows is Shows.PLUMB)
    rivals = [
        share
        for stroke, share in gravity.unused
        if contradict(found.plane, used.pixels, stroke.pixels, lean, used.own_deg)
    ]
    chance = true_reference("string", gravity.strings[0].of("string"), rivals)
    return replace(found, gravity=replace(gravity, chance=min(gravity.chance, chance)))


__all__ = ["Detections", "Hint", "LineSeen", "Seen", "read_every", "read_fully", "read_photo", "read_stations"]
