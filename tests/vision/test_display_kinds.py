"""Gauges of other kinds: no decimal point, two decimals, a fraction, an arrow for the sense, a display that turns round."""

import cv2
import numpy as np
import pytest
from display_render import TALL, Style, board

from vision.display.read import crop_of, read_display

STYLE = Style(width=0.56, thick=0.13, gap=0.02, pitch=0.84, slant=5.0, ends="hex", nine_tail=True, six_top=True,
              seven_serif=False)  # fmt: skip


def ink(text):
    """(rows, columns) 0 to 1, figures TALL high."""
    return board(text, STYLE, np.random.default_rng(4), 0.0, False)[0]


def photo(drawn, high=60, light=False):
    """(h, w) uint8 of a display, figures `high` pixels high; light : they shine."""
    grey = cv2.GaussianBlur(25 + 170 * drawn if light else 180 - 150 * drawn, (0, 0), 4.0)
    small = cv2.resize(grey, None, fx=high / TALL, fy=high / TALL, interpolation=cv2.INTER_AREA)
    return np.clip(small + np.random.default_rng(3).normal(0, 2.0, small.shape), 0, 255).astype(np.uint8)


def corners(image):
    """The whole picture as the marked window."""
    h, w = image.shape
    return np.array([[0, 0], [w - 1, 0], [w - 1, h - 1], [0, h - 1]], float)


def around(image, room=40):
    """The picture with the gauge's case round it, and the window's corners in it."""
    edge = cv2.copyMakeBorder(image, room, room, room, room, cv2.BORDER_CONSTANT, value=90)
    return edge, corners(image) + room


@pytest.mark.parametrize("light", [False, True])
@pytest.mark.parametrize("text", ["40.01", "-12.35", "0.05"])
def test_two_decimals(text, light):
    image, window = around(photo(ink(text), light=light))
    for decimals in (None, 2):
        assert read_display(image, window, decimals=decimals).text == text


@pytest.mark.parametrize("text", ["34", "-7", "90"])
def test_a_gauge_without_a_point_is_read_where_that_is_said_and_refused_by_name_where_not(text):
    image, window = around(photo(ink(text)))
    assert read_display(image, window, decimals=0).text == text
    found = read_display(image, window)
    assert found.value is None
    assert "no decimal point seen" in found.reason
    assert found.likely[0][0] == text  # offered, for a person to confirm


def test_a_fraction_of_an_inch_per_foot_is_refused_by_name():
    whole, small = ink("3"), [cv2.resize(ink(n), None, fx=0.6, fy=0.6)[30:, 30:-30] for n in "18"]
    pad = np.zeros((whole.shape[0], small[0].shape[1] + small[1].shape[1] + 60))
    drawn = np.hstack([whole[:, :-60], pad])
    x = whole.shape[1] - 90
    for part, left in ((small[0], x), (small[1], x + small[0].shape[1] + 50)):
        top = int(1.5 * TALL) - int(0.6 * TALL) - 30
        spot = drawn[top : top + part.shape[0], left : left + part.shape[1]]
        np.maximum(spot, part[: spot.shape[0], : spot.shape[1]], out=spot)
    bar = np.zeros(drawn.shape, np.uint8)
    middle = x + small[0].shape[1] + 15
    cv2.line(bar, (middle - 25, int(1.5 * TALL)), (middle + 25, int(0.9 * TALL)), 255, 12, cv2.LINE_AA)
    image, window = around(photo(np.maximum(drawn, bar / 255.0)))
    found = read_display(image, window)
    assert found.value is None
    assert "shows a fraction" in found.reason


@pytest.mark.parametrize("up", [True, False])
def test_an_arrow_for_the_sense_is_no_sign_and_is_flagged_or_the_number_refused(up):
    drawn = np.pad(ink("8.3"), ((0, 0), (120, 0)))
    layer = np.zeros(drawn.shape, np.uint8)
    tip, foot = (150, 250) if up else (250, 150)
    cv2.fillPoly(layer, [np.array([[100, foot], [190, foot], [145, tip]])], 255, cv2.LINE_AA)
    image, window = around(photo(np.maximum(drawn, layer / 255.0)))
    found = read_display(image, window)
    assert found.text in (None, "8.3")
    assert found.text is None or "display-arrow" in {f.code for f in found.flags}


@pytest.mark.parametrize("light", [False, True])
@pytest.mark.parametrize("decimals", [None, 1])
@pytest.mark.parametrize("text", ["8.1", "12.5", "-2.8", "60.2", "13.4"])
def test_a_display_that_turns_itself_round_is_read_as_it_stands(text, decimals, light):
    """The gauge is held upside down and turns its figures: in the corners that its tag gives they stand on their heads."""
    image, window = around(photo(ink(text), light=light))
    found = read_display(image, np.roll(window, 2, axis=0), decimals=decimals)
    assert found.text in (None, text)
    assert found.text is None or "display-upside-down" in {f.code for f in found.flags}
    if not set(text) & set("347"):
        return
    assert found.text == text


def test_the_crop_to_confirm_stands_as_its_figures_do():
    image = photo(ink("34.7"))
    for shown in (image, np.ascontiguousarray(image[::-1, ::-1])):
        part = crop_of(shown, read_display(shown))
        assert read_display(part, upright=True).text == "34.7"
