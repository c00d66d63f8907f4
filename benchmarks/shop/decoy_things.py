"""Decoys of the whole photo: the wrong thing before the lens, a bad card, a bad photo."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Literal

import numpy as np

from shop.camera import PHONE
from shop.chance import CARDS_APART
from shop.scene import CardAt, Poster, Scene

Rng = np.random.Generator


def no_rib(scene: Scene, rng: Rng) -> Scene:
    """The shop without a rib."""
    return replace(scene, rib=False, cards=(), clutter=int(rng.integers(3, 9)))


def no_card(scene: Scene, rng: Rng) -> Scene:
    """A rib without a card."""
    return replace(scene, cards=(), marks="quartered" if rng.random() < 0.5 else "none")


def other_card(scene: Scene, rng: Rng) -> Scene:
    """A card that the job does not know."""
    known = {n for c in scene.cards for n in (c.number, c.number + CARDS_APART, c.number - CARDS_APART)}
    spare = [n for n in range(31) if n not in known]
    return replace(scene, cards=(CardAt("panel", int(rng.choice(spare)), 0.48, float(rng.uniform(-5, 5))),))


def poster(scene: Scene, rng: Rng) -> Scene:
    """A poster of a rib with a string drawn in, hung askew; a real string before it, no card."""
    printed = replace(scene, cards=(), camera=PHONE, roll_deg=0.0)
    hung = Poster(printed, 1.3 * scene.chord_mm, 0.0, 0.0, 0.0, float(rng.uniform(-3, 3)))
    return replace(scene, rib=False, poster=hung, cards=())


def poster_with_card(scene: Scene, rng: Rng) -> Scene:
    """A poster of a whole good photo, card and string and all, hung askew; nothing real before it."""
    printed = replace(scene, camera=PHONE.scaled(1.5), fill=0.7)
    turn = float(rng.uniform(1.5, 4) * rng.choice([-1, 1]))
    hung = Poster(printed, 1.0 * scene.chord_mm, 0.0, 0.0, 0.0, turn)
    return replace(scene, rib=False, poster=hung, strings=(), fill=0.9)


def tilted_card(scene: Scene, rng: Rng) -> Scene:
    """One of two cards stands off the rib by some degrees. (A single card's tilt shows in nothing.)"""
    number = scene.cards[0].number
    tilt = float(rng.uniform(2, 6) * rng.choice([-1, 1]))
    rear, front = CardAt("panel", number, 0.62, 2.0), CardAt("panel", number + CARDS_APART, 0.2, -3.0)
    if rng.random() < 0.5:
        return replace(scene, cards=(replace(rear, tilt_deg=tilt), front))
    return replace(scene, cards=(rear, replace(front, tilt_deg=tilt)))


def shaken(scene: Scene, rng: Rng) -> Scene:
    """Motion blur of 8 to 25 pixels."""
    return replace(scene, motion_px=float(rng.uniform(8, 25)), motion_deg=float(rng.uniform(0, 180)))


def out_of_focus(scene: Scene, rng: Rng) -> Scene:
    """Blur of 2 to 6 pixels."""
    return replace(scene, blur_px=float(rng.uniform(2, 6)))


def dark(scene: Scene, rng: Rng) -> Scene:
    """Much too dark, and noisy."""
    return replace(scene, exposure=float(rng.uniform(0.02, 0.08)), noise=3.0)


def burnt_out(scene: Scene, rng: Rng) -> Scene:
    """Overexposed."""
    return replace(scene, exposure=float(rng.uniform(1.8, 4.0)))


def oblique(scene: Scene, rng: Rng) -> Scene:
    """Taken from far to one side."""
    return replace(scene, yaw_deg=float(rng.uniform(32, 48) * rng.choice([-1, 1])), fill=0.75)


def leaning_unknown(scene: Scene, rng: Rng) -> Scene:
    """The rib plane leans by two to five degrees and nobody says so; the string hangs to one side."""
    lean = float(rng.uniform(2, 5) * rng.choice([-1, 1]))
    string = replace(scene.strings[0], x_mm=float(0.27 * scene.chord_mm * rng.choice([-1, 1])))
    return replace(scene, lean_deg=lean, strings=(string,))


THINGS: dict[str, tuple[Literal["angle", "refuse"], Callable[[Scene, Rng], Scene]]] = {
    "no rib": ("refuse", no_rib),
    "no card": ("refuse", no_card),
    "card of no station": ("refuse", other_card),
    "poster without card": ("refuse", poster),
    "poster of a whole photo": ("refuse", poster_with_card),
    "one of two cards tilted": ("angle", tilted_card),
    "shaken": ("angle", shaken),
    "out of focus": ("angle", out_of_focus),
    "dark": ("angle", dark),
    "burnt out": ("angle", burnt_out),
    "oblique": ("angle", oblique),
    "unknown lean": ("angle", leaning_unknown),
}
"""Kinds of decoy: what is right to say, and the change to a good scene."""
