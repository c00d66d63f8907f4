"""A string of the wall's or the rib's brightness is found from the pieces of it that show."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shop import PHONE_12, draw
from shop.chance import Cards, good_scene
from shop.jobs import job_for, lens_for

from vision.level import plumb
from vision.reader import read_photo


@pytest.mark.parametrize(("seed", "cards"), [(1_213_012, "strips"), (1_211_003, "strip"), (1_210_001, "panel")])
def test_pieces_are_drawn_out_to_a_string(seed: int, cards: Cards, monkeypatch: pytest.MonkeyPatch) -> None:
    """Blue and yellow before black and grey; orange before wood."""
    scene = good_scene(seed, cards, "plumb", PHONE_12)
    scene = replace(scene, camera=scene.camera.scaled(0.75))
    bgr, truth = draw(scene)
    job, lens = job_for(scene), lens_for(scene.camera, np.random.default_rng(seed))
    chord = read_photo(bgr, job, lens=lens).chord
    assert chord.quantity is not None, chord.reason
    assert abs(chord.quantity.value - truth.chord_deg) < 3 * chord.quantity.u < 0.3
    monkeypatch.setattr(plumb, "from_pieces", lambda *_: [])
    assert read_photo(bgr, job, lens=lens).chord.quantity is None
