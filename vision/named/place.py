"""A photo of a place that is no rib: its named lines, from the plane of its cards to angles with budgets.

The same steps as for a rib (`vision.reader`), without a chord line: what a chord line says of the picture's scale and
middle, a level line through the card says here.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from shared.flags import Flag, FlagCode
from shared.job.model import Job, Station
from shared.job.named import Place
from shared.lines import Shows
from shared.numerics.arrays import F64
from shared.quantity import Quantity
from shared.reading import NO_RIB, Angle, Reading
from vision.assess import doubts, gates
from vision.assess.advice import advise
from vision.assess.annotations import show
from vision.cards.stations import Named
from vision.detect import SIDEWAYS, UPRIGHT_COSINE, Detections
from vision.evidence.views import upright_view
from vision.image.photo import Picture
from vision.image.rectified import Plane
from vision.level.gravity import find_gravity
from vision.level.upright import which_way_up
from vision.level.weighing import weighed
from vision.lines.chord_line import Sight, look, sheet_plane
from vision.lines.rib import RibFace as Face
from vision.named.angles import named_angles
from vision.named.drawn import Around
from vision.named.find import find_named
from vision.readings import Case, Refused, Seen, edges_seen
from vision.rib_scene import DEFAULT_U_LEAN_DEG, lean_of, plane_only, scene_of
from vision.ribs import UNKNOWN_U_LEAN_DEG, Rib, Solved, solve_ribs
from vision.solution.poses import near
from vision.solution.scene import Lean, Scene

SEEN_OF_PHOTO = 0.66
"""A rib's chord over the photo's width, as the witness knows it: the same part stands for the chord here."""
BESIDE_CARD = 0.08
"""How far from the card the level line lies that stands for the chord line, in the same measure."""
NO_LINES = "the job names no line at this place"


def read_place(case: Case, place: Place | Station, named: Named) -> Seen:
    """The place's reading, or that of a rib's named lines without its chord line. Raises Refused.

    case : the photo and what it is read with. named : the cards seen.
    """
    cards = named.cards
    poses = plane_only(cards, case.lens, case.prints, case.photo)
    if not poses:
        raise Refused("the card's pose could not be solved for: photograph it less obliquely")
    verdict = gates.after_solving(poses[0])
    if verdict.reason:
        raise Refused(verdict.reason, show(case.picture, cards, poses[0]))
    if not case.job.lines_at(place.name):
        raise Refused(NO_LINES, show(case.picture, cards, poses[0]))
    plane = sheet_plane(poses[0], cards)
    toward = float(poses[0].state.rotation[:, 0] @ plane.along_u)
    if abs(toward) < UPRIGHT_COSINE:
        raise Refused(SIDEWAYS, show(case.picture, cards, poses[0]))
    found = _look(case, place, named, plane, toward > 0)
    lean = lean_of_place(case.job, place, found.forward_right)
    if found.gravity is not None:
        found = replace(found, gravity=weighed(found.gravity, plane, lean))

    def scene(rib: Rib, lean: Lean) -> Scene:
        return scene_of(case.lens, rib.cards, case.prints, case.photo, rib.found.observed, lean)

    one = Rib(place, cards, near(poses), found, lean, verdict.flags)
    solved = solve_ribs(case.photo.sha256[:12], (one,), scene)
    if solved is None:
        raise Refused("the card's pose could not be solved for: photograph it less obliquely")
    return _reading(case, place, solved)


def lean_of_place(job: Job, place: Place | Station, forward_right: bool) -> Lean:
    """The stated lean of a place's face and which way it counts in this photo.

    Where the arrow points outboard, lean is top aft; seen from before, a right wing's outboard is to the left.
    """
    if isinstance(place, Station) or place.arrow == "forward":
        return lean_of(job, place, forward_right)
    u = place.u_lean_deg
    if u is None:
        u = DEFAULT_U_LEAN_DEG if place.lean_deg is not None else UNKNOWN_U_LEAN_DEG
    from_before = forward_right == (place.side == "left")
    return Lean(place.lean_deg or 0.0, u, f"lean of {place.name}", 1.0 if from_before else -1.0)


def _look(case: Case, place: Place | Station, named: Named, plane: Plane, right: bool) -> Detections:
    """Level reference and named lines."""
    scale = float(np.median([c.px_per_mm for c in named.cards]))
    mm = SEEN_OF_PHOTO * case.picture.width / scale
    sight = look(case.picture, plane, named.cards, named.others, right, mm)
    level = _level(case.picture, plane, sight)
    face = Face(sight.photo, plane, level, mm, right, sight.blur, sight.boxes)
    upright = upright_view(sight.photo, plane, sight.papers, sight.foreign, mm, level, False)
    hints = {h.role: h for h in case.hints if h.role.is_reference}
    gravity = find_gravity(face, sight.level, sight.levels, sight.middle, upright, place, case.job, hints)
    taken = tuple(s.uv[[0, -1]] for s in gravity.strokes)
    lines = find_named(sight, named.cards, place, case.job, Around(level, None, taken))
    return Detections(
        plane, right, gravity.reason, gravity.lines, gravity.strokes, None, level, 1.0, gravity, named=lines
    )  # fmt: skip


def _level(picture: Picture, plane: Plane, sight: Sight) -> F64:
    """(2, 2) sheet mm of a level line from edge to edge of the middle part of the photo: close above the card or, where the
    photo ends there, close below it, since a string is measured first where it passes this line."""
    beside = BESIDE_CARD * sight.chord_mm
    top, bottom = min(b[1] for b in sight.boxes), max(b[3] for b in sight.boxes)
    above = plane.to_pixels(np.array([[sight.middle, top - 2 * beside]]))[0, 1] > 0
    v = top - beside if above else bottom + beside
    y = float(plane.to_pixels(np.array([[sight.middle, v]]))[0, 1])
    u = np.sort(plane.to_sheet(np.array([[0.08 * picture.width, y], [0.92 * picture.width, y]]))[:, 0])
    return np.array([[u[0], v], [u[1], v]])


def _reading(case: Case, place: Place | Station, solved: Solved) -> Seen:
    rib, best, result = solved.ribs[0], solved.best[0], solved.angles[0]
    verdict = gates.after_solving(best)
    evidence = show(case.picture, rib.cards, best, rib.found)
    if verdict.reason:
        raise Refused(verdict.reason, evidence)
    flags = (*rib.flags, *verdict.flags, *_lean_flags(place, solved), *solved.flags[0], *doubts.lens(best))
    reason, disagreeing = doubts.references(best)
    if reason:
        raise Refused(reason, evidence)
    no_level = rib.found.reason if solved.open else None
    lines = named_angles(rib.found, result, solved.gravity, no_level)
    values = [q for _, q in result.named]
    if values and not solved.open:
        turned, way = which_way_up(case.picture, edges_seen(case, solved), _steepest(values))
        if turned:
            raise Refused(turned, evidence)
        flags += way
    none = Angle(None, NO_RIB)
    reading = Reading(
        case.photo,
        place.name,
        none,
        none,
        "right" if rib.found.forward_right else "left",
        solved.reference,
        case.made,
        tuple(dict.fromkeys((*case.flags, *flags, *disagreeing))),
        advise(best, result, rib.found),
        evidence,
        lean=solved.leans[0],
        lines=lines,
    )
    return Seen(reading, best, rib.found)


def _steepest(values: list[Quantity]) -> Quantity:
    """The line farthest from both level and plumb: what a photo on its head would turn most."""
    off = [q.shifted(-90.0) if q.value > 45.0 else q for q in values]
    return max(off, key=lambda q: abs(q.value))


def _lean_flags(place: Place | Station, solved: Solved) -> tuple[Flag, ...]:
    plumb = any(line.role.shows is Shows.PLUMB for line in solved.together.scenes[0].lines)
    if (
        isinstance(place, Station)
        or place.arrow == "forward"
        or place.lean_deg is not None
        or not plumb
        or solved.leans[0] is not None
    ):
        return ()
    text = f"the job does not state the lean of {place.name}: U allows for {2 * UNKNOWN_U_LEAN_DEG:g} deg of it"
    return (FlagCode.LEAN_NOT_STATED.flag(text),)
