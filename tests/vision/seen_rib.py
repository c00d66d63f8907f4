"""A rib as points: what a camera sees of cards, lines and strings whose angles are known, projected by OpenCV."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from calibration.lens.model import Lens
from shared.lines import Role
from shared.numerics.arrays import F64
from vision.cards.detect import Card
from vision.cards.spec import SPECS
from vision.solution.scene import Lean, LineSeen, Scene, along_of
from vision.solution.solve import Solution, solve, starts, with_lines

SIZE = (4000, 3000)
THETA = np.array([3050.0, 3060.0, 2008.0, 1489.0, 0.055, -0.12, 0.0006, -0.0004, 0.06])
U_THETA = np.array([1.5, 1.5, 2.0, 2.0, 0.002, 0.008, 1e-4, 1e-4, 0.008])
LENS = Lens("test", SIZE, THETA, np.diag(U_THETA**2))
CORNER_PX, LINE_PX, WAVE_PX, REACH_PX = 0.08, 0.06, 0.15, 220.0


def turn(axis: tuple[float, float, float], deg: float) -> F64:
    """Rotation about an axis, right-handed (OpenCV's Rodrigues)."""
    return np.asarray(cv2.Rodrigues(np.radians(deg) * np.array(axis, dtype=np.float64))[0], dtype=np.float64)


@dataclass(frozen=True)
class Rib:
    """A rib before a camera. World: X right, Y away, Z up, mm; gravity along -Z; the chord's middle at the origin.

    chord_deg, spar_deg : nose-up, leading edge to the right. lean_deg : top towards the camera positive.
    cards : (kind, number, mm along the chord, mm above it, turn) of each. strings : (X, Y) of each plumb line.
    level_mm : height of a laser's level line on the rib, or None. view : yaw, pitch, roll of the camera, degrees.
    """

    chord_deg: float = 1.7
    spar_deg: float = 90.4
    lean_deg: float = 0.6
    cards: tuple[tuple[str, int, float, float, float], ...] = (("panel", 1, -60.0, 80.0, 0.4),)
    strings: tuple[tuple[float, float], ...] = ((60.0, -15.0),)
    level_mm: float | None = None
    view: tuple[float, float, float] = (7.0, -5.0, 2.0)
    distance: float = 1250.0

    @property
    def axes(self) -> F64:
        """(3, 2): chord direction and up the rib, world."""
        lean = turn((1, 0, 0), self.lean_deg)
        level, up = lean @ [1, 0, 0], lean @ [0, 0, 1.0]
        # the chord line's inclination to the horizontal is chord_deg, so in the leaning plane it turns a hair more
        a = np.arcsin(np.sin(np.radians(self.chord_deg)) / np.cos(np.radians(self.lean_deg)))
        return np.stack([np.cos(a) * level + np.sin(a) * up, -np.sin(a) * level + np.cos(a) * up], axis=1)

    def pixels(self, world: F64, theta: F64 = THETA) -> F64:
        """(n, 2) pixels of world points (n, 3), by cv2.projectPoints."""
        yaw, pitch, roll = self.view
        to_camera = np.array([[1, 0, 0], [0, 0, -1], [0, 1, 0]], dtype=np.float64)
        r = turn((0, 0, 1), roll) @ turn((1, 0, 0), pitch) @ turn((0, 1, 0), yaw) @ to_camera
        k = np.array([[theta[0], 0, theta[2]], [0, theta[1], theta[3]], [0, 0, 1]])
        out, _ = cv2.projectPoints(
            world.reshape(-1, 1, 3), cv2.Rodrigues(r)[0], np.array([0, 0, self.distance]), k, theta[4:]
        )
        return np.asarray(out.reshape(-1, 2), dtype=np.float64)

    def on_rib(self, xz: F64) -> F64:
        """(n, 3) world of rib points (n, 2): mm along the chord and above it."""
        return np.asarray(xz @ self.axes.T, dtype=np.float64)

    def board(
        self,
        kind: str,
        along: float,
        above: float,
        turn_deg: float,
        points: F64,
        aspect: float = 0.0,
        slopes: F64 | None = None,
        shear: float = 0.0,
    ) -> F64:
        """(n, 3) world of a card's board points (n, 2): its middle at (along, above), turned in the plane.

        shear : rad by which the print's up leans to its right."""
        size = np.array(SPECS[kind].size_mm)  # type: ignore[index]
        p = points - size / 2
        lift = p @ slopes if slopes is not None else np.zeros(len(p))
        p = p * [1 + aspect / 2, 1 - aspect / 2]
        p = np.stack([p[:, 0] - shear * p[:, 1], p[:, 1]], axis=1)
        c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
        flat = np.stack([c * p[:, 0] + s * p[:, 1] + along, s * p[:, 0] - c * p[:, 1] + above], axis=1)
        into = np.cross(self.axes[:, 1], self.axes[:, 0])  # away from the camera
        return self.on_rib(flat) + lift[:, None] * into

    def lines(self) -> list[tuple[str, F64, str]]:
        """Role, (n, 3) world points and source of every line."""
        s = np.linspace(-1, 1, 60)[:, None]
        out = [("chord", self.on_rib(s * [480.0, 0.0]), "")]
        lean = turn((1, 0, 0), self.lean_deg)
        level, up = lean @ [1, 0, 0], lean @ [0, 0, 1.0]
        t = np.radians(self.spar_deg)
        spar = np.cos(t) * level + np.sin(t) * up
        out.append(("spar", self.on_rib(np.array([[200.0, 0.0]])) + s[:24] / 1 * 70 * spar, ""))
        for k, (x, y) in enumerate(self.strings):
            out.append(("plumb", np.array([x, y, 0.0]) + s * [0, 0, 350.0], f"string {k}"))
        if self.level_mm is not None:
            out.append(("level", s * 450 * level + self.level_mm * up, "laser"))
        return out

    def scene(
        self,
        rng: np.random.Generator | None = None,
        lens: Lens = LENS,
        u_lean: float = 0.3,
        own_deg: float = 0.02,
        seats: float = 0.1,
        aspect: float = 2.5e-3,
        shear: float = 1e-3,
        printed: tuple[float, float] = (0.0, 0.0),
        alike: np.random.Generator | None = None,
    ) -> Scene:
        """What is seen, exactly (rng None) or with every error drawn as the scene states it.

        aspect, shear : standard deviations of the print's stretch and shear. printed : what is known of them.
        alike : draws what all ribs of a photo share, lens and print, where it is not `rng`."""
        z = rng.standard_normal if rng is not None else lambda n=1: np.zeros(n)
        common = alike.standard_normal if alike is not None else z
        theta = lens.theta + common(len(lens.axes())) @ lens.axes()
        stretch = printed[0] + float(aspect * common(1)[0])
        lean_over = printed[1] + float(shear * common(1)[0])
        cards = []
        for kind, number, along, above, deg in self.cards:
            spec = SPECS[kind]  # type: ignore[index]
            points = spec.inner_corners()
            world = self.board(kind, along, above, deg, points, stretch, np.radians(seats) * z(2), lean_over)
            seen = self.pixels(world, theta)
            cards.append(
                Card(
                    spec,
                    number,
                    points,
                    seen + CORNER_PX * z(seen.size).reshape(seen.shape),
                    np.full(len(points), CORNER_PX),
                    np.empty((0, 2)),
                    np.eye(3),
                    2.0,
                    1.0,
                    80.0,
                )
            )
        lines = []
        for role, world, source in self.lines():
            if role == "plumb":  # the string hangs off by its own error, across the view
                world = world + np.outer(world[:, 2], [np.radians(own_deg) * z(1)[0], 0, 0])
            if role == "level":
                world = world + np.outer(world[:, 0], self.axes[:, 1] * np.radians(own_deg) * z(1)[0])
            px = self.pixels(world, theta)
            line = LineSeen(
                Role(role),
                px,
                np.full(len(px), LINE_PX),
                WAVE_PX if role in ("chord", "spar") else 0.0,
                REACH_PX,
                own_deg if source else 0.0,
                source,
                f"{role}'s own error",
            )
            d = px[-1] - px[0]
            across = np.array([-d[1], d[0]]) / np.hypot(*d)
            off = LINE_PX * z(len(px))
            if line.wave_px > 0:
                s = along_of(line)
                k = np.exp(-np.abs(s[:, None] - s) / REACH_PX) + 1e-10 * np.eye(len(s))
                off = off + line.wave_px * np.linalg.cholesky(k) @ z(len(s))
            lines.append(replace(line, pixels=px + off[:, None] * across))
        lean = Lean(self.lean_deg + u_lean * float(z(1)[0]), u_lean, "lean", -1.0)
        return Scene(lens, tuple(cards), tuple(lines), lean, "photo", aspect, "print", seats, *printed, shear)


def solved(scene: Scene) -> Solution:
    """The best of the solutions from both poses, as the reader finds them: cards first, then all."""
    alone = replace(scene, lines=(), lean=None)
    found = [solve(alone, s) for s in starts(alone)]
    return min((solve(scene, with_lines(scene, s.state)) for s in found), key=lambda s: s.cost)
