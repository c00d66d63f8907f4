"""Labels: where each line lies in the photo, and what of it is to be seen."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from shared.numerics.arrays import F64, Bools
from training.scenes.geometry import Camera, Pose, in_frame, project
from training.scenes.world import Line

Hit = Callable[[F64, F64], F64]
"""Distance to the first surface from points (n, 3) along unit directions (n, 3)."""


FEWEST = 3
"""Samples to be seen of a line for it to have a label."""


def label_lines(lines: list[Line], cam: Camera, pose: Pose, hit: Hit, sun: F64 | None) -> list[dict[str, Any]]:
    """The label of every line of which something is to be seen."""
    kept = [(line, p) for line in lines if (p := in_frame(cam, pose, line.points)) is not None]
    if not kept:
        return []
    points = np.concatenate([p for _, p in kept])
    away = points - pose.eye
    far = np.linalg.norm(away, axis=1)
    first = hit(np.broadcast_to(pose.eye, points.shape), away / far[:, None])
    out, at = [], 0
    for line, p in kept:
        part = slice(at, at + len(p))
        at += len(p)
        px = project(cam, pose, p)
        seen = first[part] >= far[part] - line.eps
        if line.solid:
            seen &= first[part] <= far[part] + line.eps + 0.5
        with np.errstate(invalid="ignore"):
            seen &= ((px > -0.5) & (px < [cam.width - 0.5, cam.height - 0.5])).all(1)
        seen &= ~painted_over(line, p)
        if line.shadow_of is not None and sun is not None:
            seen &= lit_but_for(line, p, sun, hit)
        if seen.sum() < FEWEST:
            continue
        out.append(
            {
                "kind": line.kind,
                "rib": line.rib,
                "note": line.note,
                "points": np.where(np.isfinite(px), np.round(px, 2), -1e4).tolist(),
                "visible": seen.astype(bool).tolist(),
            }
        )
    return out


def painted_over(line: Line, points: F64) -> Bools:
    """Which points lie in the line's hidden spans."""
    start, whole = line.points[0], line.points[-1] - line.points[0]
    t = (points - start) @ whole / float(whole @ whole)
    over = np.zeros(len(points), bool)
    for a, b in line.hidden:
        over |= (t > a) & (t < b)
    return over


def lit_but_for(line: Line, points: F64, sun: F64, hit: Hit) -> F64:
    """Which points of a shadow would be in the sun but for the thing that casts it.

    The caster is met first on the way to the sun: between the point and it is nothing.
    """
    assert line.shadow_of is not None
    back = hit(points - 0.3 * sun, np.broadcast_to(-sun, points.shape)) + 0.3
    a, b = line.shadow_of[0], line.shadow_of[-1]
    way = (b - a) / np.linalg.norm(b - a)
    # distance along the sun's ray to where it passes the caster closest
    cross = np.cross(way, sun)
    normal = np.cross(way, cross)
    reach = ((points - a) @ normal) / float(sun @ normal)
    return np.asarray(back > reach - 40.0 if line.kind == "edge" else np.abs(back - reach) < 4.0)
