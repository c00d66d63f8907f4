"""A reference mark beside the line is found where it stands, and the reading is doubted."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import cv2
import numpy as np
import pytest
from shop import PHONE_12, draw
from shop.chance import Cards, good_scene, with_shop_errors
from shop.decoys import decoys
from shop.jobs import job_for, lens_for

from vision.image.rectified import Plane
from vision.lines.marks import Mark, locate
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


@pytest.mark.parametrize(("noise", "seen"), [(3.0, True), (60.0, False)])
def test_a_saddle_that_cannot_be_placed_to_a_quarter_of_a_pixel_is_no_mark(noise: float, seen: bool) -> None:
    plane = Plane(
        np.array([0.0, 0.0, 600.0]),
        np.array([1.0, 0, 0]),
        np.array([0, 1.0, 0]),
        np.array([1800.0, 1800, 150.3, 99.6, 0, 0, 0, 0, 0]),
    )
    y, x = np.mgrid[:200, :300]
    phi = np.arctan2(y - 99.6, x - 150.3)
    grey = cv2.GaussianBlur(np.where(np.cos(2 * (phi - 0.5)) > 0, 90.0, 160.0), (0, 0), 1.0)
    photo = np.clip(grey + np.random.default_rng(3).normal(0, noise, grey.shape), 0, 255).astype(np.uint8)
    at = locate(photo, plane, Mark("quartered", np.array([0.2, -0.3]), float(np.degrees(0.5)) + 90.0, 0.7))
    assert (at is not None) == seen
    if at is not None:
        assert np.linalg.norm(at[0] - [150.3, 99.6]) < 0.1


@pytest.mark.parametrize(("seed", "cards", "level"), [(1_314_003, "panel", "laser"), (1_312_008, "panels", "plumb")])
def test_shadows_at_the_trailing_edge_are_no_marks(seed: int, cards: Cards, level: Literal["plumb", "laser"]) -> None:
    """Good photos whose chord was doubted for a third mark, seen where the line meets the trailing edge."""
    rng = np.random.default_rng([seed, 31])
    scene = with_shop_errors(good_scene(seed, cards, level, PHONE_12), rng)
    bgr, truth = draw(scene)
    told = replace(scene, lean_deg=scene.lean_deg + float(rng.normal(0, 0.3)))
    reading = read_photo(bgr, job_for(told, u_lean_deg=0.3), lens=lens_for(scene.camera, rng))
    assert not reading.chord.flags and reading.evidence.marks
    for seen in reading.evidence.marks:
        assert np.linalg.norm(truth.marks_px - seen.at, axis=1).min() < 0.5
