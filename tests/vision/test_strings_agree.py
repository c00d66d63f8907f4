"""Two strings that both hang plumb agree on gravity; where they cannot, at most one of them is true."""

from __future__ import annotations

import numpy as np
import pytest

from vision.image.rectified import Plane
from vision.level.agree import contradict
from vision.solution.scene import Lean

LENS = np.array([3000.0, 3000.0, 2000.0, 1500.0, 0.0, 0.0, 0.0, 0.0, 0.0])
RIB = Plane(np.array([0.0, 0.0, 1200.0]), np.array([1.0, 0, 0]), np.array([0, 1.0, 0]), LENS)


def string(x_mm: float, depth_mm: float = 1180.0, turn_deg: float = 0.0, pitch_deg: float = 0.0) -> np.ndarray:
    """Pixels of a string at x, this far away, its top turned to the right, seen by a camera pitched up."""
    z = np.linspace(-350, 350, 40)
    p = np.stack([x_mm + np.tan(np.radians(turn_deg)) * z, -z, np.full(40, depth_mm)], axis=1)
    c, s = np.cos(np.radians(pitch_deg)), np.sin(np.radians(pitch_deg))
    q = p @ np.array([[1, 0, 0], [0, c, s], [0, -s, c]])
    return np.stack([3000 * q[:, 0] / q[:, 2] + 2000, 3000 * q[:, 1] / q[:, 2] + 1500], axis=1)


@pytest.mark.parametrize("depth", [1150.0, 1195.0, 900.0])
def test_two_true_strings_agree_at_any_depth(depth: float) -> None:
    lean = Lean(0.0, 0.3, "lean", 1.0)
    assert not contradict(RIB, string(-200.0), string(150.0, depth), lean, 0.02)


def test_one_that_touches_something_is_noticed() -> None:
    """Half a degree off at 350 mm from the other, 1200 mm away: together they would have the rib lean by 1.7 degrees."""
    lean = Lean(0.0, 0.3, "lean", 1.0)
    assert contradict(RIB, string(-200.0), string(150.0, turn_deg=0.5), lean, 0.02)
    assert not contradict(RIB, string(-200.0), string(150.0, turn_deg=0.5), Lean(0.0, 2.0, "lean", 1.0), 0.02)


def test_a_stated_lean_is_taken_into_account() -> None:
    """A camera pitched by 3 degrees to a rib square to it: the rib leans by 3 degrees."""
    one, other = string(-200.0, pitch_deg=3.0), string(200.0, pitch_deg=3.0)
    signs = [contradict(RIB, one, other, Lean(s * 3.0, 0.3, "lean", 1.0), 0.02) for s in (-1, 1)]
    assert sorted(signs) == [False, True]
    assert contradict(RIB, one, other, Lean(0.0, 0.3, "lean", 1.0), 0.02)
