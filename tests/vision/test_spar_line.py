"""The pen tells a spar line from a shadow: breadth and ink. A pixel is a millimetre."""

from __future__ import annotations

import numpy as np
import pytest
from drawn_bar import Bar, flat_plane

from vision.lines.measure import Stroke, measure
from vision.lines.spar import is_shadow, is_string
from vision.lines.spar_line import broad, same_pen


def stroke(bar: Bar, seed: int = 5) -> Stroke:
    a, b = bar.ends()
    found = measure(
        bar.noisy(2.0, np.random.default_rng(seed)), flat_plane(), a, b, half_px=9.0, segment_mm=10.0, blur_px=0.85
    )
    assert found is not None
    return found


CHORD = Bar(width=1.5, ink=70.0)


@pytest.mark.parametrize("width", [0.4, 1.0, 1.5, 3.0])
def test_one_pen_is_known_again(width: float) -> None:
    """Thinner than a pixel or thicker; on a short line as on a long one; a little paler, as where the hand eases."""
    chord = stroke(Bar(width=width, ink=70.0), 1)
    short = stroke(Bar(width=width, ink=80.0, size=(90, 61), slope=-0.03), 2)
    assert same_pen(short, chord)


@pytest.mark.parametrize(
    "shadow",
    [
        Bar(width=1.5, ink=140.0),
        Bar(width=1.5, ink=20.0, above=250, below=250),
        Bar(width=4.0, ink=70.0),
        Bar(width=3.0, ink=130.0, blur=2.0),
    ],
)
def test_a_shadow_or_another_pen_is_not(shadow: Bar) -> None:
    """Paler, darker, broader, softer."""
    assert not same_pen(stroke(shadow), stroke(CHORD))


def test_breadth_holds_where_width_and_blur_cannot_be_told_apart() -> None:
    """A line of half a pixel: its profile is the blur's, whatever share of that the fit calls width."""
    expected = np.hypot(0.5 / np.sqrt(12), np.hypot(0.8, 1 / np.sqrt(12)))
    assert broad(stroke(Bar(width=0.5, ink=20.0))) == pytest.approx(expected, rel=0.15)


def test_what_the_string_and_its_shadow_may_be() -> None:
    """Shadow: within 0.065 chords of the string and parallel to two degrees; the string itself: within 3 mm."""
    string = np.array([[400.0, 0.0], [410.0, 1000.0]])

    def beside(top: float, bottom: float) -> np.ndarray:
        return np.array([[404.5 + top, 450.0], [405.3 + bottom, 530.0]])

    assert is_string(beside(1.0, 1.0), string)
    assert not is_string(beside(10.0, 10.0), string)
    assert is_shadow(beside(40.0, 41.0), string, 800.0)
    assert not is_shadow(beside(70.0, 70.0), string, 800.0)
    assert not is_shadow(beside(10.0, 20.0), string, 800.0)
