"""The rib's face: its outline, its material, its number."""

from __future__ import annotations

import cv2
import numpy as np

from shared.numerics.arrays import F32, F64, U8
from shop.canvas import Canvas
from shop.outline import naca_four_digit
from shop.planes import Plane
from shop.scene import Scene

TONES = {
    "ply": (0.78, 0.63, 0.43),
    "balsa": (0.86, 0.78, 0.62),
    "foam": (0.62, 0.74, 0.83),
    "carbon": (0.055, 0.055, 0.06),
    "white": (0.85, 0.85, 0.83),
}
_HOLES = ((0.16, 0.024), (0.47, 0.028), (0.60, 0.022), (0.72, 0.014))


class Face:
    """The rib face on the canvas: its plane, its mask, and places on it."""

    def __init__(self, canvas: Canvas, scene: Scene, plane: Plane) -> None:
        self.canvas, self.scene, self.plane = canvas, scene, plane
        x, self.upper, self.lower = naca_four_digit(scene.naca)
        if scene.plate_mm is not None:
            high = 0.5 * scene.plate_mm / scene.chord_mm
            x, self.upper, self.lower = np.array([0.0, 1.0]), np.array([high, high]), np.array([-high, -high])
        self.x = x
        c = scene.chord_mm
        ring = np.concatenate(
            [
                np.stack([self.across(x), self.upper * c], 1),
                np.stack([self.across(x), self.lower * c], 1)[::-1],
            ]
        )
        self.mask: U8 = canvas.fill(plane.pixels(canvas.pose, canvas.camera, ring))
        self.box = canvas.box(plane.pixels(canvas.pose, canvas.camera, ring), 2)
        if scene.holes:
            self._holes()

    def across(self, fraction: F64 | float) -> F64:
        """Plane x, mm, of fractions of the chord from the leading edge."""
        return np.asarray(self.scene.forward * self.scene.chord_mm * (0.5 - np.asarray(fraction)), dtype=np.float64)

    def at(self, place: tuple[float, float]) -> F64:
        """Plane point (2,), mm, of (fraction of the chord, mm above it)."""
        return np.array([float(self.across(place[0])), place[1]])

    def height(self, fraction: float, upper: bool) -> float:
        """Outline's height over the chord line at a fraction of the chord, mm."""
        return float(np.interp(fraction, self.x, self.upper if upper else self.lower)) * self.scene.chord_mm

    def _holes(self) -> None:
        taken = [(k.at, 0.13 if k.kind == "panel" else 0.11) for k in self.scene.cards]
        for at, radius in _HOLES:
            top, r = self.height(at, True), radius * self.scene.chord_mm
            if r > top * 0.40 or any(abs(at - t) < reach for t, reach in taken):
                continue
            a = np.linspace(0, 2 * np.pi, 60, endpoint=False)
            ring = self.at((at, top * 0.55)) + r * np.stack([np.cos(a), np.sin(a)], 1)
            self.canvas.fill(self.plane.pixels(self.canvas.pose, self.canvas.camera, ring), 0.0, self.mask)


def draw_surface(face: Face, rng: np.random.Generator) -> None:
    """Paint the material, with its grain along the chord."""
    if face.box is None:
        return
    x0, y0, x1, y1 = face.box
    x, z = face.plane.from_rays(face.canvas.pose, face.canvas.rays.grid(face.box))
    c = face.scene.chord_mm
    u, v = np.nan_to_num(x + 0.6 * c).astype(np.float32), np.nan_to_num(z + 0.3 * c).astype(np.float32)

    def noise(along: float, up: float) -> F32:
        size = (max(4, int(0.6 * c / up)), max(4, int(1.2 * c / along)))
        return np.asarray(
            cv2.remap(
                rng.standard_normal(size, dtype=np.float32),
                u / np.float32(along),
                v / np.float32(up),
                cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_REFLECT,
            ),
            np.float32,
        )

    shade = 1 + face.scene.grain * (0.03 * noise(50, 50) + 0.008 * noise(0.5, 0.5))
    if face.scene.surface in ("ply", "balsa"):
        shade += face.scene.grain * (0.03 * noise(83, 0.4) + 0.035 * noise(150, 1.2))
    elif face.scene.surface == "carbon":
        shade += 0.10 * np.sign(np.sin(np.pi * u / 2) * np.sin(np.pi * v / 2))
    tone = np.array(TONES[face.scene.surface], np.float32)
    face.canvas.blend(face.box, face.mask[y0:y1, x0:x1] / np.float32(255), np.clip(shade, 0.05, 1.2)[..., None] * tone)


def draw_label(face: Face) -> None:
    """Write the rib's number with a soft pen."""
    scale = 4.0
    ink = np.zeros((int(40 * scale), int(70 * scale)), np.uint8)
    cv2.putText(
        ink,
        face.scene.label,
        (int(4 * scale), int(30 * scale)),
        cv2.FONT_HERSHEY_SCRIPT_SIMPLEX,
        0.85 * scale,
        255,
        int(scale),
        cv2.LINE_AA,
    )
    centre = face.at((0.20, 0.05 * face.scene.chord_mm))
    outline = face.plane.pixels(
        face.canvas.pose, face.canvas.camera, centre + np.array([[-35, -20], [35, -20], [35, 20], [-35, 20]])
    )
    box = face.canvas.box(outline, 2)
    if box is None:
        return
    x, z = face.plane.from_rays(face.canvas.pose, face.canvas.rays.grid(box))
    column, row = (x - centre[0] + 35) * scale, (20 - (z - centre[1])) * scale
    alpha = (
        cv2.remap(
            ink,
            np.nan_to_num(column).astype(np.float32),
            np.nan_to_num(row).astype(np.float32),
            cv2.INTER_LINEAR,
        ).astype(np.float64)
        / 255.0
    )
    face.canvas.blend(box, alpha * (face.mask[box[1] : box[3], box[0] : box[2]] / 255.0) * 0.75, (0.15, 0.15, 0.22))
