"""Several ribs of one photo in one solution: one lens, one print, one gravity; each rib its own plane, cards and lines.

Each rib is a `Scene` of its own. Their unknowns lie side by side in one vector in which lens, print and gravity stand once,
so that what the ribs share is solved for once, whichever rib a string hangs before, and cancels in their differences. The
residuals are those of the single scenes, the priors of what is shared counted once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from shared.numerics.arrays import F64
from vision.solution.equations import jacobian, labels, residuals
from vision.solution.scene import Scene, State, basis, move, slots
from vision.solution.solve import Solution, descend, estimator, fit_of, solution_of

States = tuple[State, ...]

U_ROLL_DEG = 5.0
"""How level a phone is held by hand, standard uncertainty, where nothing in the photo shows gravity (common practice, no
source)."""
HELD = "how the camera was held"
"""Name of the component that stands for an unknown gravity: what a difference between ribs of one photo is free of."""


@dataclass(frozen=True)
class JointLayout:
    """Where the unknowns and residuals of each rib stand. columns : (ribs,) of (count,) places of a rib's own unknowns in the
    common vector. count : of all unknowns. skip : leading residuals of all ribs but the first that the first has already.
    """

    columns: tuple[NDArray[np.intp], ...]
    count: int
    skip: int


@dataclass(frozen=True)
class Together:
    """Ribs to be solved in one. photo : names their common sources. open : whether nothing in the photo shows gravity: how the
    camera was held then stands in for it."""

    scenes: tuple[Scene, ...]
    photo: str
    open: bool = False


def solve_together(together: Together, start: States) -> tuple[Solution, ...]:
    """The solution of each rib, in the order of the scenes, all with one set of observations.

    start : states near the minimum; lens, print and gravity are taken from the first. Raises numpy.linalg.LinAlgError where the
    picture leaves something undetermined.

    together : the ribs.
    """
    states = solve_states(together, start)
    at = layout(together, states)
    parts = [residuals(scene, s) for scene, s in zip(together.scenes, states, strict=True)]
    res = _joined(together, states, at, parts)
    gain = estimator(_slope(together, at, states, parts))
    names: list[tuple[str, str]] = []
    row, fits = 0, []
    for k, (scene, s, part) in enumerate(zip(together.scenes, states, parts, strict=True)):
        skip = at.skip if k else 0
        fit = fit_of(scene, s, part)
        gain[:, row + fit.corners.start - skip : row + fit.corners.stop - skip] *= fit.scale
        names += labels(scene, s)[skip:]
        row += len(part) - skip
        fits.append(fit)
    names += [(HELD, f"photo:{together.photo} roll")] * together.open
    cost = float(res @ res)
    return tuple(
        solution_of(scene, s, fit, gain[columns], tuple(names), cost)
        for scene, s, fit, columns in zip(together.scenes, states, fits, at.columns, strict=True)
    )


def solve_states(together: Together, start: States, offset: F64 | None = None) -> States:
    """The states of the least-squares solution. offset : errors of the observations, in their standard deviations.

    together, start : as for `solve_together`.
    """
    first = start[0]
    alike = tuple(replace(s, z=first.z, aspect=first.aspect, shear=first.shear, gravity=first.gravity) for s in start)
    at = layout(together, alike)

    def parts(states: States) -> list[F64]:
        return [residuals(scene, s) for scene, s in zip(together.scenes, states, strict=True)]

    def misfit(states: States) -> F64:
        joined = _joined(together, states, at, parts(states))
        return joined if offset is None else joined - offset

    return descend(
        alike,
        misfit,
        lambda states, _: _slope(together, at, states, parts(states)),
        lambda states, d: tuple(
            move(scene, s, d[c]) for scene, s, c in zip(together.scenes, states, at.columns, strict=True)
        ),
    )


def layout(together: Together, states: States) -> JointLayout:
    """The common vector's layout: the first rib's unknowns as they stand, then what each further rib has of its own.

    together : the ribs. states : one for each.
    """
    own = [slots(scene, s) for scene, s in zip(together.scenes, states, strict=True)]
    first, count = own[0], own[0].count
    columns = [np.arange(count)]
    for at in own[1:]:
        place = np.full(at.count, -1)
        for name in ("z", "aspect", "shear", "gravity"):
            place[getattr(at, name)] = np.arange(first.count)[getattr(first, name)]
        free = place < 0
        place[free] = count + np.arange(int(free.sum()))
        count += int(free.sum())
        columns.append(place)
    skip = len(states[0].z) + (together.scenes[0].u_aspect > 0) + (together.scenes[0].u_shear > 0)
    return JointLayout(tuple(columns), count, skip)


def _joined(together: Together, states: States, at: JointLayout, parts: list[F64]) -> F64:
    rows = [parts[0], *(part[at.skip :] for part in parts[1:])]
    if together.open:
        rows.append(np.array([math.degrees(math.asin(float(states[0].gravity[0]))) / U_ROLL_DEG]))
    return np.concatenate(rows)


def _slope(together: Together, at: JointLayout, states: States, parts: list[F64]) -> F64:
    """(observations, unknowns) derivative of the joined residuals."""
    rows = sum(len(p) for p in parts) - at.skip * (len(parts) - 1) + together.open
    jac = np.zeros((rows, at.count))
    row = 0
    for k, (scene, s, part) in enumerate(zip(together.scenes, states, parts, strict=True)):
        block = jacobian(scene, s, part)[at.skip if k else 0 :]
        jac[row : row + len(block), at.columns[k]] = block
        row += len(block)
    if together.open:
        g = states[0].gravity
        per = math.degrees(1.0) / (U_ROLL_DEG * math.sqrt(max(1.0 - float(g[0]) ** 2, 1e-12)))
        jac[row, at.columns[0][slots(together.scenes[0], states[0]).gravity]] = per * basis(g)[:, 0]
    return jac
