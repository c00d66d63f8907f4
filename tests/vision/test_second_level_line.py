"""The laser's line on the wall behind is no second line on the rib; a reflection on the rib is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from shop import PHONE_12, draw
from shop.chance import good_scene, with_shop_errors
from shop.decoys import decoys
from shop.jobs import job_for, lens_for

from vision.reader import read_photo


def test_the_lasers_line_on_the_wall_below_a_shallow_rib_raises_no_doubt() -> None:
    rng = np.random.default_rng([1_734_003, 31])
    scene = with_shop_errors(good_scene(1_734_003, "panel", "laser", PHONE_12), rng)
    bgr, truth = draw(scene)
    told = replace(scene, lean_deg=scene.lean_deg + float(rng.normal(0, 0.3)))
    reading = read_photo(bgr, job_for(told, u_lean_deg=0.3), lens=lens_for(scene.camera, rng))
    assert reading.chord.quantity is not None and not reading.flags
    assert abs(reading.chord.quantity.value - truth.chord_deg) < 3 * reading.chord.quantity.u


def test_a_reflection_on_the_rib_raises_one() -> None:
    decoy = next(d for d in decoys(5, 385_000) if d.kind == "laser and its reflection" and d.number == 4)
    bgr, _ = draw(decoy.scene)
    lens = lens_for(decoy.scene.camera, np.random.default_rng([decoy.scene.seed, 5]))
    reading = read_photo(bgr, job_for(decoy.scene, decoy.job_cards), lens=lens)
    assert "second-level-line" in {f.code for f in reading.flags}
