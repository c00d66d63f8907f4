"""A reference mark beside the line is found where it stands, and the reading is doubted."""

from __future__ import annotations

import numpy as np
from shop import draw
from shop.decoys import decoys
from shop.jobs import job_for, lens_for

from vision.reader import read_photo


def test_a_mark_whose_papers_edge_lies_on_the_line_is_found_at_its_centre_and_the_chord_is_doubted() -> None:
    """The corner of this mark's paper, on the line, has the second harmonic of a mark on the outer ring."""
    decoy = next(d for d in decoys(2, 350_000) if d.kind == "mark off the line" and d.number == 1)
    bgr, truth = draw(decoy.scene)
    job = job_for(decoy.scene, decoy.job_cards)
    reading = read_photo(bgr, job, lens=lens_for(decoy.scene.camera, np.random.default_rng([decoy.scene.seed, 5])))
    assert "marks-off" in {f.code for f in reading.chord.flags}
    seen = [np.array(m.at) for m in reading.evidence.marks]
    for mark in truth.marks_px:
        assert min(float(np.linalg.norm(mark - m)) for m in seen) < 0.5
