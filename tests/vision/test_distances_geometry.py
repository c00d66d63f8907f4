"""Lengths and angles between points and lines: by hand, with the signs that the documents promise."""

from __future__ import annotations

import math

import numpy as np
import pytest

from shared.dimensions import Kind, Shape, parse_feature
from vision.distances.geometry import Undefined, crossing, value_of

P = np.array


def line(x0: float, y0: float, x1: float, y1: float) -> np.ndarray:
    return np.array([[x0, y0], [x1, y1]])


def turned(points: np.ndarray, deg: float, shift: tuple[float, float] = (0.0, 0.0)) -> np.ndarray:
    c, s = math.cos(math.radians(deg)), math.sin(math.radians(deg))
    return points @ np.array([[c, s], [-s, c]]) + np.array(shift)


def test_a_distance_is_pythagoras() -> None:
    assert value_of(Kind.DISTANCE, P([1.0, 2.0]), P([4.0, 6.0])) == pytest.approx(5.0, abs=1e-12)


@pytest.mark.parametrize("way", [1, -1])
def test_an_offset_is_positive_above_and_before(way: int) -> None:
    """Whichever end of the line came first."""
    level, upright = line(0, 0, 100, 0)[::way], line(0, 0, 0, 100)[::way]
    assert value_of(Kind.OFFSET, level, P([50.0, 3.0])) == pytest.approx(3.0)
    assert value_of(Kind.OFFSET, level, P([500.0, -3.0])) == pytest.approx(-3.0)
    assert value_of(Kind.OFFSET, upright, P([3.0, 50.0])) == pytest.approx(3.0)
    assert value_of(Kind.OFFSET, upright, P([-3.0, 50.0])) == pytest.approx(-3.0)


@pytest.mark.parametrize("deg", [0.0, 7.0, -40.0])
def test_a_step_is_where_the_two_meet(deg: float) -> None:
    """A second edge that rises by 1 in 100 and meets the first at 0.8 above it: the step is 0.8, not what its middle has."""
    a, b = line(-100, 0, -1, 0), line(1, 0.8, 101, 1.8)
    got = value_of(Kind.STEP, turned(a, deg), turned(b, deg))
    assert got == pytest.approx(0.8 - 0.01, abs=0.01)
    assert value_of(Kind.STEP, turned(b, deg), turned(a, deg)) == pytest.approx(-got, abs=1e-12)


def test_a_gap_is_taken_halfway_along_what_faces() -> None:
    """Edges 2 and 4 mm apart at their ends: 3 halfway, however far one of them runs on."""
    a, b = line(0, 0, 0, 100), line(2, 0, 4, 100)
    assert value_of(Kind.GAP, a, b) == pytest.approx(3.0, abs=0.01)
    assert value_of(Kind.GAP, b[::-1], a) == pytest.approx(3.0, abs=0.01)
    longer = line(0, -300, 0, 100)
    assert value_of(Kind.GAP, longer, b) == pytest.approx(3.0, abs=0.01)


def test_no_gap_where_edges_do_not_face_and_no_step_where_they_cross() -> None:
    with pytest.raises(Undefined, match="do not face each other"):
        value_of(Kind.GAP, line(0, 0, 10, 0), line(20, 1, 30, 1))
    with pytest.raises(Undefined, match="meet at 45 deg"):
        value_of(Kind.STEP, line(0, 0, 10, 0), line(10, 0, 20, 10))
    with pytest.raises(Undefined, match="no crossing"):
        crossing(line(0, 0, 100, 0), line(0, 1, 100, 2))
    with pytest.raises(Undefined, match="are one"):
        value_of(Kind.ANGLE, line(5, 5, 5, 5), line(0, 0, 1, 0))


def test_a_place_on_the_chord_counts_from_the_nose_aft() -> None:
    """x is forward: the nose at 400, the spar at 100, so 300 aft of it, whichever way the chord line was found."""
    chord = line(-500, 0, 500, 0)
    spar = turned(line(0, -40, 0, 40), 2.0, (100.0, 0.0))
    for each in (chord, chord[::-1]):
        assert value_of(Kind.PLACE, P([400.0, 0.5]), spar, each) == pytest.approx(300.0, abs=1e-9)


@pytest.mark.parametrize("turn", [-8.0, 0.5, 30.0])
@pytest.mark.parametrize("ways", [(1, 1), (1, -1), (-1, 1)])
def test_an_angle_is_nose_up_from_the_first_to_the_second(turn: float, ways: tuple[int, int]) -> None:
    a = line(0, 0, 100, 5)
    assert value_of(Kind.ANGLE, a[:: ways[0]], turned(a, turn)[:: ways[1]]) == pytest.approx(turn, abs=1e-9)


@pytest.mark.parametrize("seen", [1.0, -1.0])
@pytest.mark.parametrize("root", [1.0, -1.0])
@pytest.mark.parametrize("end", [1, -1])
def test_sweep_is_positive_aft_from_above_and_from_below_on_either_wing(seen: float, root: float, end: int) -> None:
    """A leading edge whose tip lies 120 mm aft over 2000 mm of span; y mirrors the view, its sign the wing. The string counts
    from root to tip, the swept line either way."""
    y = seen * root
    string, edge = line(0, 0, 0, 2000 * y), line(30, 0, -90, 2000 * y)[::end]
    assert value_of(Kind.SWEEP, string, edge) == pytest.approx(math.degrees(math.atan2(120, 2000)), abs=1e-9)
    assert value_of(Kind.SWEEP, edge[::end], string) == pytest.approx(-math.degrees(math.atan2(120, 2000)), abs=1e-9)


def test_a_card_whose_arrow_runs_along_the_string_tells_no_sweep() -> None:
    with pytest.raises(Undefined, match="arrow towards the leading edge"):
        value_of(Kind.SWEEP, line(0, 0, 100, 2), line(0, 5, 100, 9))


@pytest.mark.parametrize(
    ("text", "shape"),
    [
        ("nose", Shape.POINT),
        ("tail", Shape.POINT),
        ("card 12", Shape.POINT),
        ("mark top hinge", Shape.POINT),
        ("chord x edge rib rear", Shape.POINT),
        ("edge rib rear", Shape.LINE),
        ("mark a to card 3", Shape.LINE),
    ],
)
def test_features_are_written_as_they_are_read(text: str, shape: Shape) -> None:
    feature = parse_feature(text)
    assert (feature.shape, feature.text) == (shape, text)


@pytest.mark.parametrize(
    "text",
    ["", "hinge", "mark", "card 31", "card x", "mark a to mark a", "edge a to mark b", "chord x mark a", "a x b x c"],
)
def test_what_is_no_feature_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"is not one of|needs two different"):
        parse_feature(text)
