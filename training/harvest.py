"""From a photo and what is true of it to labelled strips."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from shared.numerics.arrays import F32, F64, I64, U8
from training.labels import TrueLine, label
from vision.evidence.strips import cut_strips
from vision.evidence.views import Photograph, View, level_view, upright_view
from vision.image.photo import Picture
from vision.image.rectified import Plane
from vision.lines.crossing import crossings

JITTER = 0.004
"""Standard deviation, in chords, of where the chord line is taken to lie when upright lines are cut out."""
SCALE = 40.0
"""Strips are kept as whole fortieths."""


@dataclass(frozen=True)
class Harvest:
    """Strips of one photo. strips : (n, channels, rows, columns) int8, SCALE times the values. family : (n,) 0 level, 1
    upright, 2 across the rib, 3 level on a rib behind. kinds, seen : as in `Labels`. gain : (n,) the candidates' own.
    rank : (n,)."""

    strips: NDArray[np.int8]
    family: U8
    kinds: I64
    seen: U8
    gain: F32
    rank: U8


def harvest(
    picture: Picture,
    plane: Plane,
    papers: list[F64],
    others: list[F64],
    scale: float,
    chord_mm: float,
    forward_right: bool,
    lines: list[TrueLine],
    rng: np.random.Generator,
) -> Harvest:
    """All candidates of a photo, cut and labelled. papers, others : see `level_view`. scale : pixels a mm."""
    photo = Photograph.of(picture, scale)
    parts = []
    own = next((t for t in lines if t.kind == "chord"), None)
    ends = None if own is None else plane.to_sheet(own.pixels[[0, -1]])
    view = level_view(photo, plane, papers, others, chord_mm)
    ring = np.concatenate(papers)
    middle = np.full(len(view.candidates), (ring[:, 0].min() + ring[:, 0].max()) / 2)
    parts.append(_part(0, view, lines, chord_mm, middle, forward_right))
    if ends is not None:
        ends = ends[np.argsort(ends[:, 0])] + rng.normal(0, JITTER * chord_mm, (2, 2)) * [1.0, 0.5]
        for k, across in ((1, False), (2, True)):
            view = upright_view(photo, plane, papers, others, chord_mm, ends, across)
            parts.append(_part(k, view, lines, chord_mm, crossings(view, ends), forward_right))
    return together(parts)


def harvest_behind(
    picture: Picture,
    plane: Plane,
    papers: list[F64],
    others: list[F64],
    scale: float,
    chord_mm: float,
    forward_right: bool,
    lines: list[TrueLine],
) -> Harvest:
    """The level candidates on a rib that stands behind another, in its own plane. Parameters as of `harvest`; lines : as
    they are to that rib."""
    view = level_view(Photograph.of(picture, scale), plane, papers, others, chord_mm)
    ring = np.concatenate(papers)
    middle = np.full(len(view.candidates), (ring[:, 0].min() + ring[:, 0].max()) / 2)
    return _part(3, view, lines, chord_mm, middle, forward_right)


def together(some: list[Harvest]) -> Harvest:
    """The strips of several ribs of a photo as one harvest."""
    return Harvest(*(np.concatenate([getattr(h, f.name) for h in some]) for f in fields(Harvest)))


def _part(family: int, view: View, lines: list[TrueLine], chord_mm: float, middle: F64, forward_right: bool) -> Harvest:
    c = view.candidates
    strips = cut_strips(view.raster, view.context, c, chord_mm, middle, forward_right)
    labels = label(view.raster, c, lines, chord_mm, middle, forward_right)
    return Harvest(
        np.rint(strips * SCALE).astype(np.int8),
        np.full(len(c), family, np.uint8),
        labels.kinds,
        labels.seen,
        c.gain.astype(np.float32),
        np.arange(len(c)).astype(np.uint8),
    )
