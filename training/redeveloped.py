"""One scene photographed again: the same light, another size, sensor, tone and JPEG.

Tracing a photo is dear, developing it is not: from one traced photo come several, each as another phone would have kept it.
Positions scale with the size; nothing else moves.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np

from calibration.lens.model import Lens
from shared.numerics.arrays import F32, U8
from training.labels import TrueLine

LEAST_WIDTH = 1200
"""Pixels: smaller photos are not measured by anyone."""
MOST_STEP = 64
"""Pixels by which a photo's width may be rounded so that its shape stays."""


@dataclass(frozen=True)
class Development:
    """How a photo is kept. factor : size. stops : exposure. gamma : tone. balance : (3,) gains of B, G, R. colour :
    saturation. haze : light added in the lens. blur, shake : px of the new size. noise : grey levels at mid grey, grain : px
    over which noise is alike. sharpen : strength. quality : of the JPEG."""

    factor: float
    stops: float
    gamma: float
    balance: tuple[float, float, float]
    colour: float
    haze: float
    blur: float
    shake: float
    noise: float
    grain: float
    sharpen: float
    quality: int


def by_chance(rng: np.random.Generator, width: int) -> Development:
    """A development for a photo of `width` pixels."""
    low = min(1.0, LEAST_WIDTH / width)
    return Development(
        factor=float(np.exp(rng.uniform(np.log(low), 0.0))),
        stops=float(rng.choice([0.0, rng.uniform(-1.8, 0.9)])),
        gamma=float(rng.uniform(0.75, 1.35)),
        balance=(float(rng.uniform(0.8, 1.2)), 1.0, float(rng.uniform(0.8, 1.2))),
        colour=float(rng.choice([0.0, rng.uniform(0.3, 1.0), rng.uniform(0.8, 1.5)], p=[0.07, 0.4, 0.53])),
        haze=float(rng.choice([0.0, rng.uniform(0.0, 0.15)])),
        blur=float(rng.uniform(0.0, 1.0)),
        shake=float(rng.choice([0.0, rng.uniform(0.5, 2.5)], p=[0.75, 0.25])),
        noise=float(np.exp(rng.uniform(np.log(0.5), np.log(6.0)))),
        grain=float(rng.uniform(0.0, 1.5)),
        sharpen=float(rng.choice([0.0, rng.uniform(0.2, 1.2)])),
        quality=int(rng.integers(55, 96)),
    )


def size_of(width: int, height: int, factor: float) -> tuple[int, int]:
    """Width and height near `factor` times as large; of the very same shape where whole pixels allow it."""
    common = math.gcd(width, height)
    across, up = width // common, height // common
    if across > MOST_STEP:
        return round(width * factor), round(height * factor)
    times = max(1, round(common * factor))
    return across * times, up * times


def developed(bgr: U8, d: Development, rng: np.random.Generator) -> U8:
    """The photo (h, w, 3) as kept under `d`."""
    small = cv2.resize(bgr, size_of(bgr.shape[1], bgr.shape[0], d.factor), interpolation=cv2.INTER_AREA)
    light: F32 = np.asarray(cv2.pow(small.astype(np.float32) / np.float32(255), 2.2), np.float32)
    light = light * (np.float32(2.0**d.stops) * np.array(d.balance, np.float32)) + np.float32(d.haze)
    light = _smeared(light, d, rng)
    grey = cv2.cvtColor(light, cv2.COLOR_BGR2GRAY)[..., None]
    light = grey + np.float32(d.colour) * (light - grey)
    shown = cv2.pow(np.clip(light, 0, 1).astype(np.float32), d.gamma / 2.2) * np.float32(255)
    shown += _noise(shown.shape[:2], d, rng) * (0.4 + 0.6 * np.sqrt(shown / 128)).astype(np.float32)
    if d.sharpen:
        shown += np.float32(d.sharpen) * (shown - cv2.GaussianBlur(shown, (0, 0), 1.2))
    whole = np.clip(np.rint(shown), 0, 255).astype(np.uint8)
    code = cv2.imencode(".jpg", whole, [cv2.IMWRITE_JPEG_QUALITY, d.quality])[1]
    return np.asarray(cv2.imdecode(code, cv2.IMREAD_COLOR), dtype=np.uint8)


def _smeared(light: F32, d: Development, rng: np.random.Generator) -> F32:
    if d.blur > 0.3:
        light = np.asarray(cv2.GaussianBlur(light, (0, 0), d.blur), dtype=np.float32)
    if d.shake:
        reach = int(np.ceil(d.shake))
        kernel = np.zeros((2 * reach + 1, 2 * reach + 1), np.float32)
        way = rng.uniform(0, np.pi)
        for t in np.linspace(-d.shake / 2, d.shake / 2, 33):
            kernel[round(reach + t * np.sin(way)), round(reach + t * np.cos(way))] += 1
        light = np.asarray(cv2.filter2D(light, -1, kernel / kernel.sum()), dtype=np.float32)
    return light


def _noise(shape: tuple[int, int], d: Development, rng: np.random.Generator) -> F32:
    noise = rng.standard_normal((*shape, 3), dtype=np.float32)
    if d.grain > 0.3:
        noise = np.asarray(cv2.GaussianBlur(noise, (0, 0), d.grain), dtype=np.float32)
        noise /= noise.std()
    return noise * np.float32(d.noise)


def scaled_lines(lines: list[TrueLine], factor: float) -> list[TrueLine]:
    """Lines of a photo resized by `factor`: the first pixel's centre is (0, 0) before and after."""
    return [replace(t, pixels=(t.pixels + 0.5) * factor - 0.5) for t in lines]


def scaled_lens(lens: Lens, size: tuple[int, int], factor: float) -> Lens:
    """The lens of a photo resized by `factor` to `size` pixels."""
    theta, stretch = lens.theta.copy(), np.ones(9)
    theta[:2] *= factor
    theta[2:4] = (theta[2:4] + 0.5) * factor - 0.5
    stretch[:4] = factor
    return Lens(lens.ident, size, theta, lens.covariance * np.outer(stretch, stretch), lens.sound)
