"""A laser's line stays level while the rib turns under it: it must not hold the rib's pieces back."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shop import draw
from shop.chance import good_scene
from shop.jobs import job_for, lens_for

from vision import relative_start
from vision.photo import Picture
from vision.pieces import Pieces
from vision.reader import read_fully
from vision.relative import begin, compare

TURN_DEG = 0.08


def off_and_u() -> tuple[float, float]:
    """Error of the turn and its u, degrees, of a rib whose chord line a laser crosses at a shallow angle."""
    scene = good_scene(46_014, "panels", "laser")
    bgr, truth = draw(scene)
    picture = Picture.from_array(bgr)
    seen = read_fully(picture, job_for(scene), lens=lens_for(scene.camera, np.random.default_rng(14)))
    start = begin(picture, seen, scene.chord_mm)
    assert scene.spar_deg is not None
    turned = replace(scene, chord_deg=scene.chord_deg + TURN_DEG, spar_deg=scene.spar_deg + TURN_DEG)
    later, now = draw(turned, 5)
    change = compare(start, Picture.from_array(later))
    assert change.turn is not None, change.reason
    return change.turn.value - (now.chord_deg - truth.chord_deg), change.turn.u


def test_a_rib_is_followed_under_a_laser_line(monkeypatch: pytest.MonkeyPatch) -> None:
    error, u = off_and_u()
    assert abs(error) < 2 * u and abs(error) < 0.006
    monkeypatch.setattr(relative_start, "_clear_of", lambda _lines, pieces, _scale: pieces)
    held_back, its_u = off_and_u()
    assert held_back < -0.009 and abs(held_back) > 2 * its_u


def test_pieces_near_a_still_line_are_left_out() -> None:
    a = np.array([[0.0, 0.0], [20.0, 0.0], [40.0, 0.0], [60.0, 0.0]])
    pieces = Pieces(a, a + [5.0, 0.0], np.zeros((4, 3)), a[:, 0], 6)
    level, plumb = np.array([[-50.0, 14.0], [0.0, 14.0]]), np.array([[42.0, -300.0], [42.0, -100.0]])
    # 12 mm to be kept: 10 and a profile's half of 6 px at 3 px a millimetre
    assert relative_start._clear_of([level], pieces, 3.0).place.tolist() == [0.0, 20.0, 40.0, 60.0]
    assert relative_start._clear_of([level], pieces, 2.0).place.tolist() == [0.0, 20.0, 40.0, 60.0]
    assert relative_start._clear_of([level], pieces, 1.0).place.tolist() == []
    assert relative_start._clear_of([plumb], pieces, 3.0).place.tolist() == [0.0, 20.0, 60.0]
