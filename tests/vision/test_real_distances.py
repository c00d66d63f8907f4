"""A real printed chessboard in real photos: distances between corners that the solution never saw, against the board's squares.

Photos and intrinsics: Debian's package opencv-doc (`left01..14.jpg`, `left_intrinsics.yml`; see tests/data/opencv-doc), with
the published intrinsics. Every second corner, as on a chessboard's white squares, stands in for a station card; the others are
the marks. The square counts as 25 mm: all lengths scale with it.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from test_real_board import BOARDS, CORNER_PX, SPEC, grid_of, lens

from calibration.print.profile import KnownPrint
from shared.dimensions import Dimension, Kind, parse_feature
from shared.quantity import Quantity
from vision.cards.detect import Card
from vision.distances.solved import Found, Solved
from vision.distances.spots import Spot
from vision.rib_scene import U_SEAT_DEG
from vision.solution.poses import from_starts
from vision.solution.scene import Scene
from vision.solution.solve import starts

PRINT = KnownPrint(1.0, 1e-6, 0.0, 5e-4, 0.0, 0.02, "board", "of the board", thickness_mm=0.0, u_thickness_mm=1e-3)
"""The scale is the board's own square, against which everything is measured; what is not in it are its stretch and corners."""
ROWS, COLUMNS = np.mgrid[0:6, 0:9]
EVEN = (ROWS + COLUMNS) % 2 == 0
PAIRS = (((0, 1), (5, 8)), ((0, 7), (5, 0)), ((2, 1), (2, 7)), ((0, 3), (5, 4)), ((1, 0), (4, 7)), ((3, 2), (4, 3)))


@cache
def measured() -> tuple[np.ndarray, np.ndarray]:
    """(n, 3) error, u and length, mm, of distances between held-out corners; (n, 2) error and u of their offsets from the line
    through two others."""
    board = np.stack([COLUMNS + 1, ROWS + 1], axis=-1) * SPEC.square_mm
    distances, offsets = [], []
    for path in sorted(BOARDS.glob("left*.jpg")):
        grid, _ = grid_of(path)
        card = Card(
            SPEC,
            0,
            board[EVEN],
            grid[EVEN],
            np.full(int(EVEN.sum()), CORNER_PX),
            np.empty((0, 2)),
            np.eye(3),
            2.0,
            1.0,
            80.0,
        )
        scene = Scene(lens(), (card,), (), None, "p", PRINT.u_stretch, "board", U_SEAT_DEG, 0.0, 0.0, 2e-4)
        (best, *_) = from_starts(scene, starts(scene))
        used = sorted({p for pair in PAIRS for p in pair} | {(0, 1), (0, 7), (5, 4)})
        assert not any(EVEN[p] for p in used)
        spots = {f"mark {r} {c}": Spot(grid[r, c], CORNER_PX, "corner") for r, c in used}
        asked = [_dimension(Kind.DISTANCE, f"mark {a[0]} {a[1]}", f"mark {b[0]} {b[1]}") for a, b in PAIRS]
        asked.append(_dimension(Kind.OFFSET, "mark 0 1 to mark 0 7", "mark 5 4"))
        got = Solved(best, Found(spots, {}, {}), asked, PRINT).quantities("photo")
        for (a, b), q in zip(PAIRS, got, strict=False):
            assert isinstance(q, Quantity)
            true = SPEC.square_mm * float(np.hypot(a[0] - b[0], a[1] - b[1]))
            distances.append((q.value - true, q.u, true))
        q = got[-1]
        assert isinstance(q, Quantity)
        offsets.append((abs(q.value) - 5 * SPEC.square_mm, q.u))
    return np.array(distances), np.array(offsets)


def _dimension(kind: Kind, a: str, b: str) -> Dimension:
    return Dimension(f"{a} {b}", kind, "board", (0,), "centre", (parse_feature(a), parse_feature(b)), u_depth_mm=0.05)


def test_distances_between_held_out_corners_are_right_within_u() -> None:
    """13 photos of 0.3 megapixels, six distances of 35 to 215 mm each."""
    error, u, length = measured()[0].T
    assert len(error) == 78
    pull = np.abs(error) / u
    assert 0.88 <= np.mean(pull <= 2) <= 1.0
    assert pull.max() < 3.5
    assert np.median(np.abs(error)) < 0.15
    assert np.median(np.abs(error) / length) < 1e-3
    assert np.median(2 * u) < 0.6  # fit to find a slip of half a millimetre


def test_offsets_of_held_out_corners_from_a_line_are_right_within_u() -> None:
    error, u = measured()[1].T
    assert len(error) == 13
    assert np.mean(np.abs(error) <= 2 * u) >= 0.84
    assert np.median(np.abs(error)) < 0.15


def test_an_error_of_the_print_shows_as_one() -> None:
    """The board read as if its squares were 1 % larger: every length is off by that, far beyond U. So the test above can fail."""
    error, u, length = measured()[0].T
    assert np.mean(np.abs(error + 0.01 * length) > 2 * u) > 0.9


def test_all_photos_together_find_the_boards_own_size() -> None:
    """Errors of single photos average out: no bias over photos from all sides."""
    error, _, length = measured()[0].T
    assert abs(float(np.mean(error / length))) < 5e-4
