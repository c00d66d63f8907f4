"""The joint solution: one least-squares fit of lens, rib plane, cards, lines and gravity to one photo.

What is unknown: the lens (within its profile's covariance), the pose of the rib plane, the place of
each further card in that plane, the direction of gravity, and for each seen line the plane through
the camera that holds it. What is observed: card corners, points along each line, the lens profile,
the string (gravity lies in its plane), the level line (square to gravity in the rib plane), and the
stated lean of the rib plane. Every observation is whitened by its own covariance, so the solution is
linear in unit variates near its minimum and each angle's budget is read off the same Jacobian:

    angle = a(x),  x = (J'J)^-1 J' y   =>   loadings of the angle on y:  grad(a) (J'J)^-1 J'

(JCGM 100:2008, eq. 13 with the sensitivities of an implicit measurement function, JCGM 102:2011, 6.3).

Camera frame: x right, y down, z forward, mm. Rib frame: the first card's board axes, x to the leading
edge, y down its sheet, z into the rib, origin at the board's corner.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cholesky, solve_triangular

from calibration.lens_model import Lens, distort, undistort
from vision.cards import Card

F64 = NDArray[np.float64]
Role = Literal["chord", "spar", "plumb", "level"]

MAX_ROUNDS = 25


@dataclass(frozen=True)
class LineSeen:
    """Points along one line.

    pixels : (n, 2). noise_px : (n,) independent standard deviation across the line. wave_px, reach_px :
    standard deviation and correlation length (pixels along the line) of the drawn line's own waviness.
    own_deg, own_source : standard uncertainty of the thing itself as a reference (string, laser), degrees;
    zero_deg : what it is known to be off, to be taken out (level lines only).
    """

    role: Role
    pixels: F64
    noise_px: F64
    wave_px: float = 0.0
    reach_px: float = 1.0
    own_deg: float = 0.0
    own_source: str = ""
    own_name: str = ""
    zero_deg: float = 0.0


@dataclass(frozen=True)
class Lean:
    """The stated lean of the rib plane, degrees, positive when its top leans outboard.

    outward : +1 if outboard is beyond the rib (photo taken from inboard), -1 if it is on the camera's side.
    """

    deg: float
    u_deg: float
    source: str
    outward: float


@dataclass(frozen=True)
class Scene:
    """All that is seen in one photo, ready for the joint solution.

    u_aspect : standard uncertainty of the cards' printed width over height. u_seat_deg : of each card's own
    tilt against the rib's face, about either axis (paper does not lie perfectly flat).
    """

    lens: Lens
    cards: tuple[Card, ...]
    lines: tuple[LineSeen, ...]
    lean: Lean | None
    photo: str
    u_aspect: float = 0.0
    print_source: str = "print"
    u_seat_deg: float = 0.0


@dataclass(frozen=True)
class State:
    """A point of the solution's manifold. z : lens in standard deviations along its axes. places :
    (cards - 1, 3) x, y (mm), turn (rad). seats : (cards, 2) rad, slopes of each card against the rib plane.
    planes : (lines, 3) unit normals in the camera frame."""

    z: F64
    rotation: F64
    shift: F64
    places: F64
    aspect: float
    seats: F64
    gravity: F64
    planes: F64


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
        return _theta(self.scene.lens, self.state.z)

    def to_pixels(self, points_mm: F64) -> F64:
        """Pixels (n, 2) of rib-plane points (n, 2), mm in the rib frame."""
        p = np.c_[points_mm, np.zeros(len(points_mm))] @ self.state.rotation.T + self.state.shift
        return distort(p[:, :2] / p[:, 2:], self.theta())

    def to_plane(self, pixels: F64) -> F64:
        """Rib-plane points (n, 2), mm, where the rays of these pixels (n, 2) meet the plane."""
        rays = np.c_[undistort(pixels, self.theta()), np.ones(len(pixels))]
        n, t = self.normal, self.state.shift
        depth = float(n @ t) / (rays @ n)
        q = (rays * depth[:, None] - t) @ self.state.rotation
        return np.asarray(q[:, :2], dtype=np.float64)


def place_card(state: State, k: int, card: Card, board: F64) -> F64:
    """Board points (n, 2) mm of the k-th card, (n, 3) mm in the rib frame."""
    stretch = np.array([1.0 + state.aspect / 2, 1.0 - state.aspect / 2])
    lift = (board - np.array(card.spec.size_mm) / 2) @ state.seats[k]
    flat = board * stretch
    if k > 0:
        x, y, turn = state.places[k - 1]
        c, s = np.cos(turn), np.sin(turn)
        flat = flat @ np.array([[c, s], [-s, c]]) + [x, y]
    return np.c_[flat, lift]


def direction_in_plane(normal: F64, plane: F64) -> F64:
    """Unit direction in which the rib plane meets the plane through the camera that holds a line."""
    d = np.cross(normal, plane)
    return np.asarray(d / np.linalg.norm(d), dtype=np.float64)


def solve(scene: Scene, start: State, max_rounds: int = MAX_ROUNDS) -> Solution:
    """Gauss-Newton on the whitened residuals from a start near the minimum.

    Raises numpy.linalg.LinAlgError when the picture leaves something undetermined.
    """
    whiten = [_whitener(line) for line in scene.lines]
    state = start
    cost = np.inf
    damp = 0.0
    jac = res = np.empty(0)
    for _ in range(max_rounds):
        res = _residuals(scene, state, whiten)
        jac = _jacobian(scene, state, whiten, res)
        now = float(res @ res)
        normal = jac.T @ jac
        # the faint floor keeps what nothing observes yet (gravity, before a string is seen) where it is
        normal += np.diag(damp * np.diag(normal) + 1e-9)
        step = -np.linalg.solve(normal, jac.T @ res)
        trial = _move(scene, state, step)
        after = _residuals(scene, trial, whiten)
        if float(after @ after) > now * (1 + 1e-9) + 1e-12:
            damp = max(damp * 10, 1e-3)
            if damp > 1e6:
                break
            continue
        damp = damp / 10 if damp > 1e-6 else 0.0
        state = trial
        gain_in_cost = now - float(after @ after)
        cost = float(after @ after)
        if gain_in_cost < 1e-7 * (1 + cost):
            break
    res = _residuals(scene, state, whiten)
    jac = _jacobian(scene, state, whiten, res)
    return _finish(scene, state, res, jac)


def starts(scene: Scene) -> list[State]:
    """Starting states: the two poses that a flat card allows, each with gravity from the level reference.

    Both poses come from the infinitesimal plane-based method (Collins and Bartoli 2014, in OpenCV's
    `solvePnPGeneric`), taken on the card with the most pixels.
    """
    import cv2

    lens, cards = scene.lens, scene.cards
    first = cards[0]
    rays = lens.rays(first.pixels)
    obj = np.c_[first.board, np.zeros(len(first.board))]
    got = cv2.solvePnPGeneric(obj, rays.reshape(-1, 1, 2), np.eye(3), None, flags=cv2.SOLVEPNP_IPPE)
    out = []
    for rvec, tvec in zip(got[1], got[2], strict=True):
        rotation = np.asarray(cv2.Rodrigues(rvec)[0], dtype=np.float64)
        shift = np.asarray(tvec, dtype=np.float64).ravel()
        if rotation[2, 2] <= 0 or shift[2] <= 0:
            continue
        places = np.array([_place(lens, c, rotation, shift) for c in cards[1:]]).reshape(-1, 3)
        planes = np.array([_plane_of(lens, line.pixels) for line in scene.lines]).reshape(-1, 3)
        gravity = _gravity_guess(scene, rotation[:, 2], planes)
        out.append(State(np.zeros(len(lens.axes())), rotation, shift, places, 0.0, np.zeros((len(cards), 2)), gravity,
                         planes))
    return out


def _theta(lens: Lens, z: F64) -> F64:
    return np.asarray(lens.theta + z @ lens.axes(), dtype=np.float64) if len(z) else lens.theta


def _place(lens: Lens, card: Card, rotation: F64, shift: F64) -> F64:
    rays = np.c_[lens.rays(card.pixels), np.ones(len(card.pixels))]
    n = rotation[:, 2]
    q = ((rays * (float(n @ shift) / (rays @ n))[:, None] - shift) @ rotation)[:, :2]
    a, b = card.board - card.board.mean(0), q - q.mean(0)
    turn = np.arctan2((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum(), (a * b).sum())
    c, s = np.cos(turn), np.sin(turn)
    xy = q.mean(0) - card.board.mean(0) @ np.array([[c, s], [-s, c]])
    return np.array([xy[0], xy[1], turn])


def _plane_of(lens: Lens, pixels: F64) -> F64:
    rays = np.c_[lens.rays(pixels), np.ones(len(pixels))]
    return np.asarray(np.linalg.svd(rays, full_matrices=False)[2][-1], dtype=np.float64)


def _gravity_guess(scene: Scene, normal: F64, planes: F64) -> F64:
    guess = np.array([0.0, 1.0, 0.0])
    for line, plane in zip(scene.lines, planes, strict=True):
        if line.role == "plumb":
            guess = np.cross(plane, normal)
            break
        if line.role == "level":
            guess = np.cross(direction_in_plane(normal, plane), normal)
    guess = guess / np.linalg.norm(guess)
    return np.asarray(guess if guess[1] > 0 else -guess, dtype=np.float64)


def _whitener(line: LineSeen) -> tuple[F64, F64]:
    """Lower Cholesky factor of the line's covariance across, px, and distances along, px."""
    centred = line.pixels - line.pixels.mean(0)
    along = centred @ np.linalg.svd(centred, full_matrices=False)[2][0]
    cov = np.diag(line.noise_px**2)
    if line.wave_px > 0:
        cov += line.wave_px**2 * np.exp(-np.abs(along[:, None] - along[None, :]) / line.reach_px)
    return np.asarray(cholesky(cov, lower=True), dtype=np.float64), along


def _basis(v: F64) -> F64:
    """(2, 3) orthonormal vectors square to v."""
    x, y, z = v.tolist()  # plain floats: this is called tens of thousands of times a photo
    least = min(range(3), key=lambda i: abs((x, y, z)[i]))
    b = ((0.0, z, -y), (-z, 0.0, x), (y, -x, 0.0))[least]  # v x e_least
    size = math.sqrt(b[0] * b[0] + b[1] * b[1] + b[2] * b[2])
    p, q, r = b[0] / size, b[1] / size, b[2] / size
    return np.array([[p, q, r], [y * r - z * q, z * p - x * r, x * q - y * p]])


def _turned(v: F64, d: F64) -> F64:
    if not d.any():
        return v
    w = v + d @ _basis(v)
    return np.asarray(w / math.sqrt(float(w @ w)), dtype=np.float64)


def _rotation(w: F64) -> F64:
    angle = float(np.linalg.norm(w))
    k = np.array([[0, -w[2], w[1]], [w[2], 0, -w[0]], [-w[1], w[0], 0]])
    if angle < 1e-12:
        return np.eye(3) + k
    return np.asarray(np.eye(3) + np.sin(angle) / angle * k
                      + (1 - np.cos(angle)) / angle**2 * k @ k, dtype=np.float64)


def _move(scene: Scene, s: State, d: F64) -> State:
    k, m = len(s.z), len(s.places)
    far = float(np.linalg.norm(s.shift))
    i = k
    rotation, shift = _rotation(d[i:i + 3]) @ s.rotation, s.shift + far * d[i + 3:i + 6]
    i += 6
    places = s.places + d[i:i + 3 * m].reshape(-1, 3) * np.array([far, far, 1.0])
    i += 3 * m
    aspect = s.aspect
    if scene.u_aspect > 0:
        aspect, i = aspect + d[i], i + 1
    seats = s.seats
    if scene.u_seat_deg > 0:
        seats, i = seats + d[i:i + seats.size].reshape(-1, 2), i + seats.size
    gravity, i = _turned(s.gravity, d[i:i + 2]), i + 2
    planes = np.array([_turned(p, d[i + 2 * j:i + 2 * j + 2]) for j, p in enumerate(s.planes)]).reshape(-1, 3)
    return State(s.z + d[:k], rotation, shift, places, float(aspect), seats, gravity, planes)


def _count(scene: Scene, s: State) -> int:
    own = (scene.u_aspect > 0) + s.seats.size * (scene.u_seat_deg > 0)
    return len(s.z) + 6 + 3 * len(s.places) + own + 2 + 2 * len(s.planes)


def _residuals(scene: Scene, s: State, whiten: list[tuple[F64, F64]]) -> F64:
    theta = _theta(scene.lens, s.z)
    parts = [_prior_part(scene, s), _corner_part(scene, s, theta)]
    for line, plane, (chol, _) in zip(scene.lines, s.planes, whiten, strict=True):
        parts.append(_line_part(line, plane, chol, theta))
    parts.append(_level_part(scene, s))
    return np.concatenate(parts)


def _prior_part(scene: Scene, s: State) -> F64:
    """What is known beforehand: lens within its profile, print within its aspect, cards flat on the rib."""
    parts = [s.z]
    if scene.u_aspect > 0:
        parts.append(np.array([s.aspect / scene.u_aspect]))
    if scene.u_seat_deg > 0:
        parts.append(np.degrees(s.seats.ravel()) / scene.u_seat_deg)
    return np.concatenate(parts)


def _corner_part(scene: Scene, s: State, theta: F64) -> F64:
    """Corners (x and y) and edges (across) of every card, over their standard deviations."""
    out = []
    for k, card in enumerate(scene.cards):
        p = place_card(s, k, card, np.concatenate([card.board, card.edges.board])) @ s.rotation.T + s.shift
        px = distort(p[:, :2] / p[:, 2:], theta)
        n = len(card.board)
        out.append(((px[:n] - card.pixels) / card.sigma_px[:, None]).ravel())
        e = card.edges
        out.append(((px[n:] - e.pixels) * e.normal).sum(1) / e.sigma_px)
    return np.concatenate(out)


def _card_rows(card: Card) -> int:
    return 2 * len(card.board) + len(card.edges.board)


def _line_part(line: LineSeen, plane: F64, chol: F64, theta: F64) -> F64:
    rays = undistort(line.pixels, theta, steps=12)
    across = _across(rays, plane) * float(np.sqrt(theta[0] * theta[1]))
    return np.asarray(solve_triangular(chol, across, lower=True), dtype=np.float64)


def _across(rays: F64, plane: F64) -> F64:
    """Distance of rays from a line in the normalised image, (n,)."""
    return np.asarray((rays @ plane[:2] + plane[2]) / np.hypot(plane[0], plane[1]), dtype=np.float64)


def _level_part(scene: Scene, s: State) -> F64:
    n, g = s.rotation[:, 2], s.gravity
    out = []
    for line, plane in zip(scene.lines, s.planes, strict=True):
        if line.role == "plumb":
            out.append(np.degrees(np.arcsin(np.clip(g @ plane, -1, 1))) / line.own_deg)
        elif line.role == "level":
            d = direction_in_plane(n, plane)
            if d @ s.rotation[:, 0] < 0:
                d = -d
            rise = np.degrees(np.arcsin(np.clip(-(d @ g), -1, 1)))
            out.append((rise - line.zero_deg) / line.own_deg)
    if scene.lean is not None:
        lean = np.degrees(np.arcsin(np.clip(scene.lean.outward * (n @ g), -1, 1)))
        out.append((lean - scene.lean.deg) / scene.lean.u_deg)
    return np.array(out)


def _jacobian(scene: Scene, s: State, whiten: list[tuple[F64, F64]], res: F64) -> F64:
    """Forward differences; each parameter touches only its own blocks of the residual."""
    count, k = _count(scene, s), len(s.z)
    jac = np.zeros((len(res), count))
    n_line_params = 2 * len(s.planes)
    step = 1e-6
    for j in range(count - n_line_params):
        h = 1e-3 if j < k else step
        d = np.zeros(count)
        d[j] = h
        jac[:, j] = (_residuals(scene, _move(scene, s, d), whiten) - res) / h if j < k else \
            (_residuals_no_lines(scene, _move(scene, s, d), res, whiten) - res) / h
    theta = _theta(scene.lens, s.z)
    row = len(_prior_part(scene, s)) + sum(_card_rows(c) for c in scene.cards)
    tail = len(res) - len(_level_part(scene, s))
    for i, (line, plane, (chol, _)) in enumerate(zip(scene.lines, s.planes, whiten, strict=True)):
        n = len(line.pixels)
        for a in range(2):
            j = count - n_line_params + 2 * i + a
            d2 = np.zeros(2)
            d2[a] = step
            moved = _turned(plane, d2)
            jac[row:row + n, j] = (_line_part(line, moved, chol, theta) - res[row:row + n]) / step
            planes = s.planes.copy()
            planes[i] = moved
            jac[tail:, j] = (_level_part(scene, replace(s, planes=planes)) - res[tail:]) / step
        row += n
    return jac


def _residuals_no_lines(scene: Scene, s: State, res: F64, whiten: list[tuple[F64, F64]]) -> F64:
    """The residual where neither lens nor line planes moved: the line blocks are taken over."""
    theta = _theta(scene.lens, s.z)
    prior = _prior_part(scene, s)
    k = len(prior)
    corners = _corner_part(scene, s, theta)
    level = _level_part(scene, s)
    out = res.copy()
    out[:k] = prior
    out[k:k + len(corners)] = corners
    if len(level):
        out[-len(level):] = level
    return out


def _finish(scene: Scene, s: State, res: F64, jac: F64) -> Solution:
    k = len(_prior_part(scene, s))
    counts = [_card_rows(c) for c in scene.cards]
    n_corner = sum(counts)
    corner = res[k:k + n_corner]
    dof = max(n_corner - 6 - 3 * (len(scene.cards) - 1), 1)
    chi2 = float(corner @ corner)
    # residuals larger than stated widen the corners' own part (Birge); smaller ones do not narrow it
    scale = max(1.0, float(np.sqrt(chi2 / dof)))
    gain = np.linalg.solve(jac.T @ jac + 1e-9 * np.eye(jac.shape[1]), jac.T)
    gain[:, k:k + n_corner] *= scale
    rms, at = [], 0
    for card, n in zip(scene.cards, counts, strict=True):
        r = corner[at:at + 2 * len(card.board)].reshape(-1, 2) * card.sigma_px[:, None]
        rms.append(float(np.sqrt((r * r).mean())))
        at += n
    theta = _theta(scene.lens, s.z)
    line_rms = []
    for line, plane in zip(scene.lines, s.planes, strict=True):
        a = _across(undistort(line.pixels, theta), plane) * theta[0]
        line_rms.append(float(np.sqrt((a * a).mean())))
    return Solution(scene, s, gain, _labels(scene, s), chi2, dof, float(res @ res), scale,
                    tuple(rms), tuple(line_rms), tuple(float(v) for v in _level_part(scene, s)))


def _labels(scene: Scene, s: State) -> tuple[tuple[str, str], ...]:
    """Name and source of each whitened observation, in the residual's order."""
    out = [("lens", f"lens:{scene.lens.ident} axis {i}") for i in range(len(s.z))]
    if scene.u_aspect > 0:
        out.append(("card print", scene.print_source))
    if scene.u_seat_deg > 0:
        for card in scene.cards:
            out += [("card seating", f"seat of card {card.number} axis {i}") for i in (1, 2)]
    for card in scene.cards:
        out += [("rib plane tilt", f"photo:{scene.photo} card {card.number}")] * _card_rows(card)
    names = {"chord": "chord line fit", "spar": "spar line fit", "plumb": "string fit", "level": "level line fit"}
    for i, line in enumerate(scene.lines):
        out += [(names[line.role], f"photo:{scene.photo} line {i}")] * len(line.pixels)
    out += [(line.own_name, line.own_source) for line in scene.lines if line.role in ("plumb", "level")]
    if scene.lean is not None:
        out.append(("lean of the rib plane", scene.lean.source))
    return tuple(out)
