"""How well the boards fill the picture and the angles they were held at; advice in words."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from shared.numerics.arrays import F64, I64

COLUMNS, ROWS = 16, 12
"""Cells the picture is divided into."""
EDGE = 0.27
"""Share of a side that counts as its corner or edge region."""
STEEP_DEG = 15.0

_ACROSS = ("left", "", "right")
_DOWN = ("upper", "", "lower")


@dataclass(frozen=True)
class Coverage:
    """Where the corners were.

    counts : (ROWS, COLUMNS) photos whose board covers the cell's middle. share : of cells covered at all.
    regions : photos with a corner in it, by name ("lower left corner", "right edge", "middle").
    tilts_deg : board normal against the line of sight, per view. reach_px : furthest corner from the
    principal point. advice : what to take more of; empty when all is well.
    """

    counts: I64
    share: float
    regions: dict[str, int]
    tilts_deg: tuple[float, ...]
    reach_px: float
    advice: tuple[str, ...]


def region_name(column: int, row: int) -> str:
    """Name of one of 3 x 3 regions of the picture."""
    if column == 1 and row == 1:
        return "middle"
    if column == 1:
        return f"{_DOWN[row]} edge"
    if row == 1:
        return f"{_ACROSS[column]} edge"
    return f"{_DOWN[row]} {_ACROSS[column]} corner"


def judge_coverage(
    pixels: list[F64], rotations: tuple[F64, ...], shifts: tuple[F64, ...], size: tuple[int, int], centre: F64
) -> Coverage:
    """Judge the used corners of each view (n, 2), pixels, and the boards' poses. centre : principal point."""
    w, h = size
    x = (np.arange(COLUMNS) + 0.5) / COLUMNS * w - 0.5
    y = (np.arange(ROWS) + 0.5) / ROWS * h - 0.5
    counts = np.zeros((ROWS, COLUMNS), dtype=np.int64)
    regions = {region_name(i, j): 0 for j in range(3) for i in range(3)}
    for p in pixels:
        hull = cv2.convexHull(p.astype(np.float32).reshape(-1, 1, 2))
        for j in range(ROWS):
            for i in range(COLUMNS):
                counts[j, i] += cv2.pointPolygonTest(hull, (float(x[i]), float(y[j])), False) >= 0
        column = np.where(p[:, 0] < EDGE * w, 0, np.where(p[:, 0] > (1 - EDGE) * w, 2, 1))
        row = np.where(p[:, 1] < EDGE * h, 0, np.where(p[:, 1] > (1 - EDGE) * h, 2, 1))
        for i, j in set(zip(column.tolist(), row.tolist(), strict=True)):
            regions[region_name(i, j)] += 1
    tilts = tuple(tilt_deg(r, t) for r, t in zip(rotations, shifts, strict=True))
    reach = max(float(np.linalg.norm(p - centre, axis=1).max()) for p in pixels)
    share = float((counts > 0).mean())
    return Coverage(counts, share, regions, tilts, reach, tuple(_advice(regions, tilts, rotations, len(pixels))))


def tilt_deg(r: F64, t: F64) -> float:
    """Angle between a board's normal and the line of sight to its middle, degrees, 0 to 90."""
    sight = t / np.linalg.norm(t)
    c = abs(float(r[:, 2] @ sight))
    return float(np.degrees(np.arctan2(np.sqrt(max(0.0, 1 - c * c)), c)))


def _advice(regions: dict[str, int], tilts: tuple[float, ...], rotations: tuple[F64, ...], n: int) -> list[str]:
    out = []
    empty = [name for name, k in regions.items() if k == 0]
    thin = [name for name, k in regions.items() if k == 1]
    if empty:
        out.append(f"nothing in the {_listed(empty)}: take two more there")
    if thin and n > 4:
        out.append(f"only one photo reaches the {_listed(thin)}: take one more there")
    steep = [r for r, tilt in zip(rotations, tilts, strict=True) if tilt >= STEEP_DEG]
    if len(steep) < 4:
        out.append(
            f"only {len(steep)} photos show the board at a slant of {STEEP_DEG:.0f} deg or more: take "
            f"four more, "
            "tilted some 30 deg left, right, towards you and away"
        )
    else:
        axes = np.array([r[:2, 2] * np.sign(r[2, 2] or 1) for r in steep])
        spread = np.linalg.svd(axes, compute_uv=False)
        if spread[1] < 0.25 * spread[0]:
            out.append("the board was tilted about one axis only: take two more tilted the other way")
    if max(tilts) > 0 and n < 10:
        out.append(f"{n} photos are few: a dozen make a better profile")
    return out


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]
