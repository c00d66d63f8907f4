"""What the overlay needs: cards, lines, marks, the plane's grid, in pixels of the photo."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from shared.lines import Role
from shared.numerics.arrays import F64
from shared.numerics.small_sums import cross, straight
from shared.reading import Evidence, Point, SeenCard, SeenLine, SeenMark
from vision.assess.doubts import KIND_IN_WORDS
from vision.cards.detect import Card
from vision.detect import Detections
from vision.evidence.kinds import KINDS
from vision.image.photo import Picture
from vision.image.rectified import Plane
from vision.lines.measure import Stroke
from vision.named.found import FoundLine
from vision.solution.solve import Solution

GRID_MM = 100.0
"""Spacing of the grid drawn on the rib plane: a length that everybody can judge by eye."""
NOT_LINES = KINDS.index("edge")
"""From this kind on a candidate is no line that could be taken for a reference."""


def show(
    picture: Picture, cards: tuple[Card, ...], solution: Solution | None = None, found: Detections | None = None
) -> Evidence:
    """Everything found so far, ready to be drawn.

    picture : as read. cards : all that were seen. solution, found : None where the reading ended before them.
    Coordinates in the result are pixels of the upright photo.
    """
    rms = solution.corner_rms if solution else (float("nan"),) * len(cards)
    seen = tuple(
        SeenCard(c.spec.kind, c.number, _points(c.at(c.spec.outline())), _points(c.pixels), _points(c.rejected), r)
        for c, r in zip(cards, rms, strict=True)
    )
    if found is None:
        return Evidence((picture.width, picture.height), seen)
    plane = found.plane
    lines = [_line(plane, line.role, s) for line, s in zip(found.lines, found.strokes, strict=True)]
    lines += [_named(plane, n.name, path, k, n) for n in found.named for k, path in enumerate(n.paths)]
    lines += _candidates(found)
    marks = tuple(_mark(found, m.pixel, m.mark.kind, m.sigma_px) for m in found.marks)
    grid, level = (
        ((), ())
        if found.chord_ends is None
        else (_grid(plane, found.chord_ends), _level(plane, solution, found.chord_ends))
    )
    return Evidence((picture.width, picture.height), seen, tuple(lines), marks, grid, level)


def _points(p: F64) -> tuple[Point, ...]:
    return tuple((x, y) for x, y in np.round(p, 2).tolist())


def _path(plane: Plane, a: F64, b: F64, count: int = 12) -> tuple[Point, ...]:
    k = np.linspace(0, 1, count)[:, None]
    return _points(plane.to_pixels(a + k * (b - a)))


def _line(plane: Plane, role: Role, s: Stroke) -> SeenLine:
    d = s.uv[-1] - s.uv[0]
    t = d / np.linalg.norm(d)
    mean = s.uv.mean(0)
    along = (s.uv - mean) @ t
    across = (s.uv - mean) @ np.array([-t[1], t[0]])
    k, m = straight(along, across)
    ends = [mean + t * x + np.array([-t[1], t[0]]) * (k * x + m) for x in (along.min(), along.max())]
    kept = float(s.kept.mean())
    return SeenLine(
        role,
        _path(plane, ends[0], ends[1]),
        s.width_mm,
        float(np.sqrt(np.mean((across - np.polyval((k, m), along)) ** 2)) * s.px_per_mm),
        True,
        "measured",
        (("segments used", float(s.kept.sum())), ("share used", kept), ("waviness, mm", s.waviness.size / s.px_per_mm)),
    )


def _named(plane: Plane, name: str, path: F64, k: int, found: FoundLine) -> SeenLine:
    if k < len(found.strokes):
        return replace(_line(plane, Role.NAMED, found.strokes[k]), name=name)
    return SeenLine(
        Role.NAMED, _path(plane, path[0], path[-1]), float("nan"), float("nan"), True, "measured", name=name
    )


RIVALS, LEAST_RIVAL = 4, 0.02
"""How many rivals of each family are shown at most, and how likely they must be to be anything but grain and edges. By
judgement: more would cover the picture. Changes nothing of the reading."""


def _candidates(found: Detections) -> list[SeenLine]:
    """The rivals of what was taken: for each, what the witness takes it for and how likely."""
    chosen = found.chord.chosen if found.chord else None
    rest = [r.belief for r in (found.chord.candidates if found.chord else ()) if r is not chosen]
    upright = found.gravity.weighed if found.gravity else ()
    used = found.gravity.strings if found.gravity else ()
    apart = [b for b in upright if all(abs(b.ends[:, 0].mean() - s.ends[:, 0].mean()) > 15 for s in used)]
    out = []
    for family in (rest, apart):
        likely = sorted(family, key=lambda b: -b.shares[:NOT_LINES].sum())[:RIVALS]
        for b in likely:
            if b.shares[:NOT_LINES].sum() < LEAST_RIVAL:
                continue
            order = sorted(zip(KINDS, b.shares.tolist(), strict=True), key=lambda kind: -kind[1])
            out.append(
                SeenLine(
                    Role.CANDIDATE,
                    _path(found.plane, *b.ends),
                    float("nan"),
                    float("nan"),
                    False,
                    f"{KIND_IN_WORDS[b.likeliest]}, probably",
                    tuple((KIND_IN_WORDS[k], round(p, 4)) for k, p in order if p > LEAST_RIVAL),
                )
            )
    return out


def _mark(found: Detections, pixel: F64, kind: str, sigma_px: float) -> SeenMark:
    s = found.strokes[0]
    uv = found.plane.to_sheet(pixel[None])[0]
    slope, at = straight(s.uv[:, 0], s.uv[:, 1])
    off = float((slope * uv[0] + at - uv[1]) / np.hypot(1, slope))
    if kind == "cross":
        return SeenMark("cross", _points(pixel[None])[0], float("nan"), float("nan"))
    return SeenMark("quartered", _points(pixel[None])[0], off, float(sigma_px / s.px_per_mm))


def _grid(plane: Plane, chord: F64) -> tuple[tuple[Point, ...], ...]:
    u0, u1 = np.floor(chord[:, 0].min() / GRID_MM) * GRID_MM, np.ceil(chord[:, 0].max() / GRID_MM) * GRID_MM
    mid = chord[:, 1].mean()
    v0, v1 = np.floor((mid - 200) / GRID_MM) * GRID_MM, np.ceil((mid + 150) / GRID_MM) * GRID_MM
    out = [_path(plane, np.array([u, v0]), np.array([u, v1]), 8) for u in np.arange(u0, u1 + 1, GRID_MM)]
    out += [_path(plane, np.array([u0, v]), np.array([u1, v]), 16) for v in np.arange(v0, v1 + 1, GRID_MM)]
    return tuple(out)


def _level(plane: Plane, solution: Solution | None, chord: F64) -> tuple[Point, ...]:
    """The rib plane's level line through the middle of the chord line."""
    if solution is None or not solution.scene.lines:
        return ()
    h = cross(solution.state.gravity, plane.normal)
    h = h / np.linalg.norm(h)
    d = np.array([float(h @ plane.along_u), float(h @ plane.along_v)])
    d = d if d[0] > 0 else -d
    half = 0.5 * float(np.linalg.norm(chord[1] - chord[0]))
    mid = chord.mean(0)
    return _path(plane, mid - half * d, mid + half * d)
