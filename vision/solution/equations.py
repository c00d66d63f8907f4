"""The whitened residuals of the joint solution and their Jacobian, block by block.

In this order: lens, print and seating priors; each card's corners (x and y) and edges (across); each line's
points; the level references and the stated lean. All are differentiated by hand.
"""

from __future__ import annotations

import math

import numpy as np

from calibration.lens.model import distort, undistort
from calibration.lens.projection import by_ray, by_theta, project_board
from shared.lines import Shows
from shared.numerics.arrays import F64
from shared.numerics.small_sums import cross
from vision.cards.detect import Card
from vision.solution.scene import (
    Scene,
    Slots,
    State,
    basis,
    direction_in_plane,
    place_card,
    slots,
    theta_of,
)


def residuals(scene: Scene, s: State) -> F64:
    """All residuals in units of their own standard deviations.

    scene : what is seen. s : the unknowns. (observations,) in the order prior, cards, lines, level references and
    lean; each of mean 0 and variance 1 at the truth.
    """
    theta = theta_of(scene, s.z)
    parts = [prior_part(scene, s), card_part(scene, s, theta)]
    focal = focal_length(theta)
    for rays, plane, white in zip(rays_of_lines(scene, theta), s.planes, scene.whiteners, strict=True):
        parts.append(white @ (across(rays, plane) * focal))
    parts.append(level_part(scene, s))
    return np.concatenate(parts)


def prior_part(scene: Scene, s: State) -> F64:
    """What is known beforehand: lens within its profile, print within its aspect, cards flat on the rib.

    scene : whose uncertainties the unknowns are divided by. s : the unknowns.
    """
    parts = [s.z]
    if scene.u_aspect > 0:
        parts.append(np.array([(s.aspect - scene.aspect) / scene.u_aspect]))
    if scene.u_shear > 0:
        parts.append(np.array([(s.shear - scene.shear) / scene.u_shear]))
    if scene.u_seat_deg > 0:
        parts.append(np.degrees(s.seats.ravel()) / scene.u_seat_deg)
    return np.concatenate(parts)


def card_rows(card: Card) -> int:
    """How many residuals a card gives."""
    return 2 * len(card.board) + len(card.edges.board)


def card_part(scene: Scene, s: State, theta: F64) -> F64:
    """Corners and edges of every card, over their standard deviations.

    scene, s : as for `residuals`. theta : (9,) lens parameters at s.
    """
    out = []
    for k, card in enumerate(scene.cards):
        board = np.concatenate([card.board, card.edges.board])
        p = place_card(s, k, card, board, scene.card_scale) @ s.rotation.T + s.shift
        out.append(_card_offsets(card, distort(p[:, :2] / p[:, 2:], theta)))
    return np.concatenate(out)


def _card_offsets(card: Card, px: F64) -> F64:
    n, e = len(card.board), card.edges
    return np.concatenate(
        [
            ((px[:n] - card.pixels) / card.sigma_px[:, None]).ravel(),
            ((px[n:] - e.pixels) * e.normal).sum(1) / e.sigma_px,
        ]
    )


def rays_of_lines(scene: Scene, theta: F64) -> list[F64]:
    """Rays (n, 2) of each line's points.

    scene : whose lines they are. theta : (9,) lens parameters. Rays are (x / z, y / z), camera frame.
    """
    if not scene.lines:
        return []
    ends = np.cumsum([len(line.pixels) for line in scene.lines])
    return np.split(undistort(np.concatenate([line.pixels for line in scene.lines]), theta, steps=12), ends[:-1])


def focal_length(theta: F64) -> float:
    """Mean of both, pixels.

    theta : (9,) lens parameters.
    """
    return math.sqrt(float(theta[0] * theta[1]))


def across(rays: F64, plane: F64) -> F64:
    """Distance of rays from a line in the normalised image, (n,).

    rays : (n, 2). plane : (3,) unit normal of the plane through the camera that holds the line; the distance has its
    sign.
    """
    return np.asarray((rays @ plane[:2] + plane[2]) / np.hypot(plane[0], plane[1]), dtype=np.float64)


def level_part(scene: Scene, s: State) -> F64:
    """Strings hold gravity, level lines are square to it in the rib plane, the plane leans as stated.

    scene, s : as for `residuals`. Angles in degrees over their standard uncertainty, with g gravity: of g out of a
    string's plane; of a level line's rise less its zero error; of the plane's lean, arcsin(n . g) outward, less the
    stated one.
    """
    return _levels(scene, s.rotation, s.gravity, s.planes)


def _levels(scene: Scene, rotation: F64, g: F64, planes: F64) -> F64:
    n = rotation[:, 2]
    out = []
    for line, plane in zip(scene.lines, planes, strict=True):
        if line.role.shows is Shows.PLUMB:
            out.append(np.degrees(np.arcsin(np.clip(g @ plane, -1, 1))) / line.own_deg)
        elif line.role.shows is Shows.LEVEL:
            d = direction_in_plane(n, plane)
            if d @ rotation[:, 0] < 0:
                d = -d
            rise = np.degrees(np.arcsin(np.clip(-(d @ g), -1, 1)))
            out.append((rise - line.zero_deg) / line.own_deg)
    if scene.lean is not None:
        lean = np.degrees(np.arcsin(np.clip(scene.lean.outward * (n @ g), -1, 1)))
        out.append((lean - scene.lean.deg) / scene.lean.u_deg)
    return np.array(out)


def jacobian(scene: Scene, s: State, res: F64) -> F64:
    """(observations, parameters) derivative of the residuals.

    scene, s : as for `residuals`. res : the residuals at s. Columns as `vision.solution.scene.slots` has them, for
    steps as `move` takes them.
    """
    at = slots(scene, s)
    theta = theta_of(scene, s.z)
    jac = np.zeros((len(res), at.count))
    row = at.z.stop
    jac[:row, at.z] = np.eye(row)
    if scene.u_aspect > 0:
        jac[row, at.aspect] = 1 / scene.u_aspect
        row += 1
    if scene.u_shear > 0:
        jac[row, at.shear] = 1 / scene.u_shear
        row += 1
    if scene.u_seat_deg > 0:
        jac[row : row + s.seats.size, at.seats] = np.eye(s.seats.size) * np.degrees(1.0) / scene.u_seat_deg
        row += s.seats.size
    for k, card in enumerate(scene.cards):
        block = _card_block(scene, s, at, k, card, theta)
        jac[row : row + len(block)] = block
        row += len(block)
    for k, (rays, white) in enumerate(zip(rays_of_lines(scene, theta), scene.whiteners, strict=True)):
        n = len(rays)
        by_lens, by_plane = _line_block(scene, rays, s.planes[k], theta)
        jac[row : row + n, at.z] = white @ by_lens
        jac[row : row + n, at.plane(k)] = white @ by_plane
        row += n
    _level_block(scene, s, at, jac, row)
    return jac


def _card_block(scene: Scene, s: State, at: Slots, k: int, card: Card, theta: F64) -> F64:
    board = np.concatenate([card.board, card.edges.board])
    q = place_card(s, k, card, board, scene.card_scale)
    _, d_theta, d_pose, d_point = project_board(theta, s.rotation, s.shift, q)
    far = float(np.linalg.norm(s.shift))
    d = np.zeros((len(board), 2, at.count))
    d[:, :, at.z] = d_theta @ scene.lens_axes.T
    d[:, :, at.turn] = d_pose[:, :, :3]
    d[:, :, at.shift] = d_pose[:, :, 3:] * far
    c, t = 1.0, 0.0
    if k > 0:
        turn = s.places[k - 1, 2]
        c, t = float(np.cos(turn)), float(np.sin(turn))
        from_place = q[:, :2] - s.places[k - 1, :2]
        by_turn = d_point[:, :, 1] * from_place[:, :1] - d_point[:, :, 0] * from_place[:, 1:]
        d[:, :, at.place(k)] = np.stack([d_point[:, :, 0] * far, d_point[:, :, 1] * far, by_turn], axis=2)
    board_in_rib = scene.card_scale * np.array([[c, t], [-t, c]])
    if scene.u_aspect > 0:
        half = board * [0.5, -0.5] @ board_in_rib
        d[:, :, at.aspect.start] = (d_point[:, :, :2] * half[:, None, :]).sum(2)
    if scene.u_shear > 0:
        half = board[:, ::-1] * -0.5 @ board_in_rib
        d[:, :, at.shear.start] = (d_point[:, :, :2] * half[:, None, :]).sum(2)
    if scene.u_seat_deg > 0:
        arm = board - np.array(card.spec.size_mm) / 2
        d[:, :, at.seat(k)] = d_point[:, :, 2, None] * arm[:, None, :]
    n, e = len(card.board), card.edges
    corners = (d[:n] / card.sigma_px[:, None, None]).reshape(2 * n, -1)
    edges = (d[n:] * e.normal[:, :, None]).sum(1) / e.sigma_px[:, None]
    return np.concatenate([corners, edges])


def _line_block(scene: Scene, rays: F64, plane: F64, theta: F64) -> tuple[F64, F64]:
    """(n, lens) and (n, 2) derivatives of a line's unwhitened offsets."""
    x, y = rays[:, 0], rays[:, 1]
    focal = focal_length(theta)
    size = float(np.hypot(plane[0], plane[1]))
    off = across(rays, plane)
    # where the ray of a fixed pixel goes when the lens changes: the implicit function theorem
    ray_by_theta = -np.linalg.solve(by_ray(theta, x, y), by_theta(theta, x, y))
    by_lens = focal * np.einsum("nij,i->nj", ray_by_theta, plane[:2] / size)
    by_lens[:, 0] += off * focal / (2 * theta[0])
    by_lens[:, 1] += off * focal / (2 * theta[1])
    along = np.concatenate([rays, np.ones((len(rays), 1))], axis=1)
    by_normal = along / size - off[:, None] * np.array([plane[0], plane[1], 0]) / size**2
    return by_lens @ scene.lens_axes.T, focal * by_normal @ basis(plane).T


def _level_block(scene: Scene, s: State, at: Slots, jac: F64, row: int) -> None:
    """The level equations' derivatives, written into the Jacobian's last rows.

    Each equation is asin(sine) in degrees over its u; a turn by w moves the rib plane's normal n by w x n.
    """
    n, g = s.rotation[:, 2], s.gravity
    square = basis(g)

    def per_sine(sine: float, u_deg: float) -> float:
        return math.degrees(1.0) / (u_deg * math.sqrt(max(1.0 - sine * sine, 1e-12)))

    for k, line in enumerate(scene.lines):
        p = s.planes[k]
        planes = at.plane(k)
        if line.role.shows is Shows.PLUMB:
            per = per_sine(float(g @ p), line.own_deg)
            jac[row, at.gravity], jac[row, planes] = per * (square @ p), per * (basis(p) @ g)
            row += 1
        elif line.role.shows is Shows.LEVEL:
            c = cross(n, p)
            size = math.sqrt(float(c @ c)) * (-1.0 if c @ s.rotation[:, 0] < 0 else 1.0)
            d = c / size
            per = -per_sine(float(d @ g), line.own_deg)
            h = (g - d * float(d @ g)) / size  # d . g changes by h . dc
            jac[row, at.turn] = per * cross(n, cross(p, h))
            jac[row, at.gravity], jac[row, planes] = per * (square @ d), per * (basis(p) @ cross(h, n))
            row += 1
    if scene.lean is not None:
        per = scene.lean.outward * per_sine(float(n @ g), scene.lean.u_deg)
        jac[row, at.turn], jac[row, at.gravity] = per * cross(n, g), per * (square @ n)


def labels(scene: Scene, s: State) -> tuple[tuple[str, str], ...]:
    """Name and source of each whitened observation, in the residuals' order.

    scene, s : as for `residuals`.
    """
    out = [("lens", f"lens:{scene.lens.ident} axis {i}") for i in range(len(s.z))]
    if scene.u_aspect > 0:
        out.append(("card print", scene.print_source))
    if scene.u_shear > 0:
        out.append(("card print", f"{scene.print_source} skew"))
    if scene.u_seat_deg > 0:
        for card in scene.cards:
            out += [("card seating", f"seat of card {card.number} axis {i}") for i in (1, 2)]
    for card in scene.cards:
        out += [("rib plane tilt", f"photo:{scene.photo} card {card.number}")] * card_rows(card)
    for i, line in enumerate(scene.lines):
        out += [(line.role.fit, f"photo:{scene.photo} line {i}")] * len(line.pixels)
    out += [(line.own_name, line.own_source) for line in scene.lines if line.role.is_reference]
    if scene.lean is not None:
        out.append(("lean of the rib plane", scene.lean.source))
    return tuple(out)
