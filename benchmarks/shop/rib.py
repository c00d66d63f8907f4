"""The rib: what is drawn on it, what lies on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shared.numerics.arrays import F64
from shop.face import Face, draw_label, draw_surface
from shop.scene import CardAt, Pen
from shop.sheets import MARK_MM, card_corners, card_sheet, lay_sheet, mark_sheet
from shop.strokes import draw_band, draw_pen

MARK_AT = (0.06, 0.90)


@dataclass(frozen=True)
class Drawn:
    """What the rib shows: chord line's ends, marks, card corners, in plane mm; turn of the drawn path."""

    chord: F64
    marks: F64
    cards: dict[int, F64]
    drawn_turn_deg: float


def draw_rib(face: Face, rng: np.random.Generator) -> Drawn:
    """Paint the rib face with everything drawn and laid on it."""
    scene, canvas, plane = face.scene, face.canvas, face.plane
    draw_surface(face, rng)
    for b in scene.boards:
        draw_band(canvas, plane, face.at(b.a), face.at(b.b), b.width_mm, b.rgb, b.cover, face.mask)
    for line in scene.lines:
        draw_pen(canvas, plane, face.at(line.a), face.at(line.b), line.pen, rng, face.mask)
    for at in (0.12, 0.42, 0.66) if scene.plate_mm is None else ():
        draw_pen(
            canvas,
            plane,
            face.at((at, 0.01 * scene.chord_mm)),
            face.at((at, 0.03 * scene.chord_mm)),
            Pen(0.6, cover=0.6, gaps=0),
            rng,
            face.mask,
        )
    chord = np.stack([face.at((scene.chord_from[1], 0.0)), face.at((scene.chord_from[0], 0.0))])
    turn = 0.0
    if scene.chord_pen is not None:
        turn = draw_pen(canvas, plane, chord[0], chord[1], scene.chord_pen, rng, face.mask) * scene.forward
    if scene.spar_deg is not None:
        _spar(face, rng)
    draw_label(face)
    marks = _marks(face, rng)
    for place in scene.quarters:
        x, z = face.at(place)
        lay_sheet(canvas, plane.turned((x, z), float(rng.uniform(-20, 20))), mark_sheet(), MARK_MM, MARK_MM)
    cards = {card.number: _card(face, card) for card in scene.cards}
    for spot in scene.spots:
        x, z = face.at(spot.at)
        half = np.array(spot.size_mm) / 2
        outline = plane.pixels(
            canvas.pose,
            canvas.camera,
            np.array(
                [
                    [x - half[0], z - half[1]],
                    [x + half[0], z - half[1]],
                    [x + half[0], z + half[1]],
                    [x - half[0], z + half[1]],
                ]
            ),
        )
        box = canvas.box(outline, 2)
        if box is not None:
            canvas.blend(box, canvas.fill(outline)[box[1] : box[3], box[0] : box[2]] / np.float32(255), spot.rgb)
    return Drawn(chord, marks, cards, turn)


def _spar(face: Face, rng: np.random.Generator) -> None:
    scene = face.scene
    assert scene.spar_deg is not None
    turn = np.radians(scene.spar_deg - 90.0 - scene.chord_deg)  # nose-up turn from the chord's normal: top aft
    d = np.array([-scene.forward * np.sin(turn), np.cos(turn)])
    foot = face.at((scene.spar_at, 0.0))
    low, high = face.height(scene.spar_at, False) + 2, face.height(scene.spar_at, True) - 2
    draw_pen(face.canvas, face.plane, foot + d * low / d[1], foot + d * high / d[1], scene.spar_pen, rng, face.mask)


def _marks(face: Face, rng: np.random.Generator) -> F64:
    scene = face.scene
    if scene.marks == "none":
        return np.empty((0, 2))
    places = [face.at((at, off)) for at, off in zip(MARK_AT, scene.marks_off_mm, strict=True)]
    for place in places:
        if scene.marks == "quartered":
            sheet = face.plane.turned((place[0], place[1]), float(rng.uniform(-20, 20)))
            lay_sheet(face.canvas, sheet, mark_sheet(), MARK_MM, MARK_MM)
        else:
            lean = rng.uniform(-0.4, 0.4, 2)
            draw_pen(
                face.canvas,
                face.plane,
                place + np.array([lean[0], -7.0]),
                place + np.array([lean[1], 7.0]),
                Pen(0.7, cover=0.85, wave_mm=0.05, gaps=0),
                rng,
                face.mask,
            )
    return np.stack(places)


def _card(face: Face, card: CardAt) -> F64:
    """Lay a card; returns its inner corners, world mm (n, 3)."""
    image, width, height = card_sheet(card.kind, card.number)
    above = height / 2 + 9 if card.above_mm is None else card.above_mm
    x, z = face.at((card.at, above))
    turn = card.turn_deg + (0.0 if face.scene.forward > 0 else 180.0)
    sheet = face.plane.turned((x, z), turn, card.tilt_deg).printed(card.scale, card.stretch, card.skew_deg)
    lay_sheet(face.canvas, sheet, image, width, height)
    return sheet.world(card_corners(card.kind))
