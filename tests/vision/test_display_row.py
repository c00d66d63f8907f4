"""The row's model: fitted to figures, carried into a strip and back."""

import numpy as np
import pytest

from vision.display.finder import Row, _fitted
from vision.display.strip import HIGH, OVER, TALL, WIDE, cut, to_picture


@pytest.mark.parametrize("tilt", [-9.0, 0.0, 6.0])
def test_the_model_of_figures_in_a_row(tilt):
    rng = np.random.default_rng(2)
    t = np.radians(tilt)
    along = np.array([np.cos(t), np.sin(t)])
    figures = np.array([[*(np.array([200.0, 120.0]) + 30 * i * along), 40.0, 7.0, tilt, 1.0, 0.99] for i in range(4)])
    figures[:, :2] += rng.normal(0, 0.4, (4, 2))
    figures[:, 2] *= np.exp(rng.normal(0, 0.02, 4))
    figures[:, 4] += rng.normal(0, 1.5, 4)
    row = _fitted(figures)
    assert row.tilt == pytest.approx(tilt, abs=1.0)
    assert row.tall == pytest.approx(40, rel=0.04)
    assert row.slant == pytest.approx(7, abs=0.1)
    assert np.hypot(*(np.array(row.middle) - (200, 120) - 45 * along)) < 2
    assert row.reach == pytest.approx(90 / 40, abs=0.1)


@pytest.mark.parametrize(("tilt", "slant"), [(0.0, 0.0), (8.0, 10.0), (-5.0, 4.0), (173.0, 6.0)])
def test_a_strip_stands_upright_whatever_the_row_s_tilt_and_slant(tilt, slant):
    way = to_picture((300.0, 200.0), 60.0, slant, tilt)
    middle, top, right = (way[:, :2] @ p + way[:, 2] for p in
                          ([WIDE / 2, OVER + TALL / 2], [WIDE / 2, OVER], [WIDE / 2 + TALL, OVER + TALL / 2]))  # fmt: skip
    assert middle == pytest.approx([300, 200], abs=1e-9)
    t = np.radians(tilt)
    assert right - middle == pytest.approx(60 * np.array([np.cos(t), np.sin(t)]), abs=1e-9)
    # half a figure's height over the middle, and to the right by the slant
    up = np.array([np.sin(t), -np.cos(t)])
    assert float((top - middle) @ up) == pytest.approx(30, abs=1e-9)
    lean = float((top - middle) @ [np.cos(t), np.sin(t)])
    assert lean == pytest.approx(30 * np.tan(np.radians(slant)), abs=1e-9)


def test_dark_figures_come_out_light():
    picture = np.full((400, 600), 200, np.uint8)
    picture[185:215, 290:310] = 20
    strip = cut(picture, to_picture((300.0, 200.0), 60.0, 0.0, 0.0), light=False)
    assert strip.shape == (HIGH, WIDE)
    assert strip[OVER + TALL // 2, WIDE // 2] > 200
    assert strip[2, 2] < 80


def test_a_row_holds_what_stands_in_its_place_and_nothing_else():
    row = Row((100.0, 50.0), 20.0, 0.0, 0.0, 0.0, 3.0, 3.0)
    assert row.holds(Row((120.0, 52.0), 18.0, 0.0, 0.0, 0.0, 1.0, 0.0))
    assert not row.holds(Row((100.0, 85.0), 18.0, 0.0, 0.0, 0.0, 1.0, 0.0))
    assert not row.holds(Row((190.0, 50.0), 18.0, 0.0, 0.0, 0.0, 1.0, 0.0))
