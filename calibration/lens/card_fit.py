"""Least squares over station cards of known geometry: one lens, each rib's plane in each photo, each card's place.

Cards of one rib lie in one plane; where they lie in it nobody measured, so a second card adds its turn and its
two shifts to the unknowns. The lens and the print start from what is known of them (a prior: GUM 3.3.5), so
that what the cards do not show keeps its uncertainty. Levenberg-Marquardt, planes and cards eliminated (Schur
complement), as in `bundle`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calibration.lens.bundle import View, fit_pose
from calibration.lens.flat import rotation
from calibration.lens.model import distort
from calibration.lens.projection import project_board
from calibration.lens.robust import CUT, HUBER, scale_of
from calibration.lens.scatter import between_views
from shared.numerics.arrays import F64

FLOOR_PX = 0.035
"""No corner is better than this: what paper, print and lens leave in it (as in `vision.cards`)."""
STEPS = 30
ENOUGH = 1e-6
"""Share of the cost that a step must gain for another one: less moves nothing by a hundredth of its u."""
Local = tuple[F64, F64, F64]
"""Rotation, shift of the plane; (k, 3) turn, x, y of each card in it, the first one's all 0."""


@dataclass(frozen=True)
class CardPlane:
    """The cards of one rib in one photo. cards : views with board points in mm from each card's centre."""

    photo: int
    cards: tuple[View, ...]


@dataclass(frozen=True)
class Known:
    """What is known beforehand: values (n,) and precision (n, n) of the nine of theta, print stretch and skew.

    The precision refers to the free `columns` (11, m): value = start + columns @ x. stretch : of y against x,
    relative; skew : of x with y, radians.
    """

    start: F64
    columns: F64
    precision: F64


@dataclass(frozen=True)
class CardFit:
    """What the fit found.

    values : (11,) theta, stretch, skew. covariance : (11, 11). planes : with their final weights. locals : of each.
    residuals : per plane (n, 2), pixels. sigma : of one coordinate. inflation : see `scatter.between_views`.
    """

    values: F64
    covariance: F64
    planes: tuple[CardPlane, ...]
    locals: tuple[Local, ...]
    residuals: tuple[F64, ...]
    sigma: float
    inflation: float

    @property
    def theta(self) -> F64:
        """The lens's nine parameters."""
        return self.values[:9]


def first_places(planes: Sequence[CardPlane], theta: F64) -> list[Local]:
    """Poses under a fixed lens: each plane by its largest card, both ways that a small card may be tilted tried."""
    return [_first(plane, theta) for plane in planes]


def fit_cards(planes: Sequence[CardPlane], known: Known, start: CardFit | None = None, robust: bool = True) -> CardFit:
    """Fit lens, print, planes and cards. Raises numpy.linalg.LinAlgError where the numbers break down.

    robust : corners that stray are weighed down, then left out; else the weights of the planes stay.
    """
    planes = list(planes)
    values = known.start.copy() if start is None else start.values.copy()
    places = first_places(planes, values[:9]) if start is None else list(start.locals)
    sigma = 0.3
    for last in (False, False, True, True) if robust else (True,):
        values, places = _descend(planes, known, values, places, sigma)
        errors = [_residuals(p, values, q) for p, q in zip(planes, places, strict=True)]
        sigma = _sigma(planes, errors)
        if robust:
            s = max(scale_of(np.concatenate(errors)), FLOOR_PX)
            planes = [_weighed(p, e, s, last) for p, e in zip(planes, errors, strict=True)]
    return _result(planes, known, values, places)


def place_plane(plane: CardPlane, values: F64, place: Local) -> F64:
    """Residuals (n, 2) of a plane under fixed lens and print, its own pose and cards fitted."""
    fixed = Known(values, np.zeros((11, 0)), np.zeros((0, 0)))
    _, (place,) = _descend([plane], fixed, values, [place], 1.0)
    return _residuals(plane, values, place)


def _first(plane: CardPlane, theta: F64) -> Local:
    poses = [fit_pose(v, theta)[:2] for v in plane.cards]
    best: tuple[float, Local] | None = None
    for r, t in (poses[0], _other_tilt(*poses[0])):
        cards = np.zeros((len(poses), 3))
        for k, (rk, tk) in enumerate(poses[1:], 1):
            turn = r.T @ rk
            cards[k] = np.arctan2(turn[1, 0] - turn[0, 1], turn[0, 0] + turn[1, 1]), *(r.T @ (tk - t))[:2]
        values = np.concatenate([theta, np.zeros(2)])
        fixed = Known(values, np.zeros((11, 0)), np.zeros((0, 0)))
        _, (place,) = _descend([plane], fixed, values, [(r, t, cards)], 1.0)
        cost = _cost([plane], values, [place])
        if best is None or cost < best[0]:
            best = cost, place
    assert best is not None
    return best[1]


def _other_tilt(r: F64, t: F64) -> tuple[F64, F64]:
    """The pose whose normal is mirrored at the line of sight: a small card looks nearly the same in it."""
    sight = t / np.linalg.norm(t)
    normal = r[:, 2]
    other = 2 * (normal @ sight) * sight - normal
    axis = np.cross(normal, other)
    length = float(np.linalg.norm(axis))
    if length < 1e-9:
        return r, t
    return rotation(axis / length * np.arctan2(length, float(normal @ other))) @ r, t


def _points(view: View, card: F64, print_: F64) -> tuple[F64, F64, F64]:
    """Places (n, 3) of a card's corners in the plane, and derivatives (n, 3, 2) by print, (n, 3, 3) by the card."""
    x, y = view.board[:, 0], view.board[:, 1]
    px, py = x + print_[1] * y, y + print_[0] * y
    c, s = np.cos(card[0]), np.sin(card[0])
    zero = np.zeros(len(x))
    out = np.stack([c * px - s * py + card[1], s * px + c * py + card[2], zero], axis=1)
    by_print = np.stack([np.stack([-s * y, c * y], axis=1), np.stack([c * y, s * y], axis=1)], axis=2)
    by_print = np.concatenate([by_print, np.zeros((len(x), 1, 2))], axis=1)
    by_card = np.zeros((len(x), 3, 3))
    by_card[:, 0, 0], by_card[:, 1, 0] = -s * px - c * py, c * px - s * py
    by_card[:, 0, 1] = by_card[:, 1, 2] = 1.0
    return out, by_print, by_card


def _residuals(plane: CardPlane, values: F64, place: Local) -> F64:
    r, t, cards = place
    out = []
    for view, card in zip(plane.cards, cards, strict=True):
        p = _points(view, card, values[9:])[0] @ r.T + t
        if np.any(p[:, 2] <= 0):
            return np.full((sum(len(v.board) for v in plane.cards), 2), np.inf)
        out.append(view.pixels - distort(p[:, :2] / p[:, 2:], values[:9]))
    return np.concatenate(out)


def _weights(plane: CardPlane) -> F64:
    return np.concatenate([v.weight for v in plane.cards])


def _cost(planes: Sequence[CardPlane], values: F64, places: Sequence[Local]) -> float:
    total = 0.0
    for plane, place in zip(planes, places, strict=True):
        e = _residuals(plane, values, place)
        if not np.isfinite(e).all():
            return float("inf")
        total += float(np.sum(_weights(plane)[:, None] * e * e))
    return total


def _blocks(plane: CardPlane, values: F64, place: Local, columns: F64) -> tuple[F64, F64, F64, F64, F64]:
    """A'A, B'B, A'B, A'e, B'e with A by lens and print, B by the plane's pose and its cards' places."""
    r, t, cards = place
    a_rows, b_rows, errors = [], [], []
    for k, (view, card) in enumerate(zip(plane.cards, cards, strict=True)):
        points, by_print, by_card = _points(view, card, values[9:])
        seen, by_theta, by_pose, by_point = project_board(values[:9], r, t, points)
        root = np.repeat(np.sqrt(view.weight), 2)[:, None]
        a = np.concatenate([by_theta, by_point @ by_print], axis=2).reshape(-1, 11) @ columns
        b = np.zeros((2 * len(points), 6 + 3 * (len(cards) - 1)))
        b[:, :6] = by_pose.reshape(-1, 6)
        if k:
            b[:, 3 + 3 * k : 6 + 3 * k] = (by_point @ by_card).reshape(-1, 3)
        a_rows.append(a * root)
        b_rows.append(b * root)
        errors.append((view.pixels - seen).ravel() * root[:, 0])
    a, b, e = np.concatenate(a_rows), np.concatenate(b_rows), np.concatenate(errors)
    return a.T @ a, b.T @ b, a.T @ b, a.T @ e, b.T @ e


def _moved(place: Local, d: F64) -> Local:
    r, t, cards = place
    cards = cards.copy()
    cards[1:] += d[6:].reshape(-1, 3)
    return rotation(d[:3]) @ r, t + d[3:6], cards


def _descend(
    planes: Sequence[CardPlane], known: Known, values: F64, places: Sequence[Local], sigma: float
) -> tuple[F64, list[Local]]:
    """Levenberg-Marquardt from values and places; the prior counts against corners good to sigma, pixels."""
    columns, places = known.columns, list(places)
    m = columns.shape[1]
    inverse = np.linalg.pinv(columns) if m else np.zeros((0, 11))

    def total(v: F64, q: Sequence[Local]) -> float:
        x = inverse @ (v - known.start)
        return _cost(planes, v, q) / sigma**2 + float(x @ known.precision @ x)

    damping, cost = 1e-3, total(values, places)
    for _ in range(STEPS):
        blocks = [_blocks(p, values, q, columns) for p, q in zip(planes, places, strict=True)]
        x = inverse @ (values - known.start)
        for _ in range(10):
            s, g = known.precision * sigma**2, -known.precision @ x * sigma**2
            s = s + damping * np.diag(np.diag(s))
            halves = []
            for aa, bb, ab, ae, be in blocks:
                bb = bb + damping * np.diag(np.diag(bb)) + 1e-12 * np.eye(len(bb))
                w = np.linalg.solve(bb, ab.T)
                s = s + aa + damping * np.diag(np.diag(aa)) - ab @ w
                g = g + ae - w.T @ be
                halves.append((bb, ab, be))
            step = np.asarray(np.linalg.solve(s, g), np.float64) if m else np.zeros(0)
            new = values + columns @ step
            moves = [np.asarray(np.linalg.solve(bb, be - ab.T @ step), np.float64) for bb, ab, be in halves]
            new_places = [_moved(q, d) for q, d in zip(places, moves, strict=True)]
            new_cost = total(new, new_places)
            if new_cost < cost:
                break
            damping *= 8
        else:
            break
        gain, cost = (cost - new_cost) / cost, new_cost
        values, places, damping = new, new_places, max(damping / 8, 1e-12)
        if gain < ENOUGH:
            break
    return values, places


def _sigma(planes: Sequence[CardPlane], errors: Sequence[F64]) -> float:
    """Residual standard deviation of one coordinate, pixels, by degrees of freedom of the planes."""
    squares = count = 0.0
    for plane, e in zip(planes, errors, strict=True):
        w = _weights(plane)
        squares += float(np.sum(w[:, None] * e * e))
        count += 2 * float(w.sum()) - 6 - 3 * (len(plane.cards) - 1)
    return max(float(np.sqrt(squares / max(count, 1.0))), FLOOR_PX)


def _weighed(plane: CardPlane, errors: F64, scale: float, last: bool) -> CardPlane:
    far = np.linalg.norm(errors, axis=1) / scale
    weight = (far <= CUT).astype(np.float64) if last else np.minimum(1.0, HUBER / np.maximum(far, 1e-12))
    cards, at = [], 0
    for v in plane.cards:
        w = weight[at : at + len(v.board)]
        at += len(v.board)
        cards.append(View(v.board, v.pixels, w) if w.sum() >= 6 else View.of(v.board, v.pixels))
    return replace(plane, cards=tuple(cards))


def _result(planes: list[CardPlane], known: Known, values: F64, places: list[Local]) -> CardFit:
    errors = [_residuals(p, values, q) for p, q in zip(planes, places, strict=True)]
    sigma = _sigma(planes, errors)
    parts: dict[int, F64] = {}
    scores: dict[int, F64] = {}
    for plane, place in zip(planes, places, strict=True):
        aa, bb, ab, ae, be = _blocks(plane, values, place, known.columns)
        w = np.linalg.solve(bb, ab.T)
        parts[plane.photo] = parts.get(plane.photo, 0.0) + (aa - ab @ w) / sigma**2
        scores[plane.photo] = scores.get(plane.photo, 0.0) + (ae - w.T @ be) / sigma**2
    normal = known.precision + np.sum(list(parts.values()), axis=0)
    d = np.sqrt(np.diag(normal))
    model = np.linalg.inv(normal / np.outer(d, d)) / np.outer(d, d)
    free, inflation = between_views(normal, list(parts.values()), list(scores.values()), model)
    covariance = known.columns @ free @ known.columns.T
    return CardFit(values, covariance, tuple(planes), tuple(places), tuple(errors), sigma, inflation)
