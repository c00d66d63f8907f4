"""Two true level references agree on what is down; where they cannot, at most one of them is true."""

from __future__ import annotations

import numpy as np
import pytest

from shared.lines import Role
from vision.image.rectified import Plane
from vision.level.agree import contradict
from vision.level.gravity import Gravity, Judged
from vision.level.weighing import weighed
from vision.solution.scene import Lean, LineSeen

LENS = np.array([3000.0, 3000.0, 2000.0, 1500.0, 0.0, 0.0, 0.0, 0.0, 0.0])
RIB = Plane(np.array([0.0, 0.0, 1200.0]), np.array([1.0, 0, 0]), np.array([0, 1.0, 0]), LENS)


def string(x_mm: float, depth_mm: float = 1180.0, turn_deg: float = 0.0, pitch_deg: float = 0.0) -> LineSeen:
    """A string at x, this far away, its top turned to the right, seen by a camera pitched up."""
    z = np.linspace(-350, 350, 40)
    p = np.stack([x_mm + np.tan(np.radians(turn_deg)) * z, -z, np.full(40, depth_mm)], axis=1)
    c, s = np.cos(np.radians(pitch_deg)), np.sin(np.radians(pitch_deg))
    q = p @ np.array([[1, 0, 0], [0, c, s], [0, -s, c]])
    return seen(Role.PLUMB, q)


def laser(turn_deg: float = 0.0, height_mm: float = 20.0) -> LineSeen:
    """A level line on the rib, its right end turned up."""
    x = np.linspace(-300, 300, 40)
    z = height_mm + np.tan(np.radians(turn_deg)) * x
    return seen(Role.LEVEL, np.stack([x, -z, np.full(40, 1200.0)], axis=1))


def seen(role: Role, points: np.ndarray) -> LineSeen:
    """What an ideal camera sees of points (n, 3) mm."""
    pixels = np.stack([3000 * points[:, 0] / points[:, 2] + 2000, 3000 * points[:, 1] / points[:, 2] + 1500], axis=1)
    return LineSeen(role, pixels, np.full(40, 0.05), own_deg=0.02)


@pytest.mark.parametrize("depth", [1150.0, 1195.0, 900.0])
def test_two_true_strings_agree_at_any_depth(depth: float) -> None:
    lean = Lean(0.0, 0.3, "lean", 1.0)
    assert not contradict(RIB, string(-200.0), string(150.0, depth), lean)


def test_one_that_touches_something_is_noticed() -> None:
    """Half a degree off at 350 mm from the other, 1200 mm away: together they would have the rib lean by 1.7 degrees."""
    lean = Lean(0.0, 0.3, "lean", 1.0)
    assert contradict(RIB, string(-200.0), string(150.0, turn_deg=0.5), lean)
    assert not contradict(RIB, string(-200.0), string(150.0, turn_deg=0.5), Lean(0.0, 2.0, "lean", 1.0))


def test_a_stated_lean_is_taken_into_account() -> None:
    """A camera pitched by 3 degrees to a rib square to it: the rib leans by 3 degrees."""
    one, other = string(-200.0, pitch_deg=3.0), string(200.0, pitch_deg=3.0)
    signs = [contradict(RIB, one, other, Lean(s * 3.0, 0.3, "lean", 1.0)) for s in (-1, 1)]
    assert sorted(signs) == [False, True]
    assert contradict(RIB, one, other, Lean(0.0, 0.3, "lean", 1.0))


@pytest.mark.parametrize("x", [-250.0, 0.0, 250.0])
def test_a_string_and_a_level_line_are_held_against_each_other(x: float) -> None:
    """At the picture's side a string's way down depends on the lean: there they may differ by more."""
    lean = Lean(0.0, 0.3, "lean", 1.0)
    assert not contradict(RIB, string(x), laser(), lean)
    assert contradict(RIB, string(x), laser(1.0), lean)
    assert contradict(RIB, laser(1.0), string(x), lean)
    assert contradict(RIB, string(x), laser(0.2), Lean(0.0, 0.01, "lean", 1.0))


def test_what_contradicts_a_reference_takes_from_its_chance() -> None:
    lean = Lean(0.0, 0.3, "lean", 1.0)

    def chance(other: LineSeen, share: float) -> float:
        judged = (Judged(laser(), "laser", 0.99, True), Judged(other, "string", share, False))
        return weighed(Gravity((laser(),), chance=1.0, judged=judged), RIB, lean).chance

    alone = chance(string(0.0), 0.9)
    assert alone == pytest.approx(0.99 / 0.01 / (0.99 / 0.01 + 0.87), abs=1e-6)  # Bayes, prior odds of none 0.87
    assert chance(string(0.0, turn_deg=2.0), 0.9) < alone - 0.05
    assert chance(string(0.0, turn_deg=2.0), 0.99) == pytest.approx(99 / (99 + 0.87 + 99), abs=1e-6)
