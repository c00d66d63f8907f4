"""From the joint solution to angles with their budgets.

The angles are functions of the fitted state; their loadings on the independent observations follow
from the solution's gain. Observations of one origin (one card's corners, one line's points) are
compressed to as many independent variates as there are angles in the photo, by QR, which keeps every variance and
every covariance between the angles of the photo exactly.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import partial

import numpy as np

from shared.angles import angle_in_plane, inclination
from shared.lines import Role, Shows
from shared.numerics.arrays import F64
from shared.quantity import Component, Quantity
from vision.solution.scene import (
    LineSeen,
    State,
    direction_in_plane,
    rotation_of,
    slots,
    turned,
    waviness_of,
    with_plane,
)
from vision.solution.solve import Solution

STEEP = math.sqrt(0.5)
"""Sine of the slope from which on a line counts as upright."""
COMMON = frozenset(role.common for role in Role if role.common)
"""Components of what is common to a whole line (`LineSeen.shade_px`)."""


@dataclass(frozen=True)
class Angles:
    """What a photo says, degrees: chord and spar angle where their lines were seen, the plane's lean from plumb
    (positive: far side down, top towards the camera), and each named line's angle to gravity (`shared.job.named`)."""

    chord: Quantity | None
    spar: Quantity | None
    lean: Quantity
    named: tuple[tuple[str, Quantity], ...] = ()


FIRST = 3
"""Chord angle, spar angle and lean come before the named lines."""


def names(lines: tuple[LineSeen, ...]) -> tuple[str, ...]:
    """The named lines among those seen, each once."""
    return tuple(dict.fromkeys(line.name for line in lines if line.role is Role.NAMED))


def values(scene_lines: tuple[LineSeen, ...], s: State) -> F64:
    """Chord angle, spar angle (NaN when not seen), lean of the plane, then each named line's angle; degrees.

    scene_lines : in the order of the state's planes. s : the solution. (3 + named,), chord nose-up positive, spar as 90 +
    lean, lean of the plane positive with the far side down.
    """
    return _values(scene_lines, s.rotation, s.gravity, s.planes)


def _values(lines: tuple[LineSeen, ...], rotation: F64, gravity: F64, planes: F64) -> F64:
    n, up, forward = rotation[:, 2], -gravity, rotation[:, 0]
    chord = spar = float("nan")
    named: dict[str, list[float]] = {name: [] for name in names(lines)}
    for line, plane in zip(lines, planes, strict=True):
        if line.role is Role.CHORD:
            d = direction_in_plane(n, plane)
            chord = inclination(d if d @ forward > 0 else -d, up)
        elif line.role is Role.SPAR:
            d = direction_in_plane(n, plane)
            spar = angle_in_plane(d if d @ up > 0 else -d, n, up, forward)
        elif line.role is Role.NAMED:
            d = direction_in_plane(n, plane)
            if abs(d @ up) < STEEP:
                named[line.name].append(inclination(d if d @ forward > 0 else -d, up))
            else:
                named[line.name].append(angle_in_plane(d if d @ up > 0 else -d, n, up, forward))
    lean = float(np.degrees(np.arcsin(np.clip(n @ gravity, -1, 1))))
    return np.array([chord, spar, lean, *(sum(each) / len(each) for each in named.values())])


def angles(solution: Solution, extra: Iterable[Component] = ()) -> Angles:
    """Angles and budgets of a solution; `extra` components go to the chord and the spar alike."""
    return angles_together((solution,), extra)[0]


def angles_together(solutions: tuple[Solution, ...], extra: Iterable[Component] = ()) -> tuple[Angles, ...]:
    """Angles and budgets of ribs that were solved together; what they share bears the same sources in all of them.

    solutions : as `solve_together` gives them. extra : components that go to the chord and the spar of every rib
    alike. First-order propagation, GUM eq. 13, through the solution's gain.
    """
    base = np.concatenate([values(s.scene.lines, s.state) for s in solutions])
    seen = np.isfinite(base)
    load = np.concatenate([-_gradient(s) @ s.gain for s in solutions])
    parts = compressed(solutions, load)
    more = tuple(extra)
    found = [Quantity(float(v), tuple(p)) if ok else None for v, p, ok in zip(base, parts, seen, strict=True)]
    out, at = [], 0
    for s in solutions:
        own = names(s.scene.lines)
        chord, spar, lean, *named = found[at : at + FIRST + len(own)]
        at += FIRST + len(own)
        assert lean is not None
        each = tuple((name, q.plus(*more)) for name, q in zip(own, named, strict=True) if q is not None)
        out.append(Angles(chord and chord.plus(*more), spar and spar.plus(*more), lean, each))
    return tuple(out)


def compressed(solutions: tuple[Solution, ...], load: F64) -> list[list[Component]]:
    """The components of values, from their loadings (values, observations) on the solutions' observations, in as few
    independent variates as there are values."""
    parts: list[list[Component]] = [[] for _ in load]
    for name, source, block in _blocks(solutions, load):
        small = np.asarray(np.linalg.qr(block.T, mode="r")).T if block.shape[1] > 1 else block
        for i in range(small.shape[1]):
            tag = source if name not in COMMON and block.shape[1] == 1 else f"{source} {name} {i + 1}"
            for row in range(len(load)):
                if abs(small[row, i]) > 0:
                    parts[row].append(Component(name, tag, float(small[row, i])))
    return parts


def _gradient(solution: Solution) -> F64:
    """(3 + named lines, parameters) derivative of chord angle, spar angle, lean and named lines; 0 where a line is not
    seen."""
    scene, s = solution.scene, solution.state
    at = slots(scene, s)
    grad = np.zeros((FIRST + len(names(scene.lines)), at.count))
    step = 1e-6

    def differences(start: int, count: int, moved: Callable[[F64], F64]) -> None:
        for j, d in enumerate(step * np.eye(count)):
            grad[:, start + j] = (moved(d) - moved(-d)) / (2 * step)

    lines = scene.lines
    differences(at.turn.start, 3, lambda d: _values(lines, rotation_of(d) @ s.rotation, s.gravity, s.planes))
    differences(at.gravity.start, 2, lambda d: _values(lines, s.rotation, turned(s.gravity, d), s.planes))

    def by_line(k: int, d: F64) -> F64:
        return _values(lines, s.rotation, s.gravity, with_plane(s.planes, k, d))

    for k, line in enumerate(lines):
        if line.role.shows is Shows.NOTHING:
            differences(at.plane(k).start, 2, partial(by_line, k))
    grad[~np.isfinite(values(lines, s))] = 0.0
    return grad


def _blocks(solutions: tuple[Solution, ...], load: F64) -> list[tuple[str, str, F64]]:
    """Loadings (angles of all ribs, n) by name and source; a line's points are split into noise and waviness."""
    out: list[tuple[str, str, F64]] = []
    groups: dict[tuple[str, str], list[int]] = {}
    for i, label in enumerate(solutions[0].labels):
        groups.setdefault(label, []).append(i)
    at = {f"photo:{s.scene.photo} line {i}": (s.scene, i) for s in solutions for i in range(len(s.scene.lines))}
    for (name, source), index in groups.items():
        block = load[:, index]
        if source not in at:
            out.append((name, source, block))
            continue
        scene, i = at[source]
        line = scene.lines[i]
        raw = block @ scene.whiteners[i]
        out.append((name, source, raw * line.noise_px))
        if line.shade_px is not None:
            out.append((line.role.common, source, raw @ line.shade_px[:, None]))
        if line.wave_px > 0:
            root = np.linalg.cholesky(waviness_of(line) + 1e-9 * line.wave_px**2 * np.eye(len(line.pixels)))
            out.append((line.role.waviness, source, raw @ root))
    return out
