"""The joint solution: one least-squares fit of lens, rib plane, cards, lines and gravity to one photo.

What is unknown: the lens (within its profile's covariance), the pose of the rib plane, the place of
each further card in that plane, the direction of gravity, and for each seen line the plane through
the camera that holds it. What is observed: card corners, points along each line, the lens profile,
the string (gravity lies in its plane), the level line (square to gravity in the rib plane), and the
stated lean of the rib plane. Every observation is whitened by its own covariance, so the solution is
linear in unit variates near its minimum and each angle's budget is read off the same Jacobian:

    angle = a(x),  x = (J'J)^-1 J' y   =>   loadings of the angle on y:  grad(a) (J'J)^-1 J'

(JCGM 100:2008, eq. 13 with the sensitivities of an implicit measurement function, JCGM 102:2011, 6.3).

Frames, data and unknowns: `vision.solution.scene`. Residuals and Jacobian: `vision.solution.equations`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TypeVar

import cv2
import numpy as np

from calibration.lens.model import Lens, distort, undistort
from shared.lines import Shows
from shared.numerics.arrays import F64
from shared.numerics.small_sums import cross
from vision.cards.detect import Card
from vision.solution.equations import across, card_rows, jacobian, labels, level_part, prior_part, residuals
from vision.solution.scene import Lean, LineSeen, Scene, State, direction_in_plane, move, place_card, printed, theta_of

__all__ = [
    "Fit",
    "Hopeless",
    "Lean",
    "LineSeen",
    "Scene",
    "Solution",
    "State",
    "descend",
    "estimator",
    "fit_of",
    "place_card",
    "solution_of",
    "solve",
    "solve_state",
    "starts",
    "with_lines",
]

T = TypeVar("T")

MAX_ROUNDS = 25
"""Rounds at most. By judgement: near the minimum the error squares with each round, and what needs more does not
converge."""
PATIENCE = 6
"""Rounds after which a start that is still far worse than the best solution is given up: it would not get there. It
saves time; by judgement."""


class Hopeless(ArithmeticError):
    """A start that would come to nothing better than what is known already."""


@dataclass(frozen=True)
class Solution:
    """The fitted state with what propagation needs.

    gain : (parameters, observations) linear estimator. labels : name, source per observation (unit variates).
    chi2, dof : of the corners. corner_rms : per card, pixels. line_rms : per line, pixels.
    """

    scene: Scene
    state: State
    gain: F64
    labels: tuple[tuple[str, str], ...]
    chi2: float
    dof: int
    cost: float
    scale: float
    corner_rms: tuple[float, ...]
    line_rms: tuple[float, ...]
    level_pulls: tuple[float, ...] = ()

    @property
    def normal(self) -> F64:
        """Unit normal of the rib plane, away from the camera."""
        return self.state.rotation[:, 2]

    @property
    def up(self) -> F64:
        """Unit vector against gravity, camera frame."""
        return -self.state.gravity

    def theta(self) -> F64:
        """Lens parameters of the solution."""
        return theta_of(self.scene, self.state.z)

    def to_pixels(self, points_mm: F64) -> F64:
        """Pixels (n, 2) of rib-plane points (n, 2), mm in the rib frame.

        points_mm : x towards the leading edge, y down the card's sheet.
        """
        p = np.c_[points_mm, np.zeros(len(points_mm))] @ self.state.rotation.T + self.state.shift
        return distort(p[:, :2] / p[:, 2:], self.theta())

    def to_plane(self, pixels: F64) -> F64:
        """Rib-plane points (n, 2), mm, where the rays of these pixels (n, 2) meet the plane."""
        rays = np.c_[undistort(pixels, self.theta()), np.ones(len(pixels))]
        n, t = self.normal, self.state.shift
        depth = float(n @ t) / (rays @ n)
        q = (rays * depth[:, None] - t) @ self.state.rotation
        return np.asarray(q[:, :2], dtype=np.float64)


@np.errstate(over="ignore", invalid="ignore")  # of a scene beyond all measure: it ends as undetermined
def solve(scene: Scene, start: State, max_rounds: int = MAX_ROUNDS, hopeless: float = np.inf) -> Solution:
    """The least-squares solution from a start near the minimum.

    Raises numpy.linalg.LinAlgError when the picture leaves something undetermined, Hopeless when the cost stays above
    `hopeless`.

    scene : what is seen. start : see `starts`. max_rounds : of Gauss-Newton. hopeless : cost that the search must
    come below within `PATIENCE` rounds.
    """
    state = solve_state(scene, start, None, max_rounds, hopeless)
    res = residuals(scene, state)
    return _finish(scene, state, res, jacobian(scene, state, res))


@np.errstate(over="ignore", invalid="ignore")  # of a scene beyond all measure: it ends as undetermined
def solve_state(
    scene: Scene, start: State, offset: F64 | None = None, max_rounds: int = MAX_ROUNDS, hopeless: float = np.inf
) -> State:
    """Gauss-Newton (Levenberg's damping when a step fails) on the whitened residuals less an offset.

    offset : (observations,) errors of the observations, in their standard deviations (Monte Carlo); None: none.

    scene, start, max_rounds, hopeless : as for `solve`.
    """

    def misfit(s: State) -> F64:
        return residuals(scene, s) - offset if offset is not None else residuals(scene, s)

    return descend(
        start,
        misfit,
        lambda s, res: jacobian(scene, s, res),
        lambda s, d: move(scene, s, d),
        max_rounds,
        hopeless,
    )


def descend(
    start: T,
    misfit: Callable[[T], F64],
    slope: Callable[[T, F64], F64],
    moved: Callable[[T, F64], T],
    max_rounds: int = MAX_ROUNDS,
    hopeless: float = np.inf,
) -> T:
    """Gauss-Newton from a start of any kind. misfit : residuals of a state. slope : their Jacobian at it. moved : a state
    moved by a step.

    start : near the minimum. max_rounds : at most. hopeless : raises Hopeless where the cost is still above it after
    `PATIENCE` rounds.
    """
    state, damp = start, 0.0
    res = misfit(state)
    jac = slope(state, res)
    normal, pull = jac.T @ jac, jac.T @ res
    for done in range(max_rounds):
        if done >= PATIENCE and float(res @ res) > hopeless:
            raise Hopeless
        # the faint floor keeps what nothing observes yet (gravity, before a string is seen) where it is
        damped = normal + np.diag(damp * np.diag(normal) + 1e-9)
        trial = moved(state, -np.asarray(np.linalg.solve(damped, pull), dtype=np.float64))
        after = misfit(trial)
        won = float(res @ res) - float(after @ after)
        if not won > -1e-9 * (1 + float(res @ res)):
            damp = max(damp * 10, 1e-3)
            if damp > 1e6:
                break
            continue
        damp = damp / 10 if damp > 1e-6 else 0.0
        state, res = trial, after
        if won < 1e-6 * (1 + float(res @ res)):
            break
        jac = slope(state, res)
        normal, pull = jac.T @ jac, jac.T @ res
    return state


def starts(scene: Scene) -> list[State]:
    """Starting states: the two poses that a flat card allows, each with gravity from the level reference.

    Both poses come from the infinitesimal plane-based method (Collins and Bartoli 2014, in OpenCV's
    `solvePnPGeneric`), taken on the card with the most pixels.

    scene : with one card at least. At most two, both with the card before the camera.
    """
    lens, cards = scene.lens, scene.cards
    first = cards[0]
    rays = lens.rays(first.pixels)
    obj = np.c_[_as_printed(scene, first), np.zeros(len(first.board))]
    got = cv2.solvePnPGeneric(obj, rays.reshape(-1, 1, 2), np.eye(3), None, flags=cv2.SOLVEPNP_IPPE)
    out = []
    for rvec, tvec in zip(got[1], got[2], strict=True):
        rotation = np.asarray(cv2.Rodrigues(rvec)[0], dtype=np.float64)
        shift = np.asarray(tvec, dtype=np.float64).ravel()
        if rotation[2, 2] <= 0 or shift[2] <= 0:
            continue
        places = np.array([_place(scene, c, rotation, shift) for c in cards[1:]]).reshape(-1, 3)
        seen = [_forward(_plane_of(lens, line.pixels), rotation) for line in scene.lines]
        planes = np.array(seen).reshape(-1, 3)
        gravity = _gravity_guess(scene, rotation[:, 2], planes)
        out.append(
            State(
                np.zeros(len(scene.lens_axes)),
                rotation,
                shift,
                places,
                scene.aspect,
                np.zeros((len(cards), 2)),
                gravity,
                planes,
                scene.shear,
            )
        )
    return out


def with_lines(scene: Scene, before: State) -> State:
    """A start for a scene with lines from the state that its cards alone gave.

    scene : with the lines. before : the state of a scene with the same cards and none.
    """
    seen = [_forward(_plane_of(scene.lens, line.pixels), before.rotation) for line in scene.lines]
    planes = np.array(seen).reshape(-1, 3)
    return replace(before, planes=planes, gravity=_gravity_guess(scene, before.rotation[:, 2], planes))


def _as_printed(scene: Scene, card: Card) -> F64:
    """Corners (n, 2) of a card, mm, as its print is known to be."""
    return printed(card.board, scene.aspect, scene.shear, scene.card_scale)


def _place(scene: Scene, card: Card, rotation: F64, shift: F64) -> F64:
    rays = np.c_[scene.lens.rays(card.pixels), np.ones(len(card.pixels))]
    board = _as_printed(scene, card)
    n = rotation[:, 2]
    q = ((rays * (float(n @ shift) / (rays @ n))[:, None] - shift) @ rotation)[:, :2]
    a, b = board - board.mean(0), q - q.mean(0)
    turn = np.arctan2((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum(), (a * b).sum())
    c, s = np.cos(turn), np.sin(turn)
    xy = q.mean(0) - board.mean(0) @ np.array([[c, s], [-s, c]])
    return np.array([xy[0], xy[1], turn])


def _forward(plane: F64, rotation: F64) -> F64:
    """The plane's normal turned to the leading edge: one string's error then has one sign in all photos."""
    return plane if float(plane @ rotation[:, 0]) >= 0 else -plane


def _plane_of(lens: Lens, pixels: F64) -> F64:
    rays = np.c_[lens.rays(pixels), np.ones(len(pixels))]
    return np.asarray(np.linalg.svd(rays, full_matrices=False)[2][-1], dtype=np.float64)


def _gravity_guess(scene: Scene, normal: F64, planes: F64) -> F64:
    guess = np.array([0.0, 1.0, 0.0])
    for line, plane in zip(scene.lines, planes, strict=True):
        if line.role.shows is Shows.PLUMB:
            guess = cross(plane, normal)
            break
        if line.role.shows is Shows.LEVEL:
            guess = cross(direction_in_plane(normal, plane), normal)
    guess = guess / np.linalg.norm(guess)
    return np.asarray(guess if guess[1] > 0 else -guess, dtype=np.float64)


@dataclass(frozen=True)
class Fit:
    """How well a scene's state fits: see `Solution`. corners : its cards' rows of the residuals."""

    corners: slice
    chi2: float
    dof: int
    scale: float
    corner_rms: tuple[float, ...]
    line_rms: tuple[float, ...]
    level_pulls: tuple[float, ...]


def fit_of(scene: Scene, s: State, res: F64) -> Fit:
    """The fit of one scene, from its residuals in the order of `residuals`.

    scene, s : as for `residuals`. res : (observations,) whitened.
    """
    k = len(prior_part(scene, s))
    counts = [card_rows(c) for c in scene.cards]
    corners = slice(k, k + sum(counts))
    corner = res[corners]
    dof = max(len(corner) - 6 - 3 * (len(scene.cards) - 1), 1)
    chi2 = float(corner @ corner)
    rms, at = [], 0
    for card, n in zip(scene.cards, counts, strict=True):
        r = corner[at : at + 2 * len(card.board)].reshape(-1, 2) * card.sigma_px[:, None]
        rms.append(float(np.sqrt((r * r).mean())))
        at += n
    theta = theta_of(scene, s.z)
    line_rms = []
    for line, plane in zip(scene.lines, s.planes, strict=True):
        a = across(undistort(line.pixels, theta), plane) * theta[0]
        line_rms.append(float(np.sqrt((a * a).mean())))
    # residuals larger than stated widen the cards' own part (Birge); smaller ones do not narrow it
    scale = max(1.0, float(np.sqrt(chi2 / dof)))
    pulls = tuple(float(v) for v in level_part(scene, s))
    return Fit(corners, chi2, dof, scale, tuple(rms), tuple(line_rms), pulls)


def estimator(jac: F64) -> F64:
    """(parameters, observations) the linear estimator of whitened observations.

    jac : (observations, parameters). (J' J)^-1 J', whose negative times the residuals is the Gauss-Newton step.
    """
    return np.asarray(np.linalg.solve(jac.T @ jac + 1e-9 * np.eye(jac.shape[1]), jac.T), dtype=np.float64)


def solution_of(
    scene: Scene, s: State, fit: Fit, gain: F64, names: tuple[tuple[str, str], ...], cost: float
) -> Solution:
    """A solution from its parts.

    scene : what is seen. s : the fitted state. fit : how well it fits. gain : (parameters, observations). names : of
    each observation. cost : sum of squares of all residuals.
    """
    return Solution(
        scene, s, gain, names, fit.chi2, fit.dof, cost, fit.scale, fit.corner_rms, fit.line_rms, fit.level_pulls
    )


def _finish(scene: Scene, s: State, res: F64, jac: F64) -> Solution:
    fit = fit_of(scene, s, res)
    gain = estimator(jac)
    gain[:, fit.corners] *= fit.scale
    return solution_of(scene, s, fit, gain, labels(scene, s), float(res @ res))
