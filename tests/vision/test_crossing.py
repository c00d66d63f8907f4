"""What passes in front of the rib, told from what is behind it and what is drawn on it. A pixel is a millimetre."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
import pytest
from drawn_bar import flat_plane

from vision.level.crossing import Crossing, look_along
from vision.level.references import UprightLine

CHORD = np.array([[100.0, 500.0], [900.0, 500.0]])
WALL, RIB = (150, 150, 150), (205, 215, 225)
Colour = tuple[int, int, int]


@dataclass
class Shop:
    """A rib 85 mm deep before a wall; lines behind it, on it and before it, each (x at top, x at bottom, width, BGR)."""

    behind: list[tuple[float, float, float, Colour]] = field(default_factory=list)
    on_rib: list[tuple[float, float, float, Colour]] = field(default_factory=list)
    before: list[tuple[float, float, float, Colour]] = field(default_factory=list)
    noise: float = 2.5
    card: bool = False

    def photo(self, seed: int = 1) -> np.ndarray:
        """(1000, 1000, 3) uint8."""
        image = np.full((1000, 1000, 3), WALL, dtype=np.float64)
        for line in self.behind:
            draw(image, line, 0, 1000)
        image[440:525, 100:900] = RIB
        for line in self.on_rib:
            draw(image, line, 440, 525)
        if self.card:
            image[442:490, 330:470] = 240
            image[446:486:2, 334:466:3] = 20
        for line in self.before:
            draw(image, line, 0, 1000)
        image = cv2.GaussianBlur(image, (0, 0), 0.8)
        return np.clip(image + np.random.default_rng(seed).normal(0, self.noise, image.shape), 0, 255).astype(np.uint8)

    def grey(self, seed: int = 1) -> np.ndarray:
        """(1000, 1000) uint8."""
        return cv2.cvtColor(self.photo(seed), cv2.COLOR_BGR2GRAY)


def draw(image: np.ndarray, line: tuple[float, float, float, Colour], first: int, last: int) -> None:
    """An upright line with soft sides between two rows."""
    top, bottom, width, colour = line
    rows = np.arange(first, last)[:, None]
    x = top + (bottom - top) * rows / 1000
    cover = np.clip(0.5 + width / 2 - np.abs(np.arange(1000) - x), 0, 1)[..., None]
    image[first:last] += cover * (np.array(colour) - image[first:last])


def judged(image: np.ndarray, top: float, bottom: float, **more: object) -> Crossing:
    """The straight line from (top, 0) to (bottom, 1000) looked along."""
    at = 0.5 * (top + bottom)
    line = UprightLine(np.array([[top, 0.0], [bottom, 1000.0]]), 1.0, 1.0, 1.0, 0.1, np.array([at, 500.0]))
    crossing = look_along(image, flat_plane(), line, CHORD, 800.0, True, **more)  # type: ignore[arg-type]
    assert crossing is not None
    return crossing


@pytest.mark.parametrize("colour", [(60, 60, 60), (240, 240, 240), (100, 90, 60)])
def test_a_string_passes_and_its_path_is_found(colour: Colour) -> None:
    """Found three pixels askew at one end and two at the other, it is put right to a pixel or so."""
    crossing = judged(Shop(before=[(402.0, 398.0, 2.0, colour)]).grey(), 405.0, 396.0)
    assert crossing.passes
    assert np.abs(np.interp(crossing.ends[:, 1], [0, 1000], [402.0, 398.0]) - crossing.ends[:, 0]).max() < 1.5
    assert crossing.aside_px <= 4


@pytest.mark.parametrize("width", [2.0, 6.0])
def test_a_pole_behind_the_rib_does_not_pass(width: float) -> None:
    crossing = judged(Shop(behind=[(402.0, 398.0, width, (60, 60, 60))]).grey(), 402.0, 398.0)
    assert crossing.above > 0.8 and crossing.below > 0.8
    assert crossing.upper < 0.2 and crossing.lower < 0.4
    assert not crossing.passes


def test_a_line_drawn_on_the_rib_does_not_pass() -> None:
    crossing = judged(Shop(on_rib=[(400.0, 400.0, 2.0, (60, 60, 60))]).grey(), 400.0, 400.0)
    assert crossing.upper > 0.8 and crossing.above < 0.2 and crossing.below < 0.2
    assert not crossing.passes


def test_nothing_passes_where_there_is_nothing() -> None:
    """Neither on even ground nor along the edge of a board behind the rib, which is no stripe."""
    for shop in (Shop(), Shop(behind=[(600.0, 600.0, 400.0, (90, 90, 90))])):
        assert not judged(shop.grey(), 400.0, 400.0).passes


def test_a_string_of_the_walls_brightness_passes_in_colour_only() -> None:
    """BGR (150, 150, 150) has the grey of (83, 150, 185) by Rec. 601, the weights of OpenCV's grey."""
    shop = Shop(before=[(400.0, 400.0, 2.0, (83, 150, 163))])
    grey = 0.114 * 83 + 0.587 * 150 + 0.299 * 163
    assert grey == pytest.approx(150, abs=4)
    assert not judged(shop.grey(), 400.0, 400.0).passes
    assert judged(shop.photo(), 400.0, 400.0).passes


def test_a_faint_string_shows_over_several_stretches_together() -> None:
    """Five grey levels deep on noise of six: no stretch of 3 mm shows it by itself."""
    string = (WALL[0] - 12, WALL[1] - 12, WALL[2] - 12)
    shop = Shop(before=[(400.0, 400.0, 1.5, string)], noise=6.0)
    assert judged(shop.grey(), 400.0, 400.0).above > 0.5
    assert judged(Shop(noise=6.0).grey(), 400.0, 400.0).above < 0.25


def test_a_card_over_the_rib_leaves_the_rest_to_decide() -> None:
    """Judged below the card, where the rib is bare, and only if it shows both above and below the rib."""
    box = ((328.0, 440.0, 472.0, 492.0),)
    string = judged(Shop(before=[(400.0, 400.0, 2.0, (60, 60, 60))], card=True).grey(), 400.0, 400.0, covers=box)
    pole = judged(Shop(behind=[(400.0, 400.0, 2.0, (60, 60, 60))], card=True).grey(), 400.0, 400.0, covers=box)
    assert np.isnan(string.upper) and string.passes
    assert np.isnan(pole.upper) and not pole.passes


def test_a_line_led_astray_by_a_pole_shows_aside_of_the_string() -> None:
    """A string at 402..398 with a pole behind it at 392..412: along the pole all parts show, but the stripe on the rib
    runs otherwise."""
    shop = Shop(behind=[(385.0, 415.0, 5.0, (60, 60, 60))], before=[(402.0, 399.0, 2.0, (60, 60, 60))])
    along_pole, along_string = judged(shop.grey(), 385.0, 415.0, wander=2), judged(shop.grey(), 402.0, 399.0, wander=2)
    assert along_string.passes and along_string.aside_px <= 1
    assert along_pole.aside_px > along_string.aside_px


def test_too_short_a_line_is_not_judged() -> None:
    line = UprightLine(np.array([[400.0, 490.0], [400.0, 505.0]]), 1, 1, 1, 0.1, np.array([400.0, 500.0]))
    assert look_along(Shop().grey(), flat_plane(), line, CHORD, 800.0, True) is None


def test_near_the_trailing_edge_nothing_passes() -> None:
    """Where the rib is taken to be only a few millimetres deep, a pole behind it and a string before it look alike."""
    for shop in (Shop(before=[(165.0, 165.0, 2.0, (60, 60, 60))]), Shop(behind=[(165.0, 165.0, 2.0, (60, 60, 60))])):
        crossing = judged(shop.grey(), 165.0, 165.0)
        assert crossing.above > 0.8 and crossing.below > 0.8
        assert crossing.upper == 0.0 and not crossing.passes
