"""A second string or chord line that cannot be measured raises a doubt about the one that was."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shop import PHONE_12, draw
from shop.chance import good_scene, with_shop_errors
from shop.decoys import decoys
from shop.jobs import job_for, lens_for

from vision import chord
from vision.reader import read_photo


def test_a_string_behind_which_the_true_one_hangs_over_the_card_is_doubted() -> None:
    """The string found is out of plumb by 1.5 degrees; the plumb one, over the card, is seen but not followed."""
    decoy = next(d for d in decoys(2, 380_000) if d.kind == "two strings, one out of plumb" and d.number == 1)
    bgr, truth = draw(decoy.scene)
    lens = lens_for(decoy.scene.camera, np.random.default_rng([decoy.scene.seed, 5]))
    reading = read_photo(bgr, job_for(decoy.scene, decoy.job_cards), lens=lens)
    assert reading.chord.quantity is None or abs(reading.chord.quantity.value - truth.chord_deg) > 1
    assert "second-upright" in {f.code for f in (*reading.flags, *reading.chord.flags)}


def test_a_spar_line_in_line_with_a_cable_behind_is_no_string() -> None:
    """Nothing hangs in this photo; the line could be followed over the rib and nowhere past it."""
    decoy = next(d for d in decoys(4, 380_000) if d.kind == "cables and no string" and d.number == 3)
    bgr, _ = draw(decoy.scene)
    lens = lens_for(decoy.scene.camera, np.random.default_rng([decoy.scene.seed, 5]))
    assert read_photo(bgr, job_for(decoy.scene, decoy.job_cards), lens=lens).chord.quantity is None


def test_a_second_chord_line_half_hidden_raises_a_doubt(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two equal lines, of which one shows over four tenths of the chord only."""
    decoy = next(d for d in decoys(3, 380_000) if d.kind == "second equal line" and d.number == 2)
    bgr, _ = draw(decoy.scene)

    def codes() -> set[str]:
        lens = lens_for(decoy.scene.camera, np.random.default_rng([decoy.scene.seed, 5]))
        return {f.code for f in read_photo(bgr, job_for(decoy.scene, decoy.job_cards), lens=lens).chord.flags}

    assert "another-line" in codes()
    monkeypatch.setattr(chord, "LONG", 0.45)
    assert "another-line" not in codes()


def test_a_true_string_seen_on_the_rib_and_below_it_only_raises_a_doubt() -> None:
    """Before the wall it differs by its colour alone; the string that was measured touches something, 0.95 degrees out."""
    decoy = next(d for d in decoys(5, 380_000) if d.kind == "two strings, one out of plumb" and d.number == 4)
    bgr, truth = draw(decoy.scene)
    lens = lens_for(decoy.scene.camera, np.random.default_rng([decoy.scene.seed, 5]))
    reading = read_photo(bgr, job_for(decoy.scene, decoy.job_cards), lens=lens)
    assert reading.chord.quantity is None or abs(reading.chord.quantity.value - truth.chord_deg) > 0.5
    assert "second-upright" in {f.code for f in (*reading.flags, *reading.chord.flags)}


def test_a_pole_behind_the_trailing_edge_raises_no_doubt() -> None:
    """Before or behind cannot be told where the rib is that thin: it is not asked."""
    rng = np.random.default_rng([1_700_000, 31])
    scene = with_shop_errors(good_scene(1_700_000, "panel", "plumb", PHONE_12), rng)
    bgr, _ = draw(scene)
    told = replace(scene, lean_deg=scene.lean_deg + float(rng.normal(0, 0.3)))
    reading = read_photo(bgr, job_for(told, u_lean_deg=0.3), lens=lens_for(scene.camera, rng))
    assert "second-upright" not in {f.code for f in (*reading.flags, *reading.chord.flags)}


def test_a_second_string_of_the_ribs_tone_is_told_by_its_bob() -> None:
    """Before the rib it does not show, above and below it does, as a pole behind would; but a bob hangs at its end."""
    decoy = next(d for d in decoys(2, 385_000) if d.kind == "two strings, one out of plumb" and d.number == 1)
    bgr, _ = draw(decoy.scene)
    lens = lens_for(decoy.scene.camera, np.random.default_rng([decoy.scene.seed, 5]))
    reading = read_photo(bgr, job_for(decoy.scene, decoy.job_cards), lens=lens)
    assert "second-upright" in {f.code for f in (*reading.flags, *reading.chord.flags)}
