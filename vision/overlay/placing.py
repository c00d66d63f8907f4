"""Where labels go: off each other, off the lines, inside the picture."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from shared.numerics.arrays import F64, Box


class Occupancy:
    """Keeps what is taken on a picture of `size` (width, height): boxes of labels, points of lines."""

    def __init__(self, size: tuple[int, int]) -> None:
        self.size = size
        self.boxes: list[Box] = []
        self.points: list[F64] = []

    def avoid(self, points: F64) -> None:
        """Labels should keep off this polyline.

        points : (n, 2) pixels.
        """
        if len(points) < 2:
            return
        where = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
        at = np.linspace(0, where[-1], max(2, int(where[-1] / 8)))
        self.points.append(np.stack([np.interp(at, where, points[:, k]) for k in (0, 1)], axis=1))

    def keep_clear(self, points: F64) -> None:
        """Labels should keep off the box round these points."""
        if len(points):
            self.boxes.append((*points.min(axis=0), *points.max(axis=0)))

    def place(self, wanted: Iterable[tuple[float, float]], extent: tuple[float, float]) -> tuple[float, float]:
        """The best upper left corner for a label, of those wanted (earlier ones preferred), and take it.

        wanted : (x, y) pixels of upper left corners. extent : width and height, pixels.
        """
        best, least = (0.0, 0.0), np.inf
        points = np.concatenate(self.points) if self.points else np.zeros((0, 2))
        for rank, corner in enumerate(wanted):
            x, y = self._inside(corner, extent)
            box = (x, y, x + extent[0], y + extent[1])
            covered = np.count_nonzero(
                (points[:, 0] > box[0]) & (points[:, 0] < box[2]) & (points[:, 1] > box[1]) & (points[:, 1] < box[3])
            )
            cost = (
                rank
                + 4.0 * covered
                + 2.0 * sum(_overlap(box, b) for b in self.boxes)
                + 0.2 * (abs(x - corner[0]) + abs(y - corner[1]))
            )
            if cost < least:
                best, least = (x, y), cost
        self.boxes.append((best[0], best[1], best[0] + extent[0], best[1] + extent[1]))
        return best

    def _inside(self, corner: tuple[float, float], extent: tuple[float, float]) -> tuple[float, float]:
        x, y = (min(max(c, 4.0), max(s - e - 4.0, 4.0)) for c, s, e in zip(corner, self.size, extent, strict=True))
        return x, y


def beside(points: F64, extent: tuple[float, float], gap: float) -> list[tuple[float, float]]:
    """Corners for a label beside a polyline: along it at several places, on either side.

    points : (n, 2) pixels. extent : width and height of the label. gap : between both, pixels. Upper left corners,
    the best first.
    """
    w, h = extent
    spots = []
    for share in (0.5, 0.3, 0.7, 0.15, 0.85, 0.02, 0.98):
        x, y = points[min(int(share * len(points)), len(points) - 1)]
        steep = abs(points[-1, 1] - points[0, 1]) > abs(points[-1, 0] - points[0, 0])
        if steep:
            spots += [(x + gap, y - h / 2), (x - gap - w, y - h / 2)]
        else:
            spots += [
                (x - w / 2, y - gap - h),
                (x - w / 2, y + gap),
                (x - w / 2, y - 2.5 * gap - 2 * h),
                (x - w / 2, y + 2.5 * gap + h),
            ]
    return spots


def leader(corner: tuple[float, float], extent: tuple[float, float], points: F64, beyond: float) -> F64:
    """A line (2, 2) from a label to the nearest point of its polyline; (0, 2) where it is close enough.

    corner : upper left, pixels. extent : width and height. points : (n, 2) pixels. beyond : distance from which a
    leader is drawn.
    """
    low = np.array(corner)
    nearest = np.clip(points, low, low + np.array(extent))
    away = np.linalg.norm(points - nearest, axis=1)
    k = int(np.argmin(away))
    return np.stack([nearest[k], points[k]]) if away[k] > beyond else np.zeros((0, 2))


def _overlap(a: Box, b: Box) -> float:
    w = min(a[2], b[2]) - max(a[0], b[0])
    h = min(a[3], b[3]) - max(a[1], b[1])
    return w * h if w > 0 and h > 0 else 0.0
