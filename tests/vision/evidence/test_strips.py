"""Strips: straight along the candidate, and the same from a rib's either side."""

from __future__ import annotations

import numpy as np
from made_raster import noise, raster, with_line

from vision.evidence.candidates import Candidates
from vision.evidence.raster import Family, Raster
from vision.evidence.strips import CHANNELS, COLUMNS, ROWS, Context, cut_strips

CHORD = 600.0


def one(row: float, slope: float) -> Candidates:
    return Candidates(np.array([row]), np.array([slope]), np.zeros(1), np.zeros(1, dtype=np.intp))


def context(r: Raster, cards: np.ndarray | None = None) -> Context:
    wide = raster(np.full((160, 260), 120.0), r.family, (6.0, 6.0), (-780.0, -480.0))
    return Context(wide, np.zeros((160, 260), np.float32) if cards is None else cards, np.zeros(r.grey.shape, bool))


def strip(picture: np.ndarray, row: float, slope: float, family: Family = "level", right: bool = True) -> np.ndarray:
    r = raster(picture, family)
    return cut_strips(r, context(r), one(row, slope), CHORD, np.array([0.0]), right)[0]


def test_the_candidate_runs_along_the_middle_rows() -> None:
    row, slope = 190.0, 0.06
    s = strip(with_line(noise(1, 1.0), row, slope, 40.0), row, slope)
    assert s.shape == (CHANNELS, ROWS, COLUMNS)
    dark = s[1, :, 40:-40].mean(1)
    assert set(np.argsort(dark)[:2]) <= {ROWS // 2 - 1, ROWS // 2}
    assert dark.min() < -0.5
    assert np.abs(np.delete(dark, np.argsort(dark)[:4])).max() < 0.1


def test_a_strip_says_where_the_picture_ends() -> None:
    """The raster is 1200 mm long about the middle, the strip two chords of 600: all of it lies in the picture; of a chord of
    900 a sixth at either end does not."""
    r = raster(noise(1, 1.0))
    s = cut_strips(r, context(r), one(200.0, 0.0), 900.0, np.array([0.0]), True)[0]
    inside = s[4].mean(0) > 0.5
    assert abs(inside.mean() - 2 / 3) < 0.02
    assert not inside[:40].any()
    assert not inside[-40:].any()


def test_the_same_rib_from_its_other_side_gives_the_same_strip() -> None:
    rng = np.random.default_rng(4)
    picture = (
        with_line(noise(2, 2.0), 180.0, 0.05, 30.0, first=90, last=320) + rng.normal(0, 6, (400, 1)).cumsum(0) * 0.3
    )
    mirrored = picture[:, ::-1]
    r = raster(mirrored, start=(-597.0, -150.0))  # column k of the one is column 399 - k of the other
    a = strip(picture, 180.0, 0.05)
    b = cut_strips(r, context(r), one(180.0 + 399 * 0.05, -0.05), CHORD, np.array([0.0]), False)[0]
    np.testing.assert_allclose(a[:5, :, 8:-8], b[:5, :, 8:-8], atol=1e-3)


def test_an_upright_strip_turns_over_with_the_rib() -> None:
    picture = noise(3, 3.0, (400, 400))
    a, b = (strip(picture, 200.0, 0.0, "upright", right) for right in (True, False))
    np.testing.assert_allclose(a[:5], b[:5, ::-1], atol=1e-4)


def test_brightness_alone_changes_hardly_anything() -> None:
    """Logarithms: twice the light adds the same everywhere, but for the few grey levels added to keep noise down."""
    picture = with_line(noise(5, 0.5, level=100.0), 200.0, 0.0, 30.0)
    a, b = strip(picture, 200.0, 0.0), strip(2 * picture, 200.0, 0.0)
    assert np.abs(a[1] - b[1]).max() < 0.25
