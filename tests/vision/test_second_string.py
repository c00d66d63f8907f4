"""A second string or chord line that cannot be measured raises a doubt about the one that was."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shop import PHONE_12, draw
from shop.chance import good_scene, with_shop_errors
from shop.decoys import decoys
from shop.jobs import job_for, lens_for

from shared.reading import Reading
from vision.lines import chord
from vision.reader import read_photo


def read(kind: str, number: int, seed: int) -> tuple[Reading, float]:
    """A decoy's reading and its true chord angle."""
    decoy = next(d for d in decoys(number + 1, seed) if d.kind == kind and d.number == number)
    bgr, truth = draw(decoy.scene)
    lens = lens_for(decoy.scene.camera, np.random.default_rng([decoy.scene.seed, 5]))
    return read_photo(bgr, job_for(decoy.scene, decoy.job_cards), lens=lens), truth.chord_deg


def codes(reading: Reading) -> set[str]:
    return {f.code for f in (*reading.flags, *reading.chord.flags)}


@pytest.mark.parametrize(("number", "off_deg"), [(1, 1.0), (4, 0.5)])
def test_a_true_string_that_is_seen_and_not_measured_raises_a_doubt(number: int, off_deg: float) -> None:
    """The string measured touches something. The plumb one hangs over the card (1), or differs from the wall by its colour
    alone and is seen on the rib and below it only (4)."""
    reading, truth = read("two strings, one out of plumb", number, 380_000)
    assert reading.chord.quantity is None or abs(reading.chord.quantity.value - truth) > off_deg
    assert "second-upright" in codes(reading)


def test_a_second_string_of_the_ribs_tone_is_told_by_its_bob() -> None:
    """Before the rib it does not show, above and below it does, as a pole behind would; but a bob hangs at its end."""
    assert "second-upright" in codes(read("two strings, one out of plumb", 1, 385_000)[0])


def test_a_spar_line_in_line_with_a_cable_behind_is_no_string() -> None:
    """Nothing hangs in this photo; the line could be followed over the rib and nowhere past it."""
    assert read("cables and no string", 3, 380_000)[0].chord.quantity is None


def test_a_second_chord_line_half_hidden_raises_a_doubt(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two equal lines, of which one shows over four tenths of the chord only."""
    assert "another-line" in codes(read("second equal line", 2, 380_000)[0])
    monkeypatch.setattr(chord, "LONG", 0.45)
    assert "another-line" not in codes(read("second equal line", 2, 380_000)[0])


def test_a_pole_behind_the_trailing_edge_raises_no_doubt() -> None:
    """Before or behind cannot be told where the rib is that thin: it is not asked."""
    rng = np.random.default_rng([1_700_000, 31])
    scene = with_shop_errors(good_scene(1_700_000, "panel", "plumb", PHONE_12), rng)
    bgr, _ = draw(scene)
    told = replace(scene, lean_deg=scene.lean_deg + float(rng.normal(0, 0.3)))
    reading = read_photo(bgr, job_for(told, u_lean_deg=0.3), lens=lens_for(scene.camera, rng))
    assert "second-upright" not in codes(reading)
