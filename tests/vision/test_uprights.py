"""What the shop's upright lines say of a level reference: they take from a slanted one's probability and add nothing."""

from __future__ import annotations

import numpy as np
import pytest

from shared.lines import Role
from shared.numerics.arrays import F64
from vision.evidence.belief import Belief
from vision.evidence.kinds import KINDS, PLACES
from vision.image.rectified import Plane
from vision.level.uprights import AWRY, speaks_for
from vision.solution.scene import Lean, LineSeen

LENS = np.array([3000.0, 3000.0, 2000.0, 1500.0, 0.0, 0.0, 0.0, 0.0, 0.0])
RIB = Plane(np.array([0.0, 0.0, 1200.0]), np.array([1.0, 0, 0]), np.array([0, 1.0, 0]), LENS)
LEAN = Lean(0.0, 0.3, "lean", 1.0)


def pixels(x_mm: float, depth_mm: float, turn_deg: float, n: int = PLACES) -> F64:
    """Of an upright line this far from the camera, its top turned to the right."""
    z = np.linspace(-300, 300, n)
    x = x_mm + np.tan(np.radians(turn_deg)) * z
    return np.stack([3000 * x / depth_mm + 2000, -3000 * z / depth_mm + 1500], axis=1)


def string(turn_deg: float) -> LineSeen:
    at = pixels(50.0, 1180.0, turn_deg)
    return LineSeen(Role.PLUMB, at, np.full(len(at), 0.05), own_deg=0.02)


def thing(x_mm: float, turn_deg: float = 0.0, kind: str = "rod", depth_mm: float = 2200.0) -> Belief:
    """Something upright at the wall behind."""
    places = RIB.to_sheet(pixels(x_mm, depth_mm, turn_deg))
    shares = np.zeros(len(KINDS))
    shares[KINDS.index(kind)] = 1.0
    return Belief(places[[0, -1]], places, np.ones(PLACES), shares)


def test_where_nothing_else_stands_upright_it_says_nothing() -> None:
    assert speaks_for(RIB, string(0.0), [], LEAN) == 1.0
    assert speaks_for(RIB, string(6.0), [thing(-600, kind="chord"), thing(500, kind="pen")], LEAN) == 1.0


def test_a_shop_that_stands_as_the_string_does_takes_nothing_away() -> None:
    shop = [thing(-600, 0.4), thing(-200, -0.3), thing(500), thing(700, 5.0)]
    assert speaks_for(RIB, string(0.0), shop, LEAN) == 1.0


@pytest.mark.parametrize("turn", [-7.0, 4.0])
def test_a_string_aslant_of_the_whole_shop_is_hardly_believed(turn: float) -> None:
    shop = [thing(-600, 0.4), thing(-200, -0.3), thing(500), thing(700, 0.2)]
    assert AWRY <= speaks_for(RIB, string(turn), shop, LEAN) < 2 * AWRY


def test_one_thing_alone_says_little_and_both_edges_of_it_are_one() -> None:
    one = speaks_for(RIB, string(5.0), [thing(-600)], LEAN)
    assert 0.2 < one < 1.0
    assert speaks_for(RIB, string(5.0), [thing(-600), thing(-575, depth_mm=2190.0)], LEAN) == pytest.approx(
        one, abs=0.03
    )


def test_more_of_them_say_more() -> None:
    shop = [thing(x) for x in (-900, -600, -200, 400, 800)]
    chances = [speaks_for(RIB, string(5.0), shop[:k], LEAN) for k in range(6)]
    assert chances == sorted(chances, reverse=True)
