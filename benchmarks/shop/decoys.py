"""The decoy set: photos meant to mislead, each with what a trustworthy reader may say about it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from shop.camera import PHONE_12
from shop.chance import CARDS_APART, good_scene
from shop.decoy_levels import LEVELS
from shop.decoy_lines import LINES
from shop.decoy_things import THINGS
from shop.scene import Scene

CAMERA = PHONE_12
"""Small pictures would be refused for their cards, and test nothing else."""
Right = Literal["angle", "refuse"]
Maker = Callable[[Scene, np.random.Generator], Scene]


@dataclass(frozen=True)
class Decoy:
    """One decoy photo.

    right : "angle": the angle can be told; a value without a flag must be within 3 u of the truth, while
    a refusal or a flag is no fault, only a pity. "refuse": no value without a flag, whatever it is.
    job_cards : card numbers that the job gives the station.
    """

    kind: str
    number: int
    scene: Scene
    right: Right
    job_cards: tuple[int, ...]


def makers() -> dict[str, tuple[Right, Maker]]:
    """All kinds by name."""
    return {**LINES, **LEVELS, **THINGS}


def decoys(per_kind: int = 9, first_seed: int = 50_000) -> list[Decoy]:
    """`per_kind` photos of each kind, seeds counted on from `first_seed`."""
    found = []
    for k, (kind, (right, make)) in enumerate(makers().items()):
        for i in range(per_kind):
            seed = first_seed + 1000 * k + i
            base = good_scene(seed, "panels" if i % 4 == 3 else "panel", camera=CAMERA)
            scene = make(base, np.random.default_rng([seed, 99]))
            first = base.cards[0].number
            found.append(Decoy(kind, i, scene, right, (first, first + CARDS_APART)))
    return found
