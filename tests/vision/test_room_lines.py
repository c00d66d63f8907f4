"""Lines of the room are no chord lines."""

from __future__ import annotations

import numpy as np
from shop import draw
from shop.decoys import decoys
from shop.jobs import job_for, lens_for

from vision.reader import read_photo


def test_a_seam_of_the_bench_that_runs_out_of_the_photo_is_no_chord_line() -> None:
    """No line is drawn on this rib; the seam lies away from the card, on ground of the rib's brightness."""
    decoy = next(d for d in decoys(7, 400_000) if d.kind == "no chord line but waterlines" and d.number == 6)
    bgr, _ = draw(decoy.scene)
    lens = lens_for(decoy.scene.camera, np.random.default_rng([decoy.scene.seed, 5]))
    assert read_photo(bgr, job_for(decoy.scene, decoy.job_cards), lens=lens).chord.quantity is None
