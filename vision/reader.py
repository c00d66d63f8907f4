"""One photo, start to end: the recipe.

    load -> cards -> station, lens -> rib plane -> chord line -> level reference -> spar line
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
from shared.quantity import Component, Quantity
from shared.reading import Angle, Evidence, Made, Photo, Reading
from shared.version import version
from vision.assess import gates
from vision.assess.advice import advise
from vision.assess.annotations import show
from vision.assess.doubts import doubts
from vision.cards import mirrored
from vision.cards.detect import Card, find_cards
from vision.cards.print_choice import print_of
from vision.cards.stations import Named, name_station
from vision.detect import Detections, detect
from vision.evidence.posterior import true_reference
from vision.image.photo import Picture, open_photo
from vision.image.photo_file import PhotoError
from vision.level.agree import contradict
from vision.level.upright import edges_of, which_way_up
from vision.lines.hints import Hint
from vision.solution.lens_choice import choose_lens
from vision.solution.monte_carlo import compare, draw
from vision.solution.propagate import Angles, angles
from vision.solution.scene import Lean, LineSeen, Scene, State
from vision.solution.solve import Hopeless, Solution, solve, starts, with_lines

F64 = NDArray[np.float64]

DEFAULT_U_LEAN_DEG = 0.5
"""Where the job states the ribs' lean but not how well."""
UNKNOWN_U_LEAN_DEG = 2.0
"""Where the job says nothing of the ribs' lean (common practice, no source: ribs stand within a few degrees)."""
U_SEAT_DEG = 0.1
"""How flat a taped card lies on the rib: 0.3 mm over the card's length."""
MAYBE_POSE = 60.0
"""The same for the cards alone, beyond which the other pose is dropped before the lines are looked at."""
HOPELESS_POSE = 4.0
"""How many times what would let it stay in mind the other pose's cost may be before it is given up half-way."""
OTHER_POSE = 0.01
"""Posterior weight of the other pose from which on it is flagged, where it would lie outside of what is given."""
TWO_POSES = 15.0
"""Difference of chi-square between the two poses of a flat card below which both are kept in mind: the other's weight is
then at least exp(-TWO_POSES / 2), 0.06 %."""


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


def read_fully(
    source: str | os.PathLike[str] | Picture | NDArray[Any],
    job: Job,
    *,
    lens: Lens | LensProfile | None = None,
    hints: Sequence[Hint] = (),
    monte_carlo: int = 0,
) -> Seen:
    """As `read_photo`, with the solution and the lines behind the reading."""
    try:
        picture = _picture(source)
    except PhotoError as error:
        return Seen(_unread(error, source, job))
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
        flags += verdict.flags + chosen.flags
        case = _Case(picture, photo, job, chosen.lens, prints, tuple(hints), made, monte_carlo)
        return _measure(case, station, named, flags)
    except _Refused as end:
        none = Angle(None, end.reason)
        return Seen(
            Reading(
                photo,
                station.name if station else None,
                none,
                none,
                None,
                None,
                made,
                flags + end.flags,
                (),
                end.evidence,
            )
        )


@dataclass(frozen=True)
class _Case:
    """A photo and what it is read with. draws : Monte Carlo draws to hold the linear budget against; 0: none."""

    picture: Picture
    photo: Photo
    job: Job
    lens: Lens
    prints: KnownPrint
    hints: tuple[Hint, ...]
    made: Made
    draws: int


def _measure(case: _Case, station: Station, named: Named, flags: tuple[Flag, ...]) -> Seen:
    picture, photo, job, lens, prints, made = case.picture, case.photo, case.job, case.lens, case.prints, case.made
    cards, others, draws = named.cards, named.others, case.draws
    first = _plane_only(cards, lens, prints, photo)
    verdict = gates.after_solving(first[0])
    if verdict.reason:
        raise _Refused(verdict.reason, show(picture, cards, first[0]))
    flags += verdict.flags
    found = detect(picture, first[0], cards, others, station, job, case.hints)
    if found.reason:
        raise _Refused(found.reason, show(picture, cards, first[0], found))
    lean = _lean(job, station, found.forward_right)
    if (
        job.wing.dihedral_deg is None
        and station.lean_deg is None
        and any(s.role.shows is Shows.PLUMB for s in found.lines)
    ):
        flags += (
            FlagCode.LEAN_NOT_STATED.flag(
                f"the job does not state the ribs' lean (dihedral): U allows for {2 * UNKNOWN_U_LEAN_DEG:g} deg of it"
            ),
        )
    found = _contradicted(found, lean)
    scene = _scene(lens, cards, prints, photo, found.lines, lean)
    near = [s for s in first if s.cost - first[0].cost < MAYBE_POSE * first[0].scale ** 2]
    solutions = _solve_all(scene, [with_lines(scene, s.state) for s in near])
    best = solutions[0]
    verdict = gates.after_solving(best)
    if verdict.reason:
        raise _Refused(verdict.reason, show(picture, cards, best, found))
    flags = tuple(dict.fromkeys(flags + verdict.flags))
    result, poses = _both_poses(solutions, photo)
    doubt = doubts(result, best, found, station, poses)
    if doubt.reason:
        raise _Refused(doubt.reason, show(picture, cards, best, found), doubt.flags)
    assert result.chord is not None
    strings = found.gravity.strings if found.gravity else ()
    edges = tuple(edges_of(picture, found.plane, b) for b in strings)
    turned, way = which_way_up(picture, edges, result.chord)
    if turned:
        raise _Refused(turned, show(picture, cards, best, found), doubt.flags)
    flags += way
    if draws > 1:
        said, off = compare(draw(best, draws), result.chord)
        made, flags = replace(made, settings=(*made.settings, ("monte carlo", said))), flags + off
    chord = Angle(result.chord, None, doubt.chord_flags)
    spar_reason = found.spar.reason if found.spar else None
    spar = Angle(result.spar, None if result.spar else spar_reason or "no spar line was looked for", doubt.spar_flags)
    reading = Reading(
        photo,
        station.name,
        chord,
        spar,
        "right" if found.forward_right else "left",
        found.reference,
        made,
        flags + doubt.flags,
        advise(best, result, found),
        show(picture, cards, best, found),
    )
    return Seen(reading, best, found)


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
) -> Scene:
    return Scene(
        lens,
        cards,
        lines,
        lean,
        photo.sha256[:12],
        prints.u_stretch,
        prints.source,
        U_SEAT_DEG,
        prints.aspect,
        math.radians(prints.skew_deg),
        math.radians(prints.u_skew_deg),
        prints.scale,
    )


def _plane_only(cards: tuple[Card, ...], lens: Lens, prints: KnownPrint, photo: Photo) -> list[Solution]:
    """The rib plane from the cards alone, best pose first; gravity stays open."""
    scene = _scene(lens, cards, prints, photo)
    return _solve_all(scene, starts(scene))


def _solve_all(scene: Scene, states: list[State]) -> list[Solution]:
    """The solutions from several starts, best first; those that come to the same place count once."""
    solutions: list[Solution] = []
    for start in states:
        try:
            best = min(solutions, key=lambda s: s.cost, default=None)
            got = solve(
                scene, start, hopeless=HOPELESS_POSE * (best.cost + MAYBE_POSE * best.scale**2) if best else np.inf
            )
        except (np.linalg.LinAlgError, Hopeless):
            continue
        if not any(float(got.normal @ s.normal) > 1 - 1e-9 for s in solutions):
            solutions.append(got)
    if not solutions:
        raise _Refused("the card's pose could not be solved for: photograph it less obliquely")
    return sorted(solutions, key=lambda s: s.cost)


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
    own = station.lean_deg is not None or station.u_lean_deg is not None
    from_outboard = forward_right == (station.side != "left")
    return Lean(
        stated or 0.0, u, f"lean of {station.name}" if own else "lean of the ribs", -1.0 if from_outboard else 1.0
    )


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


def _both_poses(solutions: list[Solution], photo: Photo) -> tuple[Angles, tuple[Flag, ...]]:
    """The best pose's angles; where the card's other pose fits nearly as well, its difference goes into u.

    A flat card seen nearly square-on has two poses (Collins and Bartoli 2014). With w the other's posterior weight and d
    its difference, the mixture's standard deviation is d sqrt(w (1 - w)). Where the other pose is likelier than OTHER_POSE and
    would lie outside what is given, there is a flag as well.
    """
    best = angles(solutions[0])
    flags: tuple[Flag, ...] = ()
    for other in solutions[1:]:
        worse = (other.cost - solutions[0].cost) / solutions[0].scale ** 2
        if worse > TWO_POSES:
            continue
        theirs = angles(other)
        weight = float(np.exp(-worse / 2) / (1 + np.exp(-worse / 2)))
        spread = float(np.sqrt(weight * (1 - weight)))

        def widened(a: Quantity | None, b: Quantity | None, spread: float = spread) -> Quantity | None:
            if a is None or b is None:
                return a
            return a.plus(
                Component("which way the card tilts", f"photo:{photo.sha256[:12]} pose", spread * (b.value - a.value))
            )

        best = Angles(widened(best.chord, theirs.chord), widened(best.spar, theirs.spar), best.lean)
        away = best.chord is not None and theirs.chord is not None
        if away and weight > OTHER_POSE and abs(theirs.chord.value - best.chord.value) > 3 * best.chord.u:  # type: ignore[union-attr]
            flags = (
                FlagCode.TWO_POSES.flag(
                    f"the card may tilt the other way (probability {weight:.0%}), which would give "
                    f"{theirs.chord.value:+.2f} deg"  # type: ignore[union-attr]
                ),
            )
    return best, flags


__all__ = ["Detections", "Hint", "LineSeen", "Seen", "read_fully", "read_photo"]
