"""A lens from station cards alone: its values against the truth of simulated shop photos, and its honesty."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from board_scene import FakeExif

from calibration.lens.flat import rotation
from calibration.lens.from_cards import CardPhoto, CardSeen, lens_from_cards
from calibration.lens.match import lens_for
from calibration.lens.model import distort
from calibration.lens.profiles import find_lens, load_lens, save_lens
from calibration.print.profile import known_print
from shared.job.model import CardPrint
from vision.cards.spec import SPECS

SIZE = (4000, 3000)
TRUE = np.array([3020.0, 3020.0, 2015.0, 1490.0, 0.05, -0.11, 0.0005, -0.0004, 0.05])
UNMEASURED = known_print(CardPrint(), Path())


def card(kind):
    spec = SPECS[kind]
    return spec.inner_corners() - np.array(spec.size_mm) / 2


def shop_photo(rng, k, cards=2, noise=0.06, stretch=0.0):
    """A rib 0.9 to 1.4 m away, seen up to 25 deg askew, with panels at its two ends."""
    r = rotation(np.array([*rng.uniform(-0.35, 0.35, 2), rng.uniform(-0.2, 0.2)]))
    t = np.array([rng.uniform(-80, 80), rng.uniform(-150, 150), rng.uniform(900, 1400)])
    seen = []
    for end in range(cards):
        place = np.array([rng.uniform(250, 330) * (1 - 2 * end), rng.uniform(-60, 60)])
        board = card("panel")
        turn = rng.uniform(-0.3, 0.3)
        spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        flat = (board * [1, 1 + stretch]) @ spin.T + place
        p = np.column_stack([flat, np.zeros(len(flat))]) @ r.T + t
        pixels = distort(p[:, :2] / p[:, 2:], TRUE) + rng.normal(0, noise, board.shape)
        if np.all((pixels > 0) & (pixels < np.array(SIZE) - 1)):
            seen.append(CardSeen("R1", board, pixels))
    return CardPhoto(f"p{k}.jpg", f"sha{k}", FakeExif(focal35_mm=27.0), SIZE, tuple(seen))


@pytest.fixture(scope="module")
def solved():
    out = []
    for seed in range(2):
        rng = np.random.default_rng([19, seed])
        photos = [shop_photo(rng, k, stretch=0.002) for k in range(8)]
        out.append(lens_from_cards(photos, UNMEASURED))
    return out


def test_the_lens_is_found_within_its_u(solved):
    gap = np.array([(np.array(p.theta) - TRUE) / np.sqrt(np.diag(p.covariance)) for p in solved])
    assert np.abs(gap).max() < 4 and np.mean(np.abs(gap) < 2) > 0.8


def test_it_says_more_than_the_exif(solved):
    for p in solved:
        assert np.sqrt(p.covariance[0][0]) / p.theta[0] < 0.01 < 0.03
        assert p.from_cards and "no lens board" in p.notes[0] and "(U)" in p.notes[0]


def test_it_is_kept_and_a_board_profile_goes_before_it(solved, tmp_path):

    mine = solved[0]
    save_lens(tmp_path / "cards.json", mine)
    exif = FakeExif(focal35_mm=27.0)
    assert lens_for(load_lens(tmp_path / "cards.json"), exif, SIZE).flags == ()
    old = replace(mine, ident="board", board="chessboard", date="2001-01-01")
    save_lens(tmp_path / "board.json", old)
    assert find_lens(tmp_path, "Fieldcam", "F1", None, SIZE, 4.6).ident == "board"


def test_photos_that_do_not_tell_give_no_profile():
    rng = np.random.default_rng(5)
    assert lens_from_cards([shop_photo(rng, k) for k in range(3)], UNMEASURED) is None
    far = []
    for k in range(5):
        p = shop_photo(rng, k, cards=1, noise=1.5)
        far.append(p)
    found = lens_from_cards(far, UNMEASURED)
    assert found is None or np.sqrt(found.covariance[0][0]) / found.theta[0] > 0.003


def test_the_sensors_layout_counts_for_photos_held_upright():
    rng = np.random.default_rng(7)
    photos = [shop_photo(rng, k) for k in range(8)]
    turned = []
    for k, p in enumerate(photos):
        if k % 2:
            cards = tuple(
                CardSeen(c.rib, c.board, np.column_stack([SIZE[1] - 1 - c.pixels[:, 1], c.pixels[:, 0]]))
                for c in p.cards
            )
            turned.append(CardPhoto(p.name, p.sha256, FakeExif(orientation=6), (3000, 4000), cards))
        else:
            turned.append(p)
    a, b = lens_from_cards(photos, UNMEASURED), lens_from_cards(turned, UNMEASURED)
    np.testing.assert_allclose(a.theta[:4], b.theta[:4], rtol=0, atol=0.5)
    assert b.size == SIZE
