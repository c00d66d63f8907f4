"""A photo developed again: whatever happens to its tones, every point stays where the scaled lens sees it."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from calibration.lens.model import Lens
from training.labels import TrueLine
from training.redeveloped import Development, by_chance, developed, scaled_lens, scaled_lines

THETA = np.array([3050.0, 3050.0, 2008.0, 1489.0, 0.055, -0.12, 6e-4, -4e-4, 0.06])
LENS = Lens("x", (4000, 3000), THETA, np.diag(np.r_[4.0, 4.0, 9.0, 9.0, np.full(5, 1e-6)]))
PLAIN = Development(1.0, 0.0, 1.0, (1.0, 1.0, 1.0), 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 98)


@pytest.mark.parametrize("factor", [0.3, 0.5, 1.0])
def test_scaled_lens_and_scaled_lines_agree(factor: float) -> None:
    rays = np.random.default_rng(1).uniform(-0.4, 0.4, (50, 2))
    small = scaled_lens(LENS, (round(4000 * factor), round(3000 * factor)), factor)
    line = TrueLine("chord", LENS.project(rays), np.ones(50, dtype=bool))
    np.testing.assert_allclose(small.project(rays), scaled_lines([line], factor)[0].pixels, atol=1e-9)


def test_uncertainty_scales_with_the_pixels() -> None:
    """A lens known to 2 px of 4000 is known to 1 px of 2000; distortion has no unit."""
    small = scaled_lens(LENS, (2000, 1500), 0.5)
    np.testing.assert_allclose(np.sqrt(np.diag(small.covariance))[:2], 1.0)
    np.testing.assert_allclose(small.covariance[4:, 4:], LENS.covariance[4:, 4:])


@pytest.mark.parametrize("seed", range(6))
def test_a_line_stays_where_it_was(seed: int) -> None:
    """The centre of symmetry of a dark line lies where the scaled label says, but for what the tone curve makes of its edges."""
    rng = np.random.default_rng(seed)
    image = np.full((1200, 1600, 3), 200, np.uint8)
    cv2.line(image, (0, 600), (1599, 600), (30, 30, 30), 15)
    d = replace(by_chance(rng, 2400), shake=0.0, noise=0.0)
    kept = developed(image, d, rng)
    factor = kept.shape[0] / image.shape[0]
    assert factor == kept.shape[1] / image.shape[1] == pytest.approx(d.factor, rel=0.02)
    label = scaled_lines([TrueLine("chord", np.array([[0.0, 600.0]]), np.ones(1, dtype=bool))], factor)[0].pixels[0, 1]
    assert centre(np.median(kept[..., 1]) - kept[..., 1].mean(1)) == pytest.approx(label, abs=0.1)


def centre(dark: np.ndarray) -> float:
    """Where a profile is its own mirror image best: half the place of the peak of it folded with itself."""
    folded = np.convolve(dark, dark)
    k = int(folded.argmax())
    low, top, high = folded[k - 1 : k + 2]
    return (k + 0.5 * (low - high) / (low - 2 * top + high)) / 2


def test_nothing_changes_where_nothing_is_asked_for() -> None:
    image = np.random.default_rng(2).integers(40, 200, (64, 64, 3)).astype(np.uint8)
    image = cv2.GaussianBlur(image, (0, 0), 4)
    assert np.abs(developed(np.asarray(image), PLAIN, np.random.default_rng(0)).astype(int) - image).max() <= 4
