"""Short straight pieces of what is drawn and stuck on a rib, and how they look in a photo."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shared.numerics.arrays import F64, U8
from vision.cards.detect import Card
from vision.cards.edges import TRIM, inner_edges
from vision.image.rectified import Plane
from vision.live.shifts import Shift, strip_shifts, strips


@dataclass(frozen=True)
class Pieces:
    """Short straight pieces on the rib face. a, b : (n, 2) sheet mm. first : (n, k) profiles in the first photo.
    place : (n,) mm along the chord line. half : of a profile, pixels."""

    a: F64
    b: F64
    first: F64
    place: F64
    half: int


def chord_pieces(gray: U8, plane: Plane, ends: F64, kept: F64, scale: float) -> Pieces:
    """Of the chord line, between its ends (2, 2) sheet mm, wherever it was measured: `kept` (n, 2) sheet mm.

    gray : the first photo (h, w). plane : of the rib in it. scale : pixels a mm.
    """
    length = float(np.linalg.norm(ends[1] - ends[0]))
    count = int(np.clip(length / max(4.0, length / 90), 24, 90))
    way = (ends[1] - ends[0]) / length
    edges = ends[0] + np.linspace(0, length, count + 1)[:, None] * way
    place = (np.linspace(0, length, count + 1)[1:] + np.linspace(0, length, count + 1)[:-1]) / 2
    seen = (kept - ends[0]) @ way
    ok = np.abs(place[:, None] - seen[None, :]).min(1) < 0.75 * length / count
    return _made(gray, plane, edges[:-1][ok], edges[1:][ok], place[ok], int(np.clip(round(3.2 * scale), 7, 12)), scale)


def card_pieces(gray: U8, plane: Plane, card: Card) -> Pieces:
    """The edges between a card's squares.

    gray, plane : as for `chord_pieces`. card : whose edges they are.
    """
    a, b, _ = inner_edges(card.spec)
    a, b = a + TRIM * (b - a), b - TRIM * (b - a)
    half = int(np.clip(0.9 * card.spec.margin_mm * card.px_per_mm, 3, 8))
    return _made(
        gray, plane, plane.to_sheet(card.at(a)), plane.to_sheet(card.at(b)), np.zeros(len(a)), half, card.px_per_mm
    )


def _made(gray: U8, plane: Plane, a: F64, b: F64, place: F64, half: int, scale: float) -> Pieces:
    steps = max(4, round(float(np.linalg.norm(b - a, axis=1).mean()) * scale))
    first, inside = strips(gray, run(plane, a, b, steps), half)
    return Pieces(a[inside], b[inside], first[inside], place[inside], half)


def run(plane: Plane, a: F64, b: F64, steps: int) -> F64:
    """(n, steps, 2) pixels along pieces from a to b, (n, 2) sheet mm.

    plane : of the rib. steps : points along each piece.
    """
    t = (np.arange(steps) + 0.5) / steps if steps > 2 else np.array([0.0, 1.0])
    return plane.to_pixels((a[:, None] + t[:, None] * (b - a)[:, None]).reshape(-1, 2)).reshape(len(a), -1, 2)


def look_for(gray: U8, before: Plane, plane: Plane, p: Pieces) -> Shift:
    """How far each piece lies, across itself, from where it would be with the rib plane at `plane`; `before` : the
    plane in the first photo.

    gray : the later photo (h, w). p : pieces with their profiles in the first photo.
    """
    length = float(np.linalg.norm(p.b - p.a, axis=1).mean())
    scale = float(np.linalg.norm(np.diff(before.to_pixels(np.array([[0.0, 0], [1, 0]])), axis=0)))
    values, inside = strips(gray, run(plane, p.a, p.b, max(4, round(length * scale))), p.half)
    got = strip_shifts(p.first, values)
    good = got.good & inside
    return Shift(np.where(good, got.px, 0.0), np.where(good, got.sigma_px, np.inf), good)
