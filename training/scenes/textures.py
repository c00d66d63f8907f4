"""Surfaces as pictures in linear light, put together from a few noise tiles that each process makes once."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np

from training.scenes.world import Image, as_image

TILE = 1024
BASE = {
    "ply": (0.78, 0.63, 0.43),
    "foam": (0.62, 0.74, 0.83),
    "balsa": (0.86, 0.78, 0.62),
    "carbon": (0.07, 0.07, 0.075),
    "primer": (0.45, 0.55, 0.42),
    "glass": (0.70, 0.74, 0.62),
}
"""Colour of a bare surface, linear rgb."""


@lru_cache(maxsize=8)
def tile(fine_x: float, fine_y: float, seed: int = 1) -> Image:
    """Smooth noise of unit variance that repeats without a seam, TILE x TILE; fine : size of its grains, px."""
    rng = np.random.default_rng(seed)
    ky = np.fft.fftfreq(TILE)[:, None] * fine_y
    kx = np.fft.rfftfreq(TILE)[None, :] * fine_x
    spectrum = np.fft.rfft2(rng.standard_normal((TILE, TILE))) * np.exp(-2.0 * (kx**2 + ky**2) * np.pi)
    out = np.fft.irfft2(spectrum, s=(TILE, TILE))
    return as_image(out / out.std())


def noise(
    rng: np.random.Generator, h: int, w: int, stretch: tuple[float, float], fine: tuple[float, float] = (4.0, 4.0)
) -> Image:
    """A random piece (h, w) of a noise tile, enlarged `stretch` times in x and y."""
    sh, sw = int(h / stretch[1]) + 3, int(w / stretch[0]) + 3
    t = tile(*fine)
    y0, x0 = int(rng.integers(TILE)), int(rng.integers(TILE))
    rows, cols = (np.arange(sh) + y0) % TILE, (np.arange(sw) + x0) % TILE
    piece = np.ascontiguousarray(t[rows][:, cols])
    if stretch == (1.0, 1.0):
        return piece[:h, :w]
    big = cv2.resize(piece, (int(sw * stretch[0]) + 1, int(sh * stretch[1]) + 1), interpolation=cv2.INTER_LINEAR)
    return np.ascontiguousarray(big[:h, :w])


def surface(rng: np.random.Generator, h: int, w: int, kind: str, ppm: float) -> Image:
    """A bare surface (h, w, 3) at `ppm` pixels a millimetre; grain runs along x."""
    t = noise(rng, h, w, (12 * ppm, 12 * ppm)) * np.float32(0.03)
    if kind in ("carbon", "glass"):
        cell = max(1, round(2 * ppm))
        weave = np.kron(np.array([[1, -1], [-1, 1]], np.float32), np.ones((cell, cell), np.float32)) * np.float32(0.05)
        t += np.tile(weave, (h // (2 * cell) + 1, w // (2 * cell) + 1))[:h, :w]
    elif kind != "foam":
        t += noise(rng, h, w, (max(60 * ppm / 4, 1.0), max(0.35 * ppm, 1.0)), (4.0, 1.5)) * np.float32(
            rng.uniform(0.02, 0.045)
        )
        t += noise(rng, h, w, (150 * ppm / 4, max(0.9 * ppm, 1.0)), (4.0, 2.0)) * np.float32(rng.uniform(0.02, 0.045))
    t += noise(rng, h, w, (1.0, 1.0), (0.5, 0.5)) * np.float32(0.012)
    tint = as_image(np.array(BASE[kind]) * rng.uniform(0.85, 1.08) * rng.uniform(0.94, 1.06, 3))
    t += 1
    return as_image(np.clip(cv2.merge([t * tint[0], t * tint[1], t * tint[2]]), 0.02, 0.98))


def text(
    image: Image,
    words: str,
    at: tuple[int, int],
    height: float,
    rgb: tuple[float, float, float],
    strength: float = 0.8,
    font: int = cv2.FONT_HERSHEY_SIMPLEX,
    turn_deg: float = 0.0,
) -> None:
    """Write on a picture, baseline from `at`, letters `height` px high, the writing turned by degrees."""
    size = height / 21.0
    thick = max(1, round(height / 11))
    (tw, th), base = cv2.getTextSize(words, font, size, thick)
    pad = thick + 3
    ink = np.zeros((th + base + 2 * pad, tw + 2 * pad), np.uint8)
    cv2.putText(ink, words, (pad, th + pad), font, size, 255, thick, cv2.LINE_AA)
    if turn_deg:
        m = cv2.getRotationMatrix2D((ink.shape[1] / 2, ink.shape[0] / 2), turn_deg, 1.0)
        grow = int(abs(np.sin(np.radians(turn_deg))) * ink.shape[1]) + 2
        m[1, 2] += grow
        ink = np.asarray(cv2.warpAffine(ink, m, (ink.shape[1], ink.shape[0] + 2 * grow)), np.uint8)
    y0, x0 = at[1] - ink.shape[0] // 2, at[0]
    ya, xa, yb, xb = (
        max(y0, 0),
        max(x0, 0),
        min(y0 + ink.shape[0], image.shape[0]),
        min(x0 + ink.shape[1], image.shape[1]),
    )
    if ya >= yb or xa >= xb:
        return
    k = ink[ya - y0 : yb - y0, xa - x0 : xb - x0, None].astype(np.float32) * np.float32(strength / 255)
    image[ya:yb, xa:xb] = image[ya:yb, xa:xb] * (1 - k) + as_image(rgb) * k
