"""What is seen in one photo, and the unknowns behind it: the joint solution's data and its manifold.

Camera frame: x right, y down, z forward, mm. Rib frame: the first card's board axes, x to the leading
edge, y down its sheet, z into the rib, origin at the board's corner.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.linalg import cholesky

from calibration.lens.model import Lens
from shared.lines import Role
from shared.numerics.arrays import F64
from shared.numerics.small_sums import cross
from vision.cards.detect import Card


@dataclass(frozen=True)
class LineSeen:
    """Points along one line.

    pixels : (n, 2). noise_px : (n,) independent standard deviation across the line. wave_px, reach_px :
    standard deviation and correlation length (pixels along the line) of the drawn line's own waviness.
    own_deg, own_source : standard uncertainty of the thing itself as a reference (string, laser), degrees;
    zero_deg : what it is known to be off, to be taken out (level lines only).
    shade_px : (n,) what one unit variate, common to the whole line, moves each point by (a string lit from one
    side shows its other half where the background is bright, and this half where it is dark). name : of a named line; the
    two edges of one bar bear one name, and its direction is the mean of theirs.
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
    shade_px: F64 | None = None
    name: str = ""


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
    tilt against the rib's face, about either axis (paper does not lie perfectly flat). aspect : what the print's
    width over height exceeds 1 by. shear, u_shear : how much its corners differ from 90 degrees, rad, positive
    where the board's up leans to its +x. card_scale : printed over nominal length.
    """

    lens: Lens
    cards: tuple[Card, ...]
    lines: tuple[LineSeen, ...]
    lean: Lean | None
    photo: str
    u_aspect: float = 0.0
    print_source: str = "print"
    u_seat_deg: float = 0.0
    aspect: float = 0.0
    shear: float = 0.0
    u_shear: float = 0.0
    card_scale: float = 1.0

    @cached_property
    def lens_axes(self) -> F64:
        """(k, 9): one standard deviation of the lens along each of its principal axes."""
        return self.lens.axes()

    @cached_property
    def whiteners(self) -> tuple[F64, ...]:
        """Per line, the inverse of the lower Cholesky factor of its points' covariance, 1/px."""
        return tuple(np.linalg.inv(cholesky(covariance_across(line), lower=True)) for line in self.lines)


@dataclass(frozen=True)
class State:
    """A point of the solution's manifold. z : lens in standard deviations along its axes. places :
    (cards - 1, 3) x, y (mm), turn (rad). seats : (cards, 2) rad, slopes of each card against the rib plane.
    planes : (lines, 3) unit normals in the camera frame. aspect, shear : of the print, as in `Scene`."""

    z: F64
    rotation: F64
    shift: F64
    places: F64
    aspect: float
    seats: F64
    gravity: F64
    planes: F64
    shear: float = 0.0


@dataclass(frozen=True)
class Step:
    """A step of all unknowns, by name: views into the parameter vector, in the shapes of `State`.

    z : lens, in standard deviations along its axes. turn : (3,) rotation vector, rad. shift : (3,) in units of the rib's
    distance. places : (cards - 1, 3) x, y in units of the rib's distance, turn in rad. aspect, shear : of the print; 0
    where they are no unknowns. seats : (cards, 2) rad; None where the cards count as flat. gravity : (2,) rad along the
    basis square to it. planes : (lines, 2) the same of each line's plane.
    """

    z: F64
    turn: F64
    shift: F64
    places: F64
    aspect: float
    shear: float
    seats: F64 | None
    gravity: F64
    planes: F64


@dataclass(frozen=True)
class Slots:
    """Where each unknown stands in the parameter vector, in this order; `step` gives a vector its names."""

    z: slice
    turn: slice
    shift: slice
    places: slice
    aspect: slice
    shear: slice
    seats: slice
    gravity: slice
    planes: slice
    count: int

    def place(self, k: int) -> slice:
        """Of the k-th card's place; the first card has none."""
        return slice(self.places.start + 3 * (k - 1), self.places.start + 3 * k)

    def seat(self, k: int) -> slice:
        """Of the k-th card's seat."""
        return slice(self.seats.start + 2 * k, self.seats.start + 2 * k + 2)

    def plane(self, k: int) -> slice:
        """Of the k-th line's plane."""
        return slice(self.planes.start + 2 * k, self.planes.start + 2 * k + 2)

    def step(self, d: F64) -> Step:
        """Named views of a parameter vector (count,).

        d : as `move` takes it.
        """
        aspect, shear, seats = d[self.aspect], d[self.shear], d[self.seats]
        return Step(
            d[self.z],
            d[self.turn],
            d[self.shift],
            d[self.places].reshape(-1, 3),
            float(aspect[0]) if len(aspect) else 0.0,
            float(shear[0]) if len(shear) else 0.0,
            seats.reshape(-1, 2) if len(seats) else None,
            d[self.gravity],
            d[self.planes].reshape(-1, 2),
        )


def slots(scene: Scene, s: State) -> Slots:
    """The layout of the parameter vector for a scene; unknowns with a zero prior have no slot.

    scene : which unknowns are known exactly. s : how many cards and lines there are.
    """
    sizes = (
        len(s.z),
        3,
        3,
        s.places.size,
        int(scene.u_aspect > 0),
        int(scene.u_shear > 0),
        s.seats.size * (scene.u_seat_deg > 0),
        2,
        2 * len(s.planes),
    )
    ends = np.cumsum(sizes).tolist()
    z, turn, shift, places, aspect, shear, seats, gravity, planes = (
        slice(e - n, e) for e, n in zip(ends, sizes, strict=True)
    )
    return Slots(z, turn, shift, places, aspect, shear, seats, gravity, planes, ends[-1])


def move(scene: Scene, s: State, d: F64) -> State:
    """The state moved by a step: radians, distances in units of the rib's distance, lens in standard deviations.

    scene : which unknowns there are. s : where from. d : (count,) the step, laid out by `slots`. Rotations turn on
    the left, unit vectors on their sphere.
    """
    by = slots(scene, s).step(d)
    far = float(np.linalg.norm(s.shift))
    return State(
        s.z + by.z,
        rotation_of(by.turn) @ s.rotation,
        s.shift + far * by.shift,
        s.places + by.places * np.array([far, far, 1.0]),
        s.aspect + by.aspect,
        s.seats if by.seats is None else s.seats + by.seats,
        turned(s.gravity, by.gravity),
        np.array([turned(p, t) for p, t in zip(s.planes, by.planes, strict=True)]).reshape(-1, 3),
        s.shear + by.shear,
    )


def basis(v: F64) -> F64:
    """(2, 3) orthonormal vectors square to a unit vector.

    v : (3,).
    """
    x, y, z = v.tolist()
    least = min(range(3), key=lambda i: abs((x, y, z)[i]))
    b = ((0.0, z, -y), (-z, 0.0, x), (y, -x, 0.0))[least]  # v x e_least
    size = math.sqrt(b[0] * b[0] + b[1] * b[1] + b[2] * b[2])
    p, q, r = b[0] / size, b[1] / size, b[2] / size
    return np.array([[p, q, r], [y * r - z * q, z * p - x * r, x * q - y * p]])


def turned(v: F64, d: F64) -> F64:
    """A unit vector moved by d (2,) along its basis.

    v : (3,). d : rad, small.
    """
    if not d.any():
        return v
    w = v + d @ basis(v)
    return np.asarray(w / math.sqrt(float(w @ w)), dtype=np.float64)


def with_plane(planes: F64, k: int, d: F64) -> F64:
    """The lines' planes (n, 3) with the k-th one moved by d (2,)."""
    moved = planes.copy()
    moved[k] = turned(planes[k], d)
    return moved


def rotation_of(w: F64) -> F64:
    """Rotation matrix of a rotation vector, radians (Rodrigues).

    w : (3,) axis times angle. (3, 3).
    """
    angle = float(np.linalg.norm(w))
    k = np.array([[0, -w[2], w[1]], [w[2], 0, -w[0]], [-w[1], w[0], 0]])
    if angle < 1e-12:
        return np.asarray(np.eye(3) + k, dtype=np.float64)
    turn: F64 = np.eye(3) + float(np.sin(angle)) / angle * k + (1 - np.cos(angle)) / angle**2 * k @ k
    return turn


def theta_of(scene: Scene, z: F64) -> F64:
    """Lens parameters (9,) at z standard deviations along the lens' axes.

    scene : its lens. z : (k,) as in `State`; empty: the lens is exact.
    """
    if not len(z):
        return np.asarray(scene.lens.theta, dtype=np.float64)
    theta: F64 = scene.lens.theta + z @ scene.lens_axes
    return theta


def printed(board: F64, aspect: float, shear: float, scale: float = 1.0) -> F64:
    """Board points (n, 2) as drawn, mm, as the printer left them: stretch and shear about the board's origin.

    aspect : what width over height exceeds 1 by. shear : rad, see `Scene`. scale : printed over nominal length.
    """
    lean = -shear / 2  # y runs down the sheet: what leans to +x upwards comes back
    flat: F64 = board @ (scale * np.array([[1.0 + aspect / 2, lean], [lean, 1.0 - aspect / 2]]))
    return flat


def place_card(state: State, k: int, card: Card, board: F64, scale: float = 1.0) -> F64:
    """Board points (n, 2) mm of the k-th card, (n, 3) mm in the rib frame. scale : printed over nominal length.

    state : with the cards' places and tilts. k : 0 is the first card, which defines the frame. card : for its middle.
    board : points as designed.
    """
    lift = (board - np.array(card.spec.size_mm) / 2) @ state.seats[k]
    flat = printed(board, state.aspect, state.shear, scale)
    if k > 0:
        x, y, turn = state.places[k - 1]
        c, s = np.cos(turn), np.sin(turn)
        flat = flat @ np.array([[c, s], [-s, c]]) + [x, y]
    placed: F64 = np.concatenate([flat, lift[:, None]], axis=1)
    return placed


def direction_in_plane(normal: F64, plane: F64) -> F64:
    """Unit direction in which the rib plane meets the plane through the camera that holds a line.

    normal : (3,) unit, of the rib plane. plane : (3,) unit normal of the other. (3,), of either sign; camera frame.
    """
    d = cross(normal, plane)
    return np.asarray(d / np.linalg.norm(d), dtype=np.float64)


def along_of(line: LineSeen) -> F64:
    """(n,) place of each point along its line, px from the middle."""
    centred = line.pixels - line.pixels.mean(0)
    return np.asarray(centred @ np.linalg.svd(centred, full_matrices=False)[2][0], dtype=np.float64)


def waviness_of(line: LineSeen) -> F64:
    """(n, n) covariance of the drawn line's own waviness, px^2."""
    along = along_of(line)
    return np.asarray(line.wave_px**2 * np.exp(-np.abs(along[:, None] - along[None, :]) / line.reach_px))


def covariance_across(line: LineSeen) -> F64:
    """(n, n) covariance of the points' distances across the line, px^2: noise, waviness and shading."""
    cov: F64 = np.diag(line.noise_px**2)
    if line.wave_px > 0:
        cov = cov + waviness_of(line)
    if line.shade_px is not None:
        cov = cov + np.outer(line.shade_px, line.shade_px)
    return cov
