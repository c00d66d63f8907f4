"""Whatever the photos show, a calibration gives a profile or one line of refusal, never a traceback.

Boards and no boards, torn, tiled, shrunk, smeared and mixed by a seeded draw; RIBANGLE_FUZZ sets how many sets.
"""

from __future__ import annotations

import os
from collections.abc import Callable

import cv2
import numpy as np
import pytest
from board_scene import TRUE, FakeExif, FakePhoto, chess_ink, photograph, poses

from calibration.lens.boards import Charuco, Chessboard
from calibration.lens.calibrate import calibrate_lens
from calibration.lens.charuco import find_charuco
from calibration.lens.chessboard import find_grid
from calibration.lens.match import guess_lens
from calibration.lens.plumb_line import lens_from_lines, rough_profile
from calibration.level.photos import bar_pair
from shared.errors import UserError
from shared.numerics import saddles

SETS = int(os.environ.get("RIBANGLE_FUZZ", "3"))
Gray = np.ndarray
INK = chess_ink(7, 5, 25.0)
SIZE = (320, 240)
SEEN = [
    photograph(INK, p, k, TRUE * np.array([0.4] * 4 + [1] * 5), SIZE, fine=1)
    for k, p in enumerate(poses(9, 3, (112, 87), TRUE * np.array([0.4] * 4 + [1] * 5), SIZE))
]


def checks(rng: np.random.Generator) -> Gray:
    """Checks all over, of squares from 2 pixels on: what a shrunk photo of a board looks like."""
    side = int(rng.integers(2, 24))
    w, h = (int(n) for n in rng.integers(24, 330, 2))
    y, x = np.mgrid[0:h, 0:w]
    return np.where((x // side + y // side) % 2, 225, 25).astype(np.uint8)


def dots(rng: np.random.Generator) -> Gray:
    """A grid of dots or a plaid: corners without squares."""
    step = float(rng.uniform(5, 40))
    y, x = np.mgrid[0:240, 0:320].astype(float)
    wave = np.sin(np.pi * x / step) * np.sin(np.pi * y / step) ** int(rng.integers(1, 3))
    return np.clip(128 + 100 * wave, 0, 255).astype(np.uint8)


def noise(rng: np.random.Generator) -> Gray:
    """Noise, now and then coarse, or one grey."""
    size = tuple(int(n) for n in rng.integers(1, 300, 2))
    grain = rng.integers(0, 256, size).astype(np.uint8) if rng.random() < 0.7 else np.full(size, 90, np.uint8)
    return cv2.resize(grain, None, fx=3, fy=3, interpolation=cv2.INTER_NEAREST)


def board(rng: np.random.Generator) -> Gray:
    """One of the boards, spoilt in one of many ways."""
    gray = SEEN[int(rng.integers(len(SEEN)))].copy()
    h, w = gray.shape
    ways: list[Callable[[], Gray]] = [
        lambda: gray,
        lambda: cv2.GaussianBlur(gray, (0, 0), float(rng.uniform(0.5, 9))),
        lambda: cv2.resize(gray, None, fx=(f := float(rng.uniform(0.03, 0.5))), fy=f, interpolation=cv2.INTER_AREA),
        lambda: np.tile(cv2.resize(gray, None, fx=0.25, fy=0.25, interpolation=cv2.INTER_AREA), (3, 3)),
        lambda: gray[: int(rng.integers(5, h)), : int(rng.integers(5, w))].copy(),
        lambda: np.where(rng.random(gray.shape) < rng.uniform(0, 0.6), 0, gray).astype(np.uint8),
        lambda: np.maximum(gray, gray[:, ::-1]),
        lambda: np.hstack([gray[:, : w // 2], gray[:, : w - w // 2]]),
        lambda: np.vstack([gray[: h // 2 : 2], gray[h // 2 :], gray[: h // 2 : 2]]),
        lambda: cv2.warpAffine(gray, rng.uniform(-1, 1, (2, 3)) * [1, 1, 300], (w, h)),
        lambda: np.roll(gray, int(rng.integers(w)), axis=1),
        lambda: np.where(np.arange(w) % int(rng.integers(2, 30)) == 0, 255, gray).astype(np.uint8),
    ]
    return np.ascontiguousarray(ways[int(rng.integers(len(ways)))]())


def photos(rng: np.random.Generator) -> list[FakePhoto]:
    """Nine, most of them boards, with EXIF that may lie."""
    makers = rng.choice([board, board, board, checks, dots, noise], 9)
    exif = [FakeExif(orientation=int(rng.choice([1, 1, 3, 6, 8, 0, 9])), taken=None) for _ in makers]
    return [FakePhoto(f"{k}.jpg", make(rng), f"{k}", e) for k, (make, e) in enumerate(zip(makers, exif, strict=True))]


def refused_or_made(call: Callable[[], object]) -> None:
    try:
        call()
    except UserError as error:
        assert "\n" not in str(error)


@pytest.mark.parametrize("seed", range(SETS))
def test_calibrations_end_in_a_profile_or_in_one_line(seed):
    rng = np.random.default_rng([22, seed])
    some = photos(rng)
    refused_or_made(lambda: calibrate_lens(some, Chessboard(*((7, 5) if seed % 2 else (0, 0)))))
    refused_or_made(lambda: rough_profile(lens_from_lines(some)))
    for p in some[:4]:
        find_charuco(p.gray, Charuco(7, 5, 25, 18, first_id=None))
    a, b = some[0], some[1]
    refused_or_made(lambda: bar_pair(a.gray, b.gray, guess_lens(a.exif, a.gray.shape[::-1]), (40.0, 30.0)))


@pytest.mark.parametrize("side", [2, 3, 4, 6, 7, 9])
def test_small_checks_do_not_stop_the_search(side):
    """Neighbours that run to one corner gave a window of no size."""
    y, x = np.mgrid[0:90, 0:140]
    find_grid(np.where((x // side + y // side) % 2, 225, 25).astype(np.uint8), Chessboard())


def test_corners_without_room_come_back_as_nothing():
    gray = np.full((40, 40), 90, np.uint8)
    unit = np.array([[1.0, 0], [0, 0], [1, 0], [np.nan, 0]])
    start = np.array([[20.0, 20], [20, 20], [np.nan, 3], [20, 20]])
    found = saddles.refine(gray, start, unit, np.tile([0.0, 1.0], (4, 1)), np.array([np.nan, 5, 5, 5]))
    assert np.isnan(found.points).all()
    assert np.isnan(saddles.refine(gray[:6, :6], start[:1], unit[:1], unit[:1], np.array([9.0])).points).all()
