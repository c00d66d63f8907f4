"""A rib's scene: what the photo shows of it, what its job says of it, how well its cards are printed and seated."""

from __future__ import annotations

import math

from calibration.lens.model import Lens
from calibration.print.profile import KnownPrint
from shared.job.model import Job, Station
from shared.job.named import Place
from shared.reading import Photo
from vision.cards.detect import Card
from vision.ribs import UNKNOWN_U_LEAN_DEG
from vision.solution.poses import from_starts
from vision.solution.scene import Lean, LineSeen, Scene
from vision.solution.solve import Solution, starts

DEFAULT_U_LEAN_DEG = 0.5
"""Where the job states the ribs' lean but not how well. (Common practice, no source: ribs set up by eye and square.)"""
U_SEAT_DEG = 0.1
"""How flat a taped card lies on the rib: 0.3 mm over the card's length. (common practice, no source: tape and paper
stand off by about as much)."""


def scene_of(
    lens: Lens,
    cards: tuple[Card, ...],
    prints: KnownPrint,
    photo: Photo,
    lines: tuple[LineSeen, ...] = (),
    lean: Lean | None = None,
    name: str = "",
) -> Scene:
    """A rib's scene. name : of a station behind the foremost, which sets its sources apart from the foremost rib's.

    lens : with its uncertainty. cards : of the rib, the first gives the rib frame. prints : how they are printed.
    photo : names the sources. lines : as seen. lean : as stated; None: nothing is.
    """
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


def plane_only(cards: tuple[Card, ...], lens: Lens, prints: KnownPrint, photo: Photo, name: str = "") -> list[Solution]:
    """The rib plane from the cards alone, best pose first; gravity stays open. Empty where it cannot be solved for.

    cards, lens, prints, photo, name : as for `scene_of`.
    """
    scene = scene_of(lens, cards, prints, photo, name=name)
    return from_starts(scene, starts(scene))


def lean_of(job: Job, station: Station | Place, forward_right: bool) -> Lean:
    """The stated lean of the rib plane and which way it counts in this photo.

    Seen from outboard, a right wing's leading edge points to the right in the photo.

    job : its dihedral. station : its side, and its own lean, which goes before the dihedral. forward_right : whether
    the leading edge is to the right in the photo.
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
