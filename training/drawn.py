"""Labelled photos of the drawn simulator (`benchmarks/shop`): good scenes and decoys, with every line that it knows of."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from shop.camera import Pose
from shop.draw import pose_of
from shop.levels import laser_line, string_ends
from shop.outline import naca_four_digit
from shop.planes import Plane, rib_plane, upright_plane
from shop.scene import Scene
from shop.sheets import card_sheet

from shared.numerics.arrays import F64

SAMPLES = 65
TICKS = (0.12, 0.42, 0.66)
"""Where the simulator draws stringer ticks, fractions of the chord."""


def lines_of(scene: Scene) -> list[dict[str, Any]]:
    """Records {kind, rib, points, visible} as `training.labels.TrueLine.of` reads them."""
    return _Lines(scene).records


class _Lines:
    """Collects the records of one scene."""

    def __init__(self, scene: Scene) -> None:
        self.scene, self.pose, self.camera = scene, pose_of(scene), scene.camera
        self.plane = rib_plane(scene.chord_deg, scene.forward, scene.lean_deg)
        self.records: list[dict[str, Any]] = []
        self.covers = self._covers()
        self.face = self._face()
        if scene.rib:
            self._rib()
        self._levels()

    def _face(self) -> F64:
        """The rib's outline, pixels (n, 2)."""
        s = self.scene
        x, up, low = naca_four_digit(s.naca)
        across = s.forward * s.chord_mm * (0.5 - x)
        ring = np.concatenate([np.stack([across, up * s.chord_mm], 1), np.stack([across, low * s.chord_mm], 1)[::-1]])
        return self.plane.pixels(self.pose, self.camera, ring)

    def _covers(self) -> list[F64]:
        """Outlines, pixels, of what lies on the rib face: cards, spots, bars."""
        s, out = self.scene, []
        for card in s.cards:
            _, w, h = card_sheet(card.kind, card.number)
            above = h / 2 + 9 if card.above_mm is None else card.above_mm
            turn = card.turn_deg + (0.0 if s.forward > 0 else 180.0)
            sheet = self.plane.turned((float(self._across(card.at)), above), turn)
            corners = np.array([[-w, -h], [w, -h], [w, h], [-w, h]]) / 2
            out.append(sheet.pixels(self.pose, self.camera, corners))
        for spot in s.spots:
            x, (w, h) = float(self._across(spot.at[0])), spot.size_mm
            corners = np.array([[-w, -h], [w, -h], [w, h], [-w, h]]) / 2 + [x, spot.at[1]]
            out.append(self.plane.pixels(self.pose, self.camera, corners))
        for bar in s.bars:
            corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [bar.length_mm / 2, bar.width_mm / 2]
            plane = upright_plane(-bar.gap_mm).turned((bar.x_mm, bar.z_mm), bar.tilt_deg)
            out.append(plane.pixels(self.pose, self.camera, corners))
        return out

    def _across(self, fraction: float) -> float:
        return self.scene.forward * self.scene.chord_mm * (0.5 - fraction)

    def _at(self, place: tuple[float, float]) -> F64:
        return np.array([self._across(place[0]), place[1]])

    def _add(self, kind: str, points: F64, where: str, rib: int | None = None) -> None:
        """where : "on" the rib face, "before" it, "behind" it."""
        pose: Pose = self.pose
        ahead = pose.to_camera(points)[:, 2] > 20
        px = np.full((len(points), 2), np.nan)
        px[ahead] = pose.project(points[ahead], self.camera)
        with np.errstate(invalid="ignore"):
            seen = np.asarray(((px > 0) & (px < [self.camera.width - 1, self.camera.height - 1])).all(1))
        for k in np.flatnonzero(seen):
            p = (float(px[k, 0]), float(px[k, 1]))
            inside = cv2.pointPolygonTest(self.face.astype(np.float32), p, False) >= 0
            covered = any(cv2.pointPolygonTest(c.astype(np.float32), p, False) >= 0 for c in self.covers)
            if where == "on":
                seen[k] = inside and not covered
            elif where == "behind":
                seen[k] = not inside and not covered
        if seen.sum() >= 3:
            self.records.append({"kind": kind, "rib": rib, "points": px, "visible": seen})

    def _on_plane(self, kind: str, plane: Plane, a: F64, b: F64, where: str, rib: int | None = None) -> None:
        self._add(kind, plane.world(a + np.linspace(0, 1, SAMPLES)[:, None] * (b - a)), where, rib)

    def _rib(self) -> None:
        s, c = self.scene, self.scene.chord_mm
        if s.chord_pen is not None:
            ends = self._at((s.chord_from[1], 0.0)), self._at((s.chord_from[0], 0.0))
            self._on_plane("chord", self.plane, *ends, "on", 0)
        if s.spar_deg is not None:
            turn = np.radians(s.spar_deg - 90.0 - s.chord_deg)
            d = np.array([-s.forward * np.sin(turn), np.cos(turn)])
            x, up, low = naca_four_digit(s.naca)
            top, foot = (float(np.interp(s.spar_at, x, k)) * c for k in (up, low))
            at = self._at((s.spar_at, 0.0))
            self._on_plane("spar", self.plane, at + d * foot / d[1], at + d * top / d[1], "on", 0)
        for line in s.lines:
            self._on_plane("pen", self.plane, self._at(line.a), self._at(line.b), "on", 0)
        for board in s.boards:
            a, b = self._at(board.a), self._at(board.b)
            t = (b - a) / np.linalg.norm(b - a)
            q = np.array([-t[1], t[0]]) * board.width_mm / 2
            for side in (q, -q):
                self._on_plane("edge", self.plane, a + side, b + side, "on", 0)
        for tick in TICKS:
            self._on_plane("pen", self.plane, self._at((tick, 0.01 * c)), self._at((tick, 0.03 * c)), "on", 0)

    def _levels(self) -> None:
        s = self.scene
        step = np.linspace(0, 1, SAMPLES)[:, None]
        for string in s.strings:
            low, top = string_ends(string, s)
            before = string.gap_mm > 0
            plumb = before and abs(string.sway_deg) < 0.3
            near = top if top[2] < 1500 else low + (top - low) * (1500 - low[2]) / (top[2] - low[2])
            self._add("string" if plumb else "rod", low + step * (near - low), "before" if before else "behind", 0)
            if before and string.shadow > 0.05 and s.rib:
                self._shadow(low, near)
        for cord in s.cords:
            a, b = np.array(cord.a), np.array(cord.b)
            self._add("rod", a + step * (b - a), "behind" if cord.behind else "before")
        for bar in s.bars:
            plane = upright_plane(-bar.gap_mm).turned((bar.x_mm, bar.z_mm), bar.tilt_deg)
            for z in (bar.width_mm / 2, -bar.width_mm / 2):
                ends = np.array([-bar.length_mm / 2, z]), np.array([bar.length_mm / 2, z])
                self._on_plane("straightedge", plane, *ends, "before")
        if s.laser is not None:
            self._on_plane("laser", self.plane, *laser_line(s.laser, self.plane, 0.7 * s.chord_mm), "on", 0)
            self._on_plane(
                "laser", upright_plane(s.wall_mm), *laser_line(s.laser, upright_plane(s.wall_mm), 1500.0), "behind"
            )

    def _shadow(self, low: F64, top: F64) -> None:
        """The string's shadow on the rib; the sun is the first thing that `shop.draw` draws by chance."""
        rng = np.random.default_rng([self.scene.seed, 0])
        sun = np.array([rng.uniform(-0.6, 0.6), 1.0, -rng.uniform(0.4, 1.1)])
        ends = []
        for point in (low, top):
            gap = float((self.plane.origin - point) @ self.plane.normal) / float(sun @ self.plane.normal)
            landed = point + gap * sun - self.plane.origin
            ends.append(np.array([landed @ self.plane.ex, landed @ self.plane.ez]))
        self._on_plane("string_shadow", self.plane, ends[0], ends[1], "on", 0)
