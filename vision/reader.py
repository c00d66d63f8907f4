"""One photo, start to end: the recipe.

    load -> cards -> station, lens -> rib plane -> chord line -> level reference -> spar line -> ribs behind
         -> one least-squares solution -> angles with budgets -> doubts and advice

Every step may end the reading with a reason; nothing raises for what a photo holds.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, TypedDict, Unpack

import numpy as np
from numpy.typing import NDArray

from calibration.lens.model import Lens
from calibration.lens.profiles import LensProfile
from shared.flags import Flag, FlagCode
from shared.job.model import Job, Station
from shared.job.named import Place
from shared.reading import NO_RIB, Angle, Made, Photo, Reading
from shared.version import version
from vision.assess import gates
from vision.assess.annotations import show
from vision.behind import Behind, look_behind
from vision.cards import mirrored
from vision.cards.detect import Card, find_cards
from vision.cards.print_choice import print_of
from vision.cards.stations import Named, name_station
from vision.detect import Detections, detect
from vision.distances.read import dimensions_of, nothing_of, with_dimensions
from vision.image.photo import Picture, open_photo
from vision.image.photo_file import PhotoError
from vision.level.weighing import weighed
from vision.lines.hints import Hint, Pointed
from vision.named.place import read_place
from vision.readings import Case, Refused, Seen, foremost, further, left_out
from vision.rib_scene import lean_of, plane_only, scene_of
from vision.ribs import Rib, solve_ribs
from vision.solution.lens_choice import choose_lens
from vision.solution.poses import near
from vision.solution.scene import Lean, LineSeen, Scene

PhotoSource = str | os.PathLike[str] | Picture | NDArray[Any]
"""Path of a photo, a loaded `Picture`, or an array (h, w) grey or (h, w, 3) BGR, uint8, upright."""


class Options(TypedDict, total=False):
    """What every way to read a photo may be given by keyword.

    lens : overrides the job's choice of lens profile. hints : lines on the foremost rib, and named features, that a person
    pointed at; the reading is marked as helped. monte_carlo : number of draws (JCGM 101) that the linear budget is held
    against; 0: none.
    """

    lens: Lens | LensProfile | None
    hints: Sequence[Hint | Pointed]
    monte_carlo: int


def read_photo(source: PhotoSource, job: Job, **options: Unpack[Options]) -> Reading:
    """Read the angles of the foremost rib in one photo.

    source : see `PhotoSource`. job : the wing and what it is measured with. options : see `Options`.

    Angles are in degrees, nose-up positive, with budgets; or there is no value and the reason. Raises UserError for a
    broken job (a named lens profile that cannot be read), never for a photo.

    >>> from shared.job.file import load_job
    >>> reading = read_photo("samples/trainer/photos/L1.jpg", load_job("samples/trainer/trainer.toml"))
    >>> reading.station, round(reading.chord.quantity.value, 1), reading.reference
    ('L1', 2.0, 'plumb')
    >>> list(reading.chord.quantity.budget())[0]
    'lean of the rib plane'
    """
    return read_fully(source, job, **options).reading


def read_stations(source: PhotoSource, job: Job, **options: Unpack[Options]) -> tuple[Reading, ...]:
    """As `read_photo`, for every rib in the photo: the foremost one's reading, then those of the ribs behind it, the
    nearer first, each with its value or its reason. source, job, options : as there."""
    return tuple(s.reading for s in read_every(source, job, **options))


def read_fully(source: PhotoSource, job: Job, **options: Unpack[Options]) -> Seen:
    """As `read_photo`, with the solution and the lines behind the reading. source, job, options : as there."""
    return read_every(source, job, **options)[0]


def read_every(source: PhotoSource, job: Job, **options: Unpack[Options]) -> tuple[Seen, ...]:
    """As `read_stations`, with the solution and the lines behind each reading. source, job, options : as there."""
    hints, monte_carlo = options.get("hints", ()), options.get("monte_carlo", 0)
    try:
        picture = _picture(source)
    except PhotoError as error:
        return (Seen(_unread(error, source, job)),)
    made = Made(version(), None, job.level.profile or f"u {job.level.u_deg:g} deg", helped=bool(hints))
    photo = Photo(picture.name, picture.sha256, picture.width, picture.height, picture.exif.taken, picture.exif.camera)
    station: Station | Place | None = None
    flags: tuple[Flag, ...] = tuple(FlagCode.PHOTO_NOTE.flag(note) for note in picture.notes)
    if hints:
        flags += (FlagCode.HELPED.flag("a person pointed at " + _and(sorted({h.key for h in hints}))),)
    cards: list[Card] = []
    try:
        cards = find_cards(picture.gray, picture.half())
        named = name_station(cards, job)
        station = named.station
        if station is None:
            mirror = not cards and mirrored.is_mirrored(picture.gray)
            raise Refused(mirrored.REASON if mirror else named.reason or "", show(picture, tuple(cards)))
        verdict = gates.before_solving(list(named.cards))
        if verdict.reason:
            raise Refused(verdict.reason, show(picture, named.cards))
        prints = print_of(job)
        if prints.measured:
            made = replace(made, settings=(*made.settings, ("card print", prints.text)))
        chosen = choose_lens(options.get("lens"), job, picture)
        if chosen.lens is None:
            raise Refused(chosen.reason or "", show(picture, named.cards))
        made = replace(made, lens=chosen.lens.ident)
        lines = tuple(h for h in hints if isinstance(h, Hint))
        case = Case(picture, photo, job, chosen.lens, prints, lines, made, chosen.flags, monte_carlo)
        flags += verdict.flags + chosen.flags
    except Refused as end:
        refused = _refused(photo, made, station, flags, end)
        return (with_dimensions(Seen(refused), nothing_of(cards, job, end.reason)),)
    pointed = tuple(h for h in hints if isinstance(h, Pointed))
    try:
        if isinstance(station, Place):
            seen: tuple[Seen, ...] = (_seen_place(replace(case, flags=flags), station, named),)
        else:
            seen = _measure(case, station, named, flags)
        found, why_not = seen[0].found, seen[0].reading.chord.reason or ""
    except Refused as end:
        alone = _lines_alone(replace(case, flags=flags), station, named, end)
        seen = (alone or Seen(_refused(photo, made, station, flags, end)),)
        found, why_not = end.found, end.reason
    return (with_dimensions(seen[0], dimensions_of(case, cards, pointed, station.name, found, why_not)), *seen[1:])


def _seen_place(case: Case, place: Place, named: Named) -> Seen:
    """A place's reading; where the job names no line there, its dimensions are all that is asked. Raises Refused."""
    if case.job.lines_at(place.name) or not any(d.place == place.name for d in case.job.dimensions):
        return read_place(case, place, named)
    none, evidence = Angle(None, NO_RIB), show(case.picture, named.cards)
    return Seen(Reading(case.photo, place.name, none, none, None, None, case.made, case.flags, (), evidence))


def _and(words: Sequence[str]) -> str:
    """ "chord, mark a and plumb"."""
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last


def _refused(
    photo: Photo, made: Made, station: Station | Place | None, flags: tuple[Flag, ...], end: Refused
) -> Reading:
    none = Angle(None, end.reason)
    name = station.name if station else None
    return Reading(photo, name, none, none, None, None, made, flags + end.flags, (), end.evidence)


def _lines_alone(case: Case, station: Station | Place, named: Named, end: Refused) -> Seen | None:
    """The named lines of a rib whose chord line could not be read: they do not need it. None where there are none."""
    if isinstance(station, Place) or not case.job.lines_at(station.name):
        return None
    try:
        seen = read_place(case, station, named)
    except Refused:
        return None
    none = Angle(None, end.reason)
    flags = tuple(dict.fromkeys((*seen.reading.flags, *end.flags)))
    return replace(seen, reading=replace(seen.reading, chord=none, spar=none, flags=flags))


def _picture(source: PhotoSource) -> Picture:
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


def _measure(case: Case, station: Station, named: Named, flags: tuple[Flag, ...]) -> tuple[Seen, ...]:
    picture, job, cards = case.picture, case.job, named.cards
    first = plane_only(cards, case.lens, case.prints, case.photo)
    if not first:
        raise Refused("the card's pose could not be solved for: photograph it less obliquely")
    verdict = gates.after_solving(first[0])
    if verdict.reason:
        raise Refused(verdict.reason, show(picture, cards, first[0]))
    flags += verdict.flags
    found = detect(picture, first[0], cards, named.others, station, job, case.hints)
    behind: tuple[Behind, ...] = ()
    if job.only == "every" and named.further and (found.reason is None or found.strokes):
        posed = [_posed(case, s, c) for s, c in named.further]
        behind = look_behind(picture, (station, cards, found), posed, named.strangers, job)
    read = tuple(b for b in behind if b.found is not None)
    if found.reason and not (found.strokes and read):
        raise Refused(found.reason, show(picture, cards, first[0], found), found=found)
    lean = lean_of(job, station, found.forward_right)
    if found.gravity is not None:
        found = replace(found, gravity=weighed(found.gravity, found.plane, lean))
    ribs = (Rib(station, cards, near(first), found, lean, flags), *(_rib(case, b) for b in read))
    solved = solve_ribs(case.photo.sha256[:12], ribs, lambda r, lean: _scene_of_rib(case, r, r is not ribs[0], lean))
    if solved is None:
        raise Refused("the card's pose could not be solved for: photograph it less obliquely")
    main = foremost(case, solved)
    seen = [main, *(further(case, solved, k) for k in range(1, len(solved.ribs)))]
    kept = {r.station.name for r in solved.ribs}
    seen += [left_out(case, b, solved) for b in behind if b.station.name not in kept]
    order = {s.name: k for k, s in enumerate((station, *(b.station for b in behind)))}
    return tuple(sorted(seen, key=lambda s: order[s.reading.station or ""]))


def _posed(case: Case, station: Station, cards: tuple[Card, ...]) -> Behind:
    """A station behind with its plane by its cards alone, or the reason why there is none."""
    verdict = gates.before_solving(list(cards))
    poses = plane_only(cards, case.lens, case.prints, case.photo, station.name)
    reason = verdict.reason or (
        gates.after_solving(poses[0]).reason if poses else "its card's pose could not be solved for"
    )
    return Behind(station, cards, tuple(near(poses)) if poses else (), None, reason)


def _rib(case: Case, behind: Behind) -> Rib:
    assert behind.found is not None
    flags = gates.before_solving(list(behind.cards)).flags + case.flags
    lean = lean_of(case.job, behind.station, behind.found.forward_right)
    return Rib(behind.station, behind.cards, list(behind.poses), behind.found, lean, flags)


def _scene_of_rib(case: Case, rib: Rib, behind: bool, lean: Lean) -> Scene:
    name = rib.station.name if behind else ""
    return scene_of(case.lens, rib.cards, case.prints, case.photo, rib.found.observed, lean, name)


__all__ = [
    "Detections",
    "Hint",
    "LineSeen",
    "Options",
    "PhotoSource",
    "Seen",
    "read_every",
    "read_fully",
    "read_photo",
    "read_stations",
]
