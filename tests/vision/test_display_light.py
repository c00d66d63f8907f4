"""The display reader where light, words or a fading segment come between: right or silent, never another figure."""

import cv2
import numpy as np
import pytest

from benchmarks.display_render import LIT, TALL, Style, board, segments
from vision.display.read import read_display

STYLE = Style(width=0.55, thick=0.13, gap=0.015, pitch=0.8, slant=6.0, ends="hex", nine_tail=True, six_top=True,
              seven_serif=False)  # fmt: skip


def ink(text):
    """(rows, columns) 0 to 1, figures TALL high."""
    return board(text, STYLE, np.random.default_rng(4), 0.0, False)[0]


def small(grey, noise=0.0):
    """(h, w) uint8, half as large, with noise."""
    half = cv2.resize(np.asarray(grey), None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    half = half + np.random.default_rng(8).normal(0, 1, half.shape) * noise
    return np.clip(half, 0, 255).astype(np.uint8)


def test_glare_over_the_figures():
    drawn = ink("-4.8")
    y, x = np.mgrid[0 : drawn.shape[0], 0 : drawn.shape[1]]
    blob = np.exp(-(((x - 330) / 150) ** 2) - ((y - 190) / 75) ** 2)
    found = read_display(small(150 - 105 * drawn + 105 * blob, 2.0), upright=True)
    assert found.text == "-4.8"


def test_faint_figures_beside_a_shadow_in_noise():
    drawn = ink("23.5")
    x = np.arange(drawn.shape[1])
    light = np.where(x < 90, 1.0, 0.62)[None, :]
    found = read_display(small((110 - 32 * drawn) * light, 6.0), upright=True)
    assert found.text == "23.5"


def test_words_close_over_and_under_the_figures():
    drawn = ink("92.9")
    layer = np.zeros(drawn.shape, np.uint8)
    top = int(0.5 * TALL)
    cv2.putText(layer, "in/ft", (270, top - 14), cv2.FONT_HERSHEY_SIMPLEX, 1.3, 255, 5, cv2.LINE_AA)
    cv2.putText(layer, "mm/m", (110, int(top + TALL + 44)), cv2.FONT_HERSHEY_SIMPLEX, 1.3, 255, 5, cv2.LINE_AA)
    found = read_display(small(180 - 150 * np.maximum(drawn, layer / 255.0), 2.0), upright=True)
    assert found.text == "92.9"


@pytest.mark.parametrize("level", [0.1, 0.2, 0.25, 0.3, 0.35, 0.4, 0.5, 0.6, 0.7])
def test_a_fading_segment_gives_the_right_figure_or_none(level):
    drawn = ink("35.4")
    outline = segments(STYLE)["f"] * TALL + [0.5 * TALL, 0.5 * TALL]
    outline[:, 0] += np.tan(np.radians(STYLE.slant)) * (1.5 * TALL - outline[:, 1])
    layer = np.zeros(drawn.shape, np.uint8)
    cv2.fillPoly(layer, [np.round(outline).astype(np.int32)], 255)
    assert set(LIT["9"]) - set(LIT["3"]) == {"f"}
    found = read_display(small(180 - 150 * np.maximum(drawn, level * layer / 255.0), 2.0), upright=True)
    # up to an eighth a segment may be one that is not lit; from a quarter it may be a faded one
    assert found.text in ((None, "35.4") if level < 0.25 else (None, "95.4"))


def test_a_blunt_one_is_no_other_figure():
    style = Style(width=0.55, thick=0.16, gap=0.03, pitch=0.85, slant=0.0, ends="hex", nine_tail=True, six_top=True,
                  seven_serif=False)  # fmt: skip
    drawn = board("1.1", style, np.random.default_rng(4), 0.05, False)[0]
    seen = cv2.GaussianBlur(30 + 120 * drawn, (0, 0), 6.0)
    for scale in (0.16, 0.25, 0.5):
        shown = cv2.resize(seen, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        assert read_display(np.clip(shown, 0, 255).astype(np.uint8), upright=True).text in (None, "1.1")
