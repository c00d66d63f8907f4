"""An error that photos share must have one sense in all of them, or repeats and differences go wrong."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from calibration.lens.match import _either
from calibration.lens.model import Lens
from rigging.planning.lens import planned_lens
from rigging.planning.scene import PlacedCard, SetUp, Viewpoint, imagine
from shared.quantity import Quantity
from vision.solution.propagate import angles
from vision.solution.solve import solve, starts

VIEWS = [
    Viewpoint(1300.0, yaw, pitch, roll, aim)
    for yaw, pitch, roll, aim in (
        (0, 0, 0, (0, 0)),
        (10, 5, 2, (20, 10)),
        (-15, -5, -3, (-40, 10)),
        (5, -10, 1, (0, 30)),
        (12, 9, -2, (30, 0)),
    )
]
LENS = planned_lens("27mm@4000x3000")


def chord(view: Viewpoint, string: float, level: float | None = None) -> Quantity:
    setup = SetUp(
        LENS,
        1000.0,
        (PlacedCard("panel", 0.5, 2.0),),
        view,
        (string,),
        u_lean_deg=0.2,
        level_at=level,
        u_level_deg=0.2,
    )
    scene, _ = imagine(setup)
    found = angles(min((solve(scene, s) for s in starts(scene)), key=lambda s: s.cost)).chord
    assert found is not None
    return found


def loading(q: Quantity, source: str) -> float:
    return sum(c.u for c in q.components if c.source == source)


@pytest.mark.parametrize("string", [-200.0, 50.0, 200.0])
def test_a_strings_own_error_turns_every_photos_angle_the_same_way(string: float):
    found = [loading(chord(v, string), "string 0") for v in VIEWS]
    assert_allclose(np.abs(found), 0.2, atol=0.04)  # out of plumb by so much, the angle is off by as much
    assert len({np.sign(f) for f in found}) == 1


def test_a_level_lines_own_error_has_one_sense_too():
    found = [loading(chord(v, 0.0, 20.0), "level line") for v in VIEWS]
    assert len({np.sign(f) for f in found}) == 1 and min(np.abs(found)) > 0.05


def turned_lens() -> Lens:
    cov = np.diag([4.0, 4.0, 1.0, 2.0, 1e-6, 1e-6, 1e-9, 1e-9, 0.0])
    cov[0, 4] = cov[4, 0] = 1e-3
    return Lens("x", (4000, 3000), np.array([3000.0, 3000, 1990, 1510, 0.05, -0.1, 5e-4, -3e-4, 0.0]), cov)


@pytest.mark.parametrize("way", range(1, 9))
def test_a_turned_lens_errs_along_the_axes_of_the_one_it_was_turned_from(way: int):
    # one and the same true lens, seen upright and turned, is the same number of deviations along each axis
    lens = turned_lens()
    z = np.random.default_rng(3).normal(size=len(lens.axes()))
    true = Lens("x", lens.size, lens.theta + z @ lens.axes(), lens.covariance)
    shown = lens.turned(way)
    assert_allclose(shown.theta + z @ shown.axes(), true.turned(way).theta, rtol=1e-9, atol=1e-12)
    assert_allclose(shown.axes().T @ shown.axes(), shown.covariance, rtol=1e-9, atol=1e-15)


def test_a_lens_that_may_be_either_way_up_keeps_its_covariance():
    a, b = turned_lens(), turned_lens().turned(3)
    both = _either(a, b)
    assert_allclose(both.axes().T @ both.axes(), both.covariance, rtol=1e-9, atol=1e-15)
