"""A lost minus turns an angle round: no display is read without it unless the place before the digits is seen empty."""

import cv2
import numpy as np
import pytest
from display_render import TALL, Style, board, draw_display

from vision.display.read import read_display
from vision.display.tag import FIRST_TAG, find_tags, tag_picture

STYLE = Style(width=0.56, thick=0.13, gap=0.02, pitch=0.84, slant=0.0, ends="hex", nine_tail=True, six_top=True,
              seven_serif=False)  # fmt: skip


def ink(text):
    """(rows, columns) 0 to 1, figures TALL high, room for signs at the left."""
    return np.pad(board(text, STYLE, np.random.default_rng(4), 0.0, False)[0], ((0, 0), (80, 0)))


def photo(grey, high, noise=2.0):
    """(h, w) uint8, figures `high` pixels high."""
    small = cv2.resize(
        cv2.GaussianBlur(grey, (0, 0), 4.0), None, fx=high / TALL, fy=high / TALL, interpolation=cv2.INTER_AREA
    )
    return np.clip(small + np.random.default_rng(3).normal(0, noise, small.shape), 0, 255).astype(np.uint8)


def test_a_minus_half_drowned_in_glare_is_not_lost():
    display = draw_display(np.random.default_rng([90_310, 146]), "measure")
    assert display.text == "-21.3"  # was read as 21.3
    assert read_display(display.image, display.corners).text in (None, "-21.3")


@pytest.mark.parametrize(
    ("below", "light", "high"), [(0, 120.0, 28), (0, 260.0, 28), (25, 260.0, 60), (-40, 260.0, 28)]
)
def test_glare_about_the_minus(below, light, high):
    drawn = ink("-8.3")
    y, x = np.mgrid[0 : drawn.shape[0], 0 : drawn.shape[1]]
    spot = np.exp(-(((x - 236) / 70) ** 2) - ((y - TALL - below) / 35) ** 2)
    found = read_display(photo(150 - 110 * drawn + light * spot, high), upright=True)
    assert found.text in (None, "-8.3")


@pytest.mark.parametrize("light", [False, True])
def test_a_minus_that_a_line_runs_into(light):
    drawn = ink("-8.3")
    drawn[:, 192:204] = 1  # a scratch, or the window's frame, at the minus's left end
    grey = 25 + 170 * drawn if light else 180 - 150 * drawn
    assert read_display(photo(grey, 50), upright=True).text in (None, "-8.3")


@pytest.mark.parametrize("level", [0.1, 0.25, 0.4, 0.6])
def test_a_fading_minus(level):
    drawn = ink("-8.3")
    drawn[:, :340] *= level
    found = read_display(photo(180 - 150 * drawn, 50), upright=True)
    # up to an eighth it may be a segment that is not lit; from a quarter it may be a faded one
    assert found.text in ((None, "8.3") if level < 0.25 else (None, "-8.3"))


def test_signs_beside_the_digits_are_never_read_as_a_minus():
    drawn = ink("8.3")
    layer = np.zeros(drawn.shape, np.uint8)
    middle = int(TALL)
    cv2.fillPoly(layer, [np.array([[30, middle + 20], [66, middle + 20], [48, middle - 20]])], 255, cv2.LINE_AA)
    right = drawn.shape[1]
    layer = np.pad(layer, ((0, 0), (0, 120)))
    cv2.circle(layer, (right + 10, 124), 22, 255, 10, cv2.LINE_AA)  # a degree ring over a word
    cv2.putText(layer, "ABS", (right - 20, middle + 70), cv2.FONT_HERSHEY_SIMPLEX, 1.4, 255, 6, cv2.LINE_AA)
    both = np.maximum(np.pad(drawn, ((0, 0), (0, 120))), layer / 255)
    for image in (photo(180 - 150 * both, 60), photo(25 + 170 * both, 40)):
        found = read_display(image, upright=True)
        assert found.value is None or found.text == "8.3"


def test_a_small_tag_in_noise():
    front = np.full((300, 300), 110.0)
    front[60:240, 60:240] = 20 + 0.6 * cv2.resize(tag_picture(FIRST_TAG), (180, 180), interpolation=cv2.INTER_AREA)
    turn = cv2.getRotationMatrix2D((150, 150), 7.0, 0.35)
    seen = cv2.warpAffine(cv2.GaussianBlur(front, (0, 0), 1.5), turn, (300, 300), borderValue=110)
    true = np.array([[80, 80], [220, 80], [220, 220], [80, 220]]) @ turn[:, :2].T + turn[:, 2]
    for seed in range(4):
        noisy = seen + np.random.default_rng(seed).normal(0, 9, seen.shape)
        found = find_tags(np.clip(noisy, 0, 255).astype(np.uint8))
        assert list(found) == [FIRST_TAG]
        assert np.abs(found[FIRST_TAG] - true).max() < 1.5
