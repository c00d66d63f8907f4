"""Candidates: a straight line is among them however faint, and nothing is found twice."""

from __future__ import annotations

import numpy as np
import pytest
from made_raster import noise, raster, with_line

from vision.evidence.candidates import Candidates, find_candidates

HIDE = np.zeros((400, 400), bool)


def found(picture: np.ndarray, hide: np.ndarray = HIDE, most: int = 20) -> Candidates:
    return find_candidates(raster(picture), hide, np.tan(np.radians(14)), 900.0, most, 2.0)


def nearest(c: Candidates, row: float, slope: float, first: float = 0, last: float = 399) -> tuple[int, float]:
    """Rank of the candidate nearest to a line, and how far it lies from it at most, rows."""
    ends = np.array([first, last])
    off = np.abs(c.at(ends) - (row + slope * ends)).max(1)
    return int(off.argmin()), float(off.min())


@pytest.mark.parametrize("slope", [-0.5, -0.123, 0.0, 0.0371, 0.4])
@pytest.mark.parametrize("depth", [60.0, 12.0, 4.0])
def test_a_line_is_the_first_candidate_down_to_a_depth_of_one_noise(slope: float, depth: float) -> None:
    """At 4 grey levels no single pixel of the line stands out of the noise of 4; summed along it does."""
    row = 200.3 - 200 * slope
    rank, off = nearest(found(with_line(noise(3, 4.0), row, slope, depth)), row, slope)
    assert rank == 0
    assert off < 1.5


def test_a_short_line_is_found_among_longer_ones() -> None:
    picture = noise(5, 2.0)
    for k in range(6):
        picture = with_line(picture, 40.0 + 25 * k, 0.01 * k, 25.0)
    picture = with_line(picture, 300.2, -0.05, 25.0, first=150, last=280)
    assert nearest(found(picture), 300.2, -0.05, 150, 280)[1] < 1.5


def test_a_light_line_counts_as_a_dark_one() -> None:
    rank, off = nearest(found(with_line(noise(7, 3.0), 180.0, 0.02, -20.0)), 180.0, 0.02)
    assert rank == 0
    assert off < 1.5


def test_no_two_candidates_are_the_same_line() -> None:
    c = found(with_line(noise(9, 3.0), 180.0, 0.02, 30.0, half=1.5))
    quarters = c.at(np.array([100.0, 300.0]))
    apart = np.abs(quarters[:, None] - quarters[None]).max(2) + 1e3 * np.eye(len(c))
    assert apart.min() * 0.75 > 1.0


def test_what_is_hidden_is_not_found() -> None:
    hide = HIDE.copy()
    hide[170:190] = True
    assert nearest(found(with_line(noise(11, 3.0), 180.0, 0.0, 60.0), hide), 180.0, 0.0)[1] > 5


def test_candidates_come_in_falling_order_and_no_more_than_asked() -> None:
    picture = noise(13, 3.0)
    for k in range(9):
        picture = with_line(picture, 30.0 + 40 * k, 0.0, 8.0 + 3 * k)
    c = found(picture, most=5)
    assert len(c) <= 5
    assert (np.diff(c.gain) <= 0).all()


def test_the_picture_is_left_as_it_is() -> None:
    r = raster(with_line(noise(15, 3.0), 180.0, 0.0, 30.0))
    before = r.grey.copy()
    find_candidates(r, HIDE, 0.2, 900.0, 10, 2.0)
    assert (r.grey == before).all()
