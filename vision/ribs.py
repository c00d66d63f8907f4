"""The ribs of one photo solved in one: their angles, how they stand against each other, and the leans the photo determines."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from shared.flags import Flag
from shared.job.model import Station
from shared.job.named import Place
from shared.lines import reference_of
from shared.quantity import Quantity
from shared.reading import FoundLean, RibDifference
from vision.assess import gates
from vision.cards.detect import Card
from vision.detect import Detections
from vision.level.gravity import Gravity
from vision.solution.poses import Ribs, both_poses, from_starts, together_from
from vision.solution.propagate import Angles, angles_together
from vision.solution.scene import Lean, Scene
from vision.solution.solve import Solution, with_lines
from vision.solution.together import Together, solve_together

MOVED = 3.0
"""Standard uncertainties by which ribs behind may move the foremost rib's angle (0.3 % of true ones move it by more)."""
MOVED_DEG = 0.02
"""Standard uncertainty that such a move has at least: what a string's own error leaves open."""
NOT_IN_LINE = "its plane does not agree with the foremost rib's: its cards are partly hidden, or lie askew"
UNKNOWN_U_LEAN_DEG = 2.0
"""Where the job says nothing of the ribs' lean (common practice, no source: ribs stand within a few degrees)."""


@dataclass(frozen=True)
class Rib:
    """A rib with its lines. poses : its plane by its cards alone, best first. lean : as the job states it."""

    station: Station | Place
    cards: tuple[Card, ...]
    poses: list[Solution]
    found: Detections
    lean: Lean
    flags: tuple[Flag, ...]


@dataclass(frozen=True)
class Solved:
    """All ribs in one solution, the foremost first.

    best : the solution of each. angles, flags : of each, with what the cards' other poses leave of doubt. leans : where the
    photo determines it. gravity : every reference used. dropped : stations that had to be left out -> the reason.
    """

    ribs: tuple[Rib, ...]
    together: Together
    best: Ribs
    angles: tuple[Angles, ...]
    flags: tuple[tuple[Flag, ...], ...]
    leans: tuple[FoundLean | None, ...]
    gravity: Gravity
    dropped: dict[str, str] = field(default_factory=dict)

    @property
    def open(self) -> bool:
        """Whether nothing in the photo shows gravity."""
        return self.together.open

    @property
    def reference(self) -> str | None:
        """What shows gravity."""
        return reference_of(line.role for s in self.together.scenes for line in s.lines if line.role.is_reference)

    def twist(self, k: int) -> RibDifference | None:
        """How the k-th rib stands against the foremost."""
        mine, main = self.angles[k].chord, self.angles[0].chord
        return None if mine is None or main is None else RibDifference(self.ribs[0].station.name, mine - main)


def solve_ribs(photo: str, ribs: tuple[Rib, ...], scene_of: Callable[[Rib, Lean], Scene]) -> Solved | None:
    """Solve for all ribs at once; one behind whose cards do not fit in with the others is left out. None where the foremost
    cannot be solved for. photo : names the sources.

    ribs : the foremost first. scene_of : makes a rib's scene under a lean.
    """
    dropped: dict[str, str] = {}
    while True:
        scenes = tuple(scene_of(r, r.lean) for r in ribs)
        shown = any(line.role.is_reference for s in scenes for line in s.lines)
        together = Together(scenes, photo, not shown)
        solutions = _solutions(together, ribs)
        misfit = [
            (r.station.name, why)
            for r, s in zip(ribs[1:], solutions[0][1:] if solutions else (), strict=bool(solutions))
            if (why := gates.after_solving(s).reason)
        ]
        if solutions and not misfit and len(ribs) > 1 and shown:
            misfit = [(name, NOT_IN_LINE) for name in _pulling(photo, ribs, scenes)]
        if solutions and not misfit:
            break
        if len(ribs) == 1:
            return None
        dropped |= dict(misfit or [(ribs[-1].station.name, "its cards do not fit in with the foremost rib's")])
        ribs = tuple(r for r in ribs if r.station.name not in dropped)
    together, solutions, leans = _with_leans(together, solutions)
    found, flags = both_poses(solutions, photo)
    return Solved(ribs, together, solutions[0], found, flags, leans, _gravity(ribs), dropped)


def _pulling(photo: str, ribs: tuple[Rib, ...], scenes: tuple[Scene, ...]) -> list[str]:
    """Stations behind that move the foremost rib's chord angle by more than they may.

    What is added to a least-squares solution moves it by no more than the difference of the covariances lets expect,
    var(joint - alone) = u_alone^2 - u_joint^2 (Hausman 1978, Econometrica 46, 1251; from memory). Nothing to compare where
    the foremost rib shows no gravity by itself.
    """
    if not any(line.role.is_reference for line in scenes[0].lines):
        return []
    alone = _foremost(photo, ribs[:1], scenes[:1])
    if alone is None:
        return []
    found = []
    for k in range(1, len(ribs)):
        both = _foremost(photo, (ribs[0], ribs[k]), (scenes[0], scenes[k]))
        if both is None:
            continue
        u = np.hypot(MOVED_DEG, np.sqrt(max(alone.u**2 - both.u**2, 0.0)))
        if abs(both.value - alone.value) > MOVED * u:
            found.append(ribs[k].station.name)
    return found


def _foremost(photo: str, ribs: tuple[Rib, ...], scenes: tuple[Scene, ...]) -> Quantity | None:
    """The foremost rib's chord angle from some of the ribs."""
    solved = _solutions(Together(scenes, photo, False), ribs)
    return angles_together(solved[0])[0].chord if solved else None


def _solutions(together: Together, ribs: tuple[Rib, ...]) -> list[Ribs]:
    starts = [[with_lines(c, s.state) for s in r.poses] for c, r in zip(together.scenes, ribs, strict=True)]
    if len(ribs) == 1 and not together.open:
        return [(s,) for s in from_starts(together.scenes[0], starts[0])]
    # gravity as the references show it from whichever rib has them
    k = next((k for k, c in enumerate(together.scenes) if any(ln.role.is_reference for ln in c.lines)), 0)
    gravity = starts[k][0].gravity
    return together_from(together, [[replace(s, gravity=gravity) for s in each] for each in starts])


def _with_leans(together: Together, solutions: list[Ribs]) -> tuple[Together, list[Ribs], tuple[FoundLean | None, ...]]:
    """Where the photo itself tells a rib's lean better than the job, its lean is an unknown with a wide prior.

    Ribs behind come first, so that the foremost one's angle hangs on its own lean, not on theirs.
    """
    count = len(together.scenes)
    found: list[FoundLean | None] = [None] * count
    references = sum(line.role.is_reference for s in together.scenes for line in s.lines)
    if together.open or (count == 1 and references < 2):
        return together, solutions, tuple(found)
    for k in (*range(1, count), 0):
        lean = together.scenes[k].lean
        assert lean is not None
        wide = replace(lean, u_deg=max(lean.u_deg, UNKNOWN_U_LEAN_DEG))
        scenes = list(together.scenes)
        scenes[k] = replace(scenes[k], lean=wide)
        trial = replace(together, scenes=tuple(scenes))
        try:
            got = [solve_together(trial, tuple(s.state for s in ribs)) for ribs in solutions]
        except np.linalg.LinAlgError:
            continue
        tilt = angles_together(got[0])[k].lean
        if tilt.u < lean.u_deg:
            outboard = Quantity(lean.outward * tilt.value, (tilt if lean.outward > 0 else -tilt).components)
            found[k] = FoundLean(outboard, lean.deg, lean.u_deg)
            together, solutions = trial, sorted(got, key=lambda ribs: ribs[0].cost)
    return together, solutions, tuple(found)


def _gravity(ribs: tuple[Rib, ...]) -> Gravity:
    """What is believed of all references together: the foremost rib's, and those found before ribs behind."""
    main = ribs[0].found.gravity or Gravity()
    others = [g for r in ribs[1:] if (g := r.found.gravity) is not None and g.lines]
    if not others:
        return main
    own = main.chance if main.lines else 1.0
    chance = own * float(np.prod([g.chance for g in others]))
    return replace(main, reason=None, chance=chance, rival=main.rival or others[0].rival)
