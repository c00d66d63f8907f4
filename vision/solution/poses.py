"""The poses that flat cards leave open: each solved to the end, and what they leave of doubt."""

from __future__ import annotations

from itertools import islice, product

import numpy as np

from shared.flags import Flag, FlagCode
from shared.quantity import Component, Quantity
from vision.solution.propagate import Angles, angles_together
from vision.solution.scene import Scene, State
from vision.solution.solve import Hopeless, Solution, solve
from vision.solution.together import Together, solve_together

MAYBE_POSE = 60.0
"""Difference of chi-square from the best pose by the cards alone, beyond which another is dropped before lines are
looked at. Wide, for the lines may speak for it: exp(-30) by the cards alone."""
HOPELESS_POSE = 4.0
"""How many times what would let it stay in mind the other pose's cost may be before it is given up half-way. It saves
time; by judgement."""
OTHER_POSE = 0.01
"""Posterior weight of the other pose from which on it is flagged, where it would lie outside of what is given. One
value in a hundred may be the other one unflagged, a fifth of `GIVE`."""
TWO_POSES = 15.0
"""Difference of chi-square between the two poses of a flat card below which both are kept in mind: the other's weight is
then at least exp(-TWO_POSES / 2), 0.06 %."""
MOST_TOGETHER = 8
"""Combinations of the poses of several ribs that are tried: both of three ribs."""

Ribs = tuple[Solution, ...]


def from_starts(scene: Scene, states: list[State]) -> list[Solution]:
    """The solutions from several starts, best first; those that come to the same place count once. Empty where none holds.

    scene : of one rib. states : to start from.
    """
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
    return sorted(solutions, key=lambda s: s.cost)


def near(solutions: list[Solution]) -> list[Solution]:
    """Those not much worse than the best.

    solutions : of one scene, best first. Not much worse: cost within `MAYBE_POSE` times the best one's squared scale.
    """
    return [s for s in solutions if s.cost - solutions[0].cost < MAYBE_POSE * solutions[0].scale ** 2]


def together_from(together: Together, starts: list[list[State]]) -> list[Ribs]:
    """The solutions of several ribs from the poses (best first) that each may have, best first; empty where none holds.

    together : the ribs. starts : per rib, its poses.
    """
    found: list[Ribs] = []
    for start in islice(product(*starts), MOST_TOGETHER):
        try:
            got = solve_together(together, start)
        except np.linalg.LinAlgError:
            continue
        if not any(_alike(got, other) for other in found):
            found.append(got)
    return sorted(found, key=lambda s: s[0].cost)


def _alike(a: Ribs, b: Ribs) -> bool:
    return all(float(x.normal @ y.normal) > 1 - 1e-9 for x, y in zip(a, b, strict=True))


def both_poses(solutions: list[Ribs], photo: str) -> tuple[tuple[Angles, ...], tuple[tuple[Flag, ...], ...]]:
    """Each rib's angles by the best poses, and its flags; where other poses fit nearly as well, their difference goes into u.

    A flat card seen nearly square-on has two poses (Collins and Bartoli 2014). With w the other's posterior weight and d
    its difference, the mixture's standard deviation is d sqrt(w (1 - w)). Where the other pose is likelier than OTHER_POSE and
    would lie outside what is given, there is a flag as well. photo : names the source.

    solutions : best first; each holds one solution a rib.
    """
    best = list(angles_together(solutions[0]))
    flags: list[tuple[Flag, ...]] = [()] * len(best)
    scale = max(s.scale for s in solutions[0])
    for k, other in enumerate(solutions[1:]):
        worse = (other[0].cost - solutions[0][0].cost) / scale**2
        if worse > TWO_POSES:
            continue
        weight = float(np.exp(-worse / 2) / (1 + np.exp(-worse / 2)))
        source = f"photo:{photo} pose" + (f" {k + 1}" if k else "")
        for i, theirs in enumerate(angles_together(other)):
            mine = best[i]
            best[i] = Angles(
                _widened(mine.chord, theirs.chord, weight, source),
                _widened(mine.spar, theirs.spar, weight, source),
                mine.lean,
                tuple(
                    (n, _widened(a, b, weight, source) or a)
                    for (n, a), (_, b) in zip(mine.named, theirs.named, strict=True)
                ),
            )
            if weight <= OTHER_POSE:
                continue
            given = [(best[i].chord, theirs.chord), *zip(_each(best[i]), _each(theirs), strict=True)]
            off = [b for a, b in given if a is not None and b is not None and abs(b.value - a.value) > 3 * a.u]
            if off:
                flags[i] = (_two_poses(weight, off[0]),)
    return tuple(best), tuple(flags)


def _each(angles: Angles) -> list[Quantity]:
    return [q for _, q in angles.named]


def _widened(a: Quantity | None, b: Quantity | None, weight: float, source: str) -> Quantity | None:
    if a is None or b is None:
        return a
    spread = float(np.sqrt(weight * (1 - weight)))
    return a.plus(Component("which way the card tilts", source, spread * (b.value - a.value)))


def _two_poses(weight: float, other: Quantity) -> Flag:
    return FlagCode.TWO_POSES.flag(
        f"the card may tilt the other way (probability {weight:.0%}), which would give {other.value:+.2f} deg"
    )
