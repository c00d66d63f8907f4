"""What stands in front of the camera, before it goes to the ray tracer: meshes in a few lots, and labelled lines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from shared.numerics.arrays import F32, F64, I64, U8

Image = F32
Rgb = Sequence[float]


def as_image(x: Any) -> Image:
    """A picture of float32, whatever OpenCV's types say."""
    return np.asarray(x, np.float32)


@dataclass(frozen=True)
class Line:
    """A straight thing in space. kind, rib : as in the label. points : polyline (m, 3), mm.

    eps : how far before a sample the thing's own surface may lie, mm. hidden : spans (from, to; parts of the length)
    that are painted over. solid : the ray to a sample ends on the thing itself (False for outer edges, which a ray may
    just miss). shadow_of : for a cast shadow, the points (m, 3) that cast it.
    """

    kind: str
    rib: int | None
    points: F64
    eps: float = 0.5
    hidden: tuple[tuple[float, float], ...] = ()
    shadow_of: F64 | None = None
    note: str = ""
    solid: bool = True


@dataclass(frozen=True)
class Plate:
    """A mesh with a picture on it. points (n, 3), uv (n, 2), faces (m, 3); image : linear light, (h, w) or (h, w, 3)."""

    points: F64
    uv: F64
    faces: I64
    image: Image | U8
    glossy: bool = False


@dataclass
class Lamp:
    """A rectangle that shines. centre, target : mm. half : half sizes. light : radiance, rgb."""

    centre: F64
    target: F64
    half: tuple[float, float]
    light: Rgb


@dataclass
class Soup:
    """Triangles of plain colours, all in one mesh, so that any number of things costs the ray tracer the same."""

    points: list[F64] = field(default_factory=list)
    normals: list[F64] = field(default_factory=list)
    colours: list[F64] = field(default_factory=list)
    faces: list[I64] = field(default_factory=list)
    count: int = 0

    def add(self, points: F64, normals: F64, faces: I64, rgb: Rgb | F64) -> None:
        """Triangles with normals and a colour, or one colour a vertex."""
        points = np.asarray(points, float)
        self.points.append(points)
        self.normals.append(np.asarray(normals, float))
        self.colours.append(np.broadcast_to(np.asarray(rgb, float), points.shape))
        self.faces.append(np.asarray(faces, np.int64) + self.count)
        self.count += len(points)

    def quad(self, a: F64, b: F64, c: F64, d: F64, rgb: Rgb) -> None:
        """A flat four-corner face, corners in turn."""
        p = np.array([a, b, c, d], float)
        n = np.cross(p[1] - p[0], p[3] - p[0])
        self.add(p, np.tile(n / max(float(np.linalg.norm(n)), 1e-9), (4, 1)), np.array([[0, 1, 2], [0, 2, 3]]), rgb)

    def box(self, centre: F64, half: Sequence[float], rgb: Rgb, axes: F64 | None = None) -> None:
        """A cuboid. axes : rows are its own x, y, z directions."""
        m = np.eye(3) if axes is None else axes
        for k in range(3):
            u, v = m[(k + 1) % 3] * half[(k + 1) % 3], m[(k + 2) % 3] * half[(k + 2) % 3]
            for sign in (-1.0, 1.0):
                o = np.asarray(centre, float) + sign * m[k] * half[k]
                self.quad(o - u - sign * v, o + u - sign * v, o + u + sign * v, o - u + sign * v, rgb)

    def tube(self, path: F64, radius: float | F64, rgb: Rgb | F64, sides: int = 12) -> None:
        """A round tube along a path (m, 3). radius : one, or one a point. rgb : one colour, or (m, 3)."""
        path = np.asarray(path, float)
        r = np.broadcast_to(np.asarray(radius, float), len(path))
        t = np.gradient(path, axis=0)
        t /= np.linalg.norm(t, axis=1, keepdims=True)
        ref = np.array([0, 1.0, 0]) if abs(t[0, 1]) < 0.9 else np.array([1.0, 0, 0])
        u = np.cross(t, ref)
        u /= np.linalg.norm(u, axis=1, keepdims=True)
        w = np.cross(t, u)
        a = np.linspace(0, 2 * np.pi, sides, endpoint=False)
        n = u[:, None] * np.cos(a)[None, :, None] + w[:, None] * np.sin(a)[None, :, None]
        p = path[:, None] + n * r[:, None, None]
        i, j = np.meshgrid(np.arange(len(path) - 1), np.arange(sides), indexing="ij")
        q = [i * sides + j, i * sides + (j + 1) % sides, (i + 1) * sides + (j + 1) % sides, (i + 1) * sides + j]
        faces = np.concatenate([np.stack([q[0], q[k], q[k + 1]], -1).reshape(-1, 3) for k in (1, 2)])
        c = np.asarray(rgb, float)
        self.add(p.reshape(-1, 3), n.reshape(-1, 3), faces, c if c.ndim == 1 else np.repeat(c, sides, 0))

    def ball(self, centre: F64, radius: float | Sequence[float], rgb: Rgb) -> None:
        """A ball, or an ellipsoid with three half axes."""
        a, b = np.linspace(0, np.pi, 13), np.linspace(0, 2 * np.pi, 20, endpoint=False)
        n = np.stack(
            [np.outer(np.sin(a), np.cos(b)), np.outer(np.sin(a), np.sin(b)), np.outer(np.cos(a), np.ones(20))], -1
        )
        i, j = np.meshgrid(np.arange(12), np.arange(20), indexing="ij")
        q = [i * 20 + j, i * 20 + (j + 1) % 20, (i + 1) * 20 + (j + 1) % 20, (i + 1) * 20 + j]
        faces = np.concatenate([np.stack([q[0], q[k], q[k + 1]], -1).reshape(-1, 3) for k in (1, 2)])
        half = np.broadcast_to(np.asarray(radius, float), 3)
        slope = (n / half).reshape(-1, 3)
        slope /= np.linalg.norm(slope, axis=1, keepdims=True)
        self.add((np.asarray(centre) + n * half).reshape(-1, 3), slope, faces, rgb)


@dataclass
class World:
    """Everything in one photo. sun : direction the sunlight travels, or None; sky : ambient light, rgb."""

    matt: Soup = field(default_factory=Soup)
    shiny: Soup = field(default_factory=Soup)
    plates: list[Plate] = field(default_factory=list)
    lamps: list[Lamp] = field(default_factory=list)
    lines: list[Line] = field(default_factory=list)
    sun: F64 | None = None
    sun_light: Rgb = (0.0, 0.0, 0.0)
    sky: Rgb = (0.22, 0.22, 0.22)
    laser_z: float | None = None
    laser_rgb: Rgb = (0.0, 0.0, 0.0)
    laser_mm: float = 0.55
