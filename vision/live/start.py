"""The first photo of a camera that stands still, ready for later ones to be compared with."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from shared.numerics.arrays import F64, U8
from shared.quantity import Quantity
from vision.cards.detect import Card
from vision.image.photo import Picture
from vision.image.rectified import Plane
from vision.live.pieces import Pieces, card_pieces, chord_pieces
from vision.live.stillness import Background, find_background
from vision.readings import Seen
from vision.solution.scene import State, direction_in_plane, move, slots, theta_of
from vision.solution.solve import Solution

CLEAR_MM = 10.0
"""How far from a string or a level line a piece of the rib must lie: they stay where they are while the rib turns, and
a laser's light, however faint, would hold the piece back."""
LEAST_LINE, LEAST_EDGES = 12, 8
"""Pieces of the chord line and of the cards' edges that must be left. By judgement: half of the fewest pieces that a
chord line is cut into, and the edges of two squares of a card."""


@dataclass(frozen=True)
class Start:
    """The first photo, ready to be compared with. value : its chord angle in full. centre : (3,) mid chord, camera
    frame, mm. forward : (3,) unit, along the chord line to the leading edge. geometry : planes that the first photo
    would have given, one standard deviation off along each of its axes, with `up`."""

    name: str
    ident: str
    value: Quantity
    plane: Plane
    up: F64
    centre: F64
    forward: F64
    chord: Pieces
    cards: tuple[Pieces, ...]
    background: Background
    size: tuple[int, int]
    found: tuple[Card, ...]
    geometry: tuple[tuple[Plane, F64, F64], ...]


def begin(picture: Picture, seen: Seen, chord_mm: float) -> Start:
    """Make a photo that was read in full the start. Raises ValueError where it has no chord angle, or where a string or
    a level line leaves too little of the chord line or the cards to follow.

    picture : the first photo. seen : its reading with solution and lines (`vision.reader.read_fully`). chord_mm : of
    the rib.
    """
    if seen.solution is None or seen.found is None or seen.reading.chord.quantity is None:
        raise ValueError("the first photo has no chord angle")
    solution, stroke = seen.solution, seen.found.strokes[0]
    own = solution.scene.cards
    plane, up, forward = _geometry(solution, solution.state)
    ends = plane.to_sheet(stroke.pixels[[0, -1]])
    scale = float(np.median([c.px_per_mm for c in own]))
    gray = picture.gray
    still = [plane.to_sheet(line.pixels[[0, -1]]) for line in seen.found.lines if line.role.is_reference]
    chord = _clear_of(still, chord_pieces(gray, plane, ends, plane.to_sheet(stroke.pixels), scale), scale)
    cleared = (_clear_of(still, card_pieces(gray, plane, c), c.px_per_mm) for c in own)
    edges = tuple(e for e in cleared if len(e.a))
    if len(chord.a) < LEAST_LINE or sum(len(e.a) for e in edges) < LEAST_EDGES:
        what = "the chord line" if len(chord.a) < LEAST_LINE else "the cards"
        raise ValueError(
            f"a string or level line lies within {CLEAR_MM:.0f} mm of nearly all of {what} and would hold back "
            "what is seen of the rib's turn: move it away by more"
        )
    middle = ends.mean(0)
    centre = plane.origin + middle[0] * plane.along_u + middle[1] * plane.along_v
    return Start(
        picture.name,
        picture.sha256[:12],
        seen.reading.chord.quantity,
        plane,
        up,
        centre,
        forward,
        chord,
        edges,
        find_background(gray, _keep_out(gray, plane, ends, chord_mm, seen)),
        (picture.width, picture.height),
        own,
        _other_geometries(solution),
    )


def _clear_of(lines: list[F64], p: Pieces, scale: float) -> Pieces:
    """The pieces whose profiles keep clear of straight lines (2, 2) sheet mm, drawn out beyond their ends."""
    keep = np.ones(len(p.a), dtype=bool)
    for a, b in lines:
        way = (b - a) / np.linalg.norm(b - a)
        off = np.stack([(end - a) @ np.array([-way[1], way[0]]) for end in (p.a, p.b)])
        keep &= (np.abs(off).min(0) > CLEAR_MM + p.half / scale) & (off[0] * off[1] > 0)
    return Pieces(p.a[keep], p.b[keep], p.first[keep], p.place[keep], p.half)


def _geometry(solution: Solution, state: State) -> tuple[Plane, F64, F64]:
    """Sheet plane, up and the chord line's direction to the leading edge, of a state of the solution."""
    scene = solution.scene
    middle = np.array([*(np.array(scene.cards[0].spec.size_mm) / 2), 0.0])
    plane = Plane.from_pose(state.rotation, state.rotation @ middle + state.shift, theta_of(scene, state.z))
    d = direction_in_plane(plane.normal, state.planes[0])
    return plane, -state.gravity, d if d @ state.rotation[:, 0] > 0 else -d


def _other_geometries(solution: Solution) -> tuple[tuple[Plane, F64, F64], ...]:
    """The principal axes of the solution's covariance, one standard deviation along each of the larger ones."""
    at = slots(solution.scene, solution.state)
    keep = np.r_[np.arange(at.z.start, at.shift.stop), np.arange(at.gravity.start, at.gravity.stop)]
    covariance = solution.gain @ solution.gain.T
    scaled = np.sqrt(np.maximum(np.diag(covariance), 1e-30))
    values, vectors = np.linalg.eigh(covariance / np.outer(scaled, scaled))
    out = []
    for v, axis in sorted(zip(values, vectors.T, strict=True), key=lambda f: -f[0]):
        step = np.sqrt(max(v, 0.0)) * axis * scaled
        if np.abs(step[keep] / scaled[keep]).max() > 0.05:
            out.append(_geometry(solution, move(solution.scene, solution.state, step)))
    return tuple(out)


def _keep_out(gray: U8, plane: Plane, ends: F64, chord: float, seen: Seen) -> U8:
    """(h, w) non-zero where the rib is or may come to be, and round strings and level lines."""
    h, w = gray.shape
    mask = np.zeros((h, w), np.uint8)
    u, v = ends[:, 0], ends[:, 1]
    more = max(0.0, chord - float(u[1] - u[0])) + 0.06 * chord  # the rib may go on where the line was not seen
    rise = more * (v[1] - v[0]) / (u[1] - u[0])
    ring = np.array(
        [
            [u[0] - more, v[0] - rise - 0.16 * chord],
            [u[1] + more, v[1] + rise - 0.16 * chord],
            [u[1] + more, v[1] + rise + 0.11 * chord],
            [u[0] - more, v[0] - rise + 0.11 * chord],
        ]
    )
    cv2.fillPoly(mask, [np.rint(plane.to_pixels(ring)).astype(np.int32)], 255)
    assert seen.solution is not None
    for card in seen.solution.scene.cards:  # a card may stand out beyond the rib
        paper = card.spec.paper()
        paper = paper + 0.03 * chord * np.sign(paper - paper.mean(0))
        cv2.fillPoly(mask, [np.rint(card.at(paper)).astype(np.int32)], 255)
    assert seen.found is not None
    for line in seen.found.lines:
        if line.role.is_reference:
            a, b = line.pixels[0], line.pixels[-1]
            d = (b - a) / np.linalg.norm(b - a) * 0.3 * h
            cv2.line(
                mask,
                tuple(np.rint(a - d).astype(int).tolist()),
                tuple(np.rint(b + d).astype(int).tolist()),
                255,
                max(9, w // 120),
            )
    return mask
