"""One model for the whole row: its geometry is found again, its levels judge each segment, and what is no row is refused."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from benchmarks.display_render import TALL, Style, board
from vision.display.fit import Shape, anywhere, best_shape
from vision.display.likely import judged, stand_out
from vision.display.read import read_display
from vision.display.spoken import SURE
from vision.display.types import GLYPHS


def style(**other):
    usual = Style(width=0.56, thick=0.13, gap=0.02, pitch=0.84, slant=0.0, ends="hex", nine_tail=True, six_top=True,
                  seven_serif=False)  # fmt: skip
    return replace(usual, **other)


def ink(text, look):
    """(rows, columns) 0 to 1, figures TALL high with half as much over and under them."""
    return board(text, look, np.random.default_rng(4), 0.0, False)[0]


def photo(drawn, light=False, blur=2.0, noise=3.0, shrink=0.4):
    """(h, w) uint8."""
    grey = 25 + 170 * drawn if light else 185 - 150 * drawn
    small = cv2.resize(cv2.GaussianBlur(grey, (0, 0), blur), None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    return np.clip(small + np.random.default_rng(3).normal(0, noise, small.shape), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("slant", [0.0, 9.0])
def test_the_row_s_measures_are_found_from_a_poor_start(slant):
    drawn = ink("83.6", style(slant=slant)).astype(np.float32)
    start = Shape(0.2 * TALL, 1.6 * TALL, 0.03, 4.0, 0.5, 0.1)
    found = best_shape(drawn, [start, *anywhere(drawn)[:1]])
    shape = found.shape
    assert abs(shape.top - 0.5 * TALL) < 0.03 * TALL
    assert abs(shape.foot - 1.5 * TALL) < 0.03 * TALL
    assert abs(shape.slope) < 0.01
    # half a stroke at the top of a figure: the cores are narrower than the strokes, and lie within them still
    assert abs(shape.slant - slant) < np.degrees(np.arctan(0.5 * 0.13))
    assert abs(shape.width - 0.56) < 0.05
    assert len(found.lefts) == 3
    assert np.diff(found.lefts) == pytest.approx([0.84, 0.84], rel=0, abs=0.06)


def test_a_block_without_holes_is_no_figure():
    block = np.zeros((200, 300), np.float32)
    block[50:150, 100:156] = 1.0
    found = best_shape(block, [Shape(50.0, 150.0, 0.0, 0.0, 0.56, 0.13)])
    assert found.worth < 2.5  # an 8 is worth 7
    assert read_display((200 - 150 * block).astype(np.uint8), upright=True).value is None


def test_segments_are_judged_by_odds():
    on = {d: np.array([1.0 if n in lit else 0.0 for n in "abcdefg"]) for lit, d in GLYPHS.items()}
    rng = np.random.default_rng(7)
    clean = np.array([on[d] for d in "2895"]) + rng.normal(0, 0.03, (4, 7))
    assert [c for c, _, _ in judged(clean)] == list("2895")
    assert min(sure for _, _, sure in judged(clean)) > 0.9
    # g of the 8: faded to a half it is lit all the same, at a tenth it is not, in between it may be either
    for level, char, sure in ((0.5, "8", True), (0.08, "0", True), (0.22, None, False)):
        seen = clean.copy()
        seen[1, 6] = level
        figure = judged(seen)[1]
        assert (figure[2] >= 0.5) is sure
        assert char is None or figure[0] == char


def test_a_dim_stroke_is_lit_where_it_has_edges_and_the_row_is_dark_beside():
    on = {d: np.array([1.0 if n in lit else 0.0 for n in "abcdefg"]) for lit, d in GLYPHS.items()}
    seen = np.array([on[d] for d in "285"])
    seen[1, 4] = 0.55
    edged, blurred = np.zeros(seen.shape), np.where(seen == 0.55, 0.4, 0.0)
    assert judged(seen, stand_out(seen, edged))[1][0] == "8"
    assert judged(seen, stand_out(seen, edged))[1][2] >= SURE
    assert judged(seen, stand_out(seen, blurred))[1][2] < SURE  # light in the glass is as bright beside it
    faint = np.where(seen == 0, 0.55, seen)  # all the unlit ones are seen: which is lit?
    assert min(sure for _, _, sure in judged(faint, stand_out(faint, edged))) < SURE


def test_what_is_no_figure_is_not_sure():
    rng = np.random.default_rng(7)
    seen = rng.normal(0, 0.03, (2, 7)) + np.array([[1.0, 1, 1, 1, 1, 1, 1], [1, 0, 0, 1, 0, 0, 1]])  # three level bars
    assert judged(seen)[1][2] < 0.5


@pytest.mark.parametrize("text", ["0.9", "2.7", "-83.6"])
def test_segments_that_stand_far_apart(text):
    drawn = ink(text, style(ends="rect", thick=0.16, gap=0.035, width=0.6, pitch=0.9, slant=8.0))
    assert read_display(photo(drawn), upright=True).text == text


def test_half_the_height_of_figures_is_no_row():
    drawn = ink("0.7", style(ends="blunt", gap=0.04, thick=0.1))
    y, x = np.mgrid[0 : drawn.shape[0], 0 : drawn.shape[1]]
    glare = np.exp(-(((x - 330) / 120) ** 2) - ((y - 200) / 50) ** 2)
    for decimals in (None, 1):
        found = read_display(photo(drawn + 0.5 * glare, light=True, blur=4.0), upright=True, decimals=decimals)
        assert found.text in (None, "0.7")


@pytest.mark.parametrize("blur", [4.0, 8.0, 12.0])
def test_glowing_figures_are_not_read_by_what_lies_between_their_strokes(blur):
    drawn = ink("-1.7", style(ends="round", gap=0.03, thick=0.14, slant=9.0))
    glow = np.maximum(drawn, 0.0) + 0.25 * cv2.GaussianBlur(drawn, (0, 0), 18)
    assert read_display(photo(glow, light=True, blur=blur), upright=True).text in (None, "-1.7")


def test_a_square_is_a_minus_and_a_triangle_is_none():
    drawn = ink("8.3", style())
    drawn = np.pad(drawn, ((0, 0), (80, 0)))
    square, triangle = drawn.copy(), drawn.copy()
    middle, thick = int(TALL), int(0.13 * TALL)
    square[middle - thick // 2 : middle + thick // 2, 60 : 60 + thick] = 1
    layer = np.zeros(drawn.shape, np.uint8)
    cv2.fillPoly(layer, [np.array([[60, middle + 20], [100, middle + 20], [80, middle - 20]])], 1)
    triangle = np.maximum(triangle, layer)
    assert read_display(photo(drawn), upright=True).text == "8.3"
    assert read_display(photo(square), upright=True).text == "-8.3"
    for blur in (1.0, 4.0, 8.0):
        assert read_display(photo(triangle, blur=blur), upright=True).text in (None, "8.3")
