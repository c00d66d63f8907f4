"""A laser's line stays level while the rib turns under it: it must not hold the rib's pieces back."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from shop import draw
from shop.chance import good_scene
from shop.jobs import job_for, lens_for

from rigging.live import setting as live
from rigging.live.setting import Run
from vision.image.photo import Picture
from vision.live import start as relative_start
from vision.live.pieces import Pieces
from vision.live.relative import begin, compare
from vision.reader import read_fully
from vision.readings import Seen

TURN_DEG = 0.08


SCENE = good_scene(46_014, "panels", "laser")


@pytest.fixture(scope="module")
def first() -> tuple[Picture, Seen, float]:
    """A rib whose chord line a laser crosses at a shallow angle: photo, reading, true angle."""
    bgr, truth = draw(SCENE)
    picture = Picture.from_array(bgr)
    seen = read_fully(picture, job_for(SCENE), lens=lens_for(SCENE.camera, np.random.default_rng(14)))
    return picture, seen, truth.chord_deg


@pytest.fixture(scope="module")
def later() -> tuple[np.ndarray, float]:
    """The rib turned: photo and true angle."""
    assert SCENE.spar_deg is not None
    turned = replace(SCENE, chord_deg=SCENE.chord_deg + TURN_DEG, spar_deg=SCENE.spar_deg + TURN_DEG)
    bgr, truth = draw(turned, 5)
    return bgr, truth.chord_deg


def off_and_u(first: tuple[Picture, Seen, float], later: tuple[np.ndarray, float]) -> tuple[float, float]:
    """Error of the turn and its u, degrees."""
    change = compare(begin(first[0], first[1], SCENE.chord_mm), Picture.from_array(later[0]))
    assert change.turn is not None, change.reason
    return change.turn.value - (later[1] - first[2]), change.turn.u


def test_a_rib_is_followed_under_a_laser_line(
    first: tuple[Picture, Seen, float], later: tuple[np.ndarray, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    error, u = off_and_u(first, later)
    assert abs(error) < 2 * u and abs(error) < 0.006
    monkeypatch.setattr(relative_start, "_clear_of", lambda _lines, pieces, _scale: pieces)
    held_back, its_u = off_and_u(first, later)
    assert held_back < -0.009 and abs(held_back) > 2 * its_u


def test_where_a_line_leaves_nothing_to_follow_it_is_said(
    first: tuple[Picture, Seen, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(relative_start, "CLEAR_MM", 1000.0)
    with pytest.raises(ValueError, match=r"within 1000 mm of nearly all of the chord line .* move it away by more"):
        begin(first[0], first[1], SCENE.chord_mm)
    monkeypatch.setattr(relative_start, "LEAST_LINE", 0)
    with pytest.raises(ValueError, match="nearly all of the cards"):
        begin(first[0], first[1], SCENE.chord_mm)
    job = job_for(SCENE)
    run = Run(job, job.stations[0].name)
    monkeypatch.setattr(live, "read_fully", lambda _picture, _job: first[1])
    moment = run.feed(first[0], datetime(2026, 5, 1, tzinfo=UTC))
    assert moment.state == "waiting" and "move it away by more" in moment.reason and run.start is None


def test_pieces_near_a_still_line_are_left_out() -> None:
    a = np.array([[0.0, 0.0], [20.0, 0.0], [40.0, 0.0], [60.0, 0.0]])
    pieces = Pieces(a, a + [5.0, 0.0], np.zeros((4, 3)), a[:, 0], 6)
    level, plumb = np.array([[-50.0, 14.0], [0.0, 14.0]]), np.array([[42.0, -300.0], [42.0, -100.0]])
    # 12 mm to be kept: 10 and a profile's half of 6 px at 3 px a millimetre
    assert relative_start._clear_of([level], pieces, 3.0).place.tolist() == [0.0, 20.0, 40.0, 60.0]
    assert relative_start._clear_of([level], pieces, 2.0).place.tolist() == [0.0, 20.0, 40.0, 60.0]
    assert relative_start._clear_of([level], pieces, 1.0).place.tolist() == []
    assert relative_start._clear_of([plumb], pieces, 3.0).place.tolist() == [0.0, 20.0, 60.0]
