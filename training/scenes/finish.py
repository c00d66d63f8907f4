"""What a lens and a phone make of linear light: distortion, blur, noise, Bayer filter, denoising, sharpening, tone."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from scipy.interpolate import RectBivariateSpline

from shared.numerics.arrays import F32, U8
from training.scenes.effects import Draw
from training.scenes.geometry import Camera, film_size
from training.scenes.world import Image, as_image

POOL = 1 << 24
"""Normal random numbers each process keeps."""


@dataclass(frozen=True)
class Look:
    """What one phone does to all its photos."""

    chroma: tuple[float, float] = (0.0, 0.0)
    mosaic: bool = False
    denoise: float = 0.0
    sharpen: float = 0.5
    tone: float = 0.0
    vignette: float = 0.0


def draw_look(draw: Draw) -> Look:
    """A phone's look; draw : of the wing."""
    rng = draw.rng("look")
    v = rng.uniform(0, 1, 6)
    red, blue = (float(x) for x in rng.normal(0, 2e-4, 2))
    return Look(
        (red, blue) if draw.has("chroma") else (0.0, 0.0),
        draw.has("mosaic"),
        (6.0 if v[0] < 0.5 else 12.0) if draw.has("denoise") else 0.0,
        0.2 + 0.7 * float(v[1]) if draw.has("sharpen") else 0.0,
        0.5 * float(v[2]) if draw.has("tone") else 0.0,
        0.35 * float(v[3]) if draw.has("vignette") else 0.0,
    )


@lru_cache(maxsize=2)
def lens_maps(cam: Camera) -> tuple[Image, Image]:
    """Where each pixel of the photo lies in the rendered pinhole picture, x and y.

    A spline through a coarse grid: `cv2.remap` would round the grid's coordinates.
    """
    gx, gy = np.linspace(-2, cam.width + 1, 160), np.linspace(-2, cam.height + 1, 120)
    x, y = np.meshgrid(gx, gy)
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 100, 1e-12)
    grid = np.stack([x, y], -1).reshape(-1, 1, 2)
    if hasattr(cv2, "undistortPointsIter"):
        bare = cv2.undistortPointsIter(grid, cam.matrix, np.array(cam.dist), None, None, stop)
    else:
        bare = cv2.undistortPoints(grid, cam.matrix, np.array(cam.dist), criteria=stop)
    bare = bare.reshape(*x.shape, 2)
    size = film_size(cam)
    at = np.arange(cam.height), np.arange(cam.width)
    mx, my = (
        RectBivariateSpline(gy, gx, bare[..., k] * cam.f + size[k] / 2 - 0.5)(*at).astype(np.float32) for k in (0, 1)
    )
    return mx, my


@lru_cache(maxsize=1)
def pool() -> F32:
    """Normal random numbers."""
    return np.random.default_rng(3).standard_normal(POOL, np.float32)


def normals(rng: np.random.Generator, h: int, w: int) -> F32:
    """Normal random numbers (h, w) out of the pool, from anywhere in it."""
    numbers, start, n = pool(), int(rng.integers(POOL)), h * w
    return (
        np.take(numbers, np.arange(start, start + n), mode="wrap").reshape(h, w)
        if start + n > POOL
        else numbers[start : start + n].reshape(h, w)
    )


def through_lens(light: Image, cam: Camera, chroma: tuple[float, float]) -> Image:
    """The pinhole picture as the lens shows it, each colour magnified a little differently."""
    mx, my = lens_maps(cam)
    if not any(chroma):
        return as_image(cv2.remap(light, mx, my, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE))
    w2, h2 = light.shape[1] / 2 - 0.5, light.shape[0] / 2 - 0.5
    out = []
    for channel, m in zip(cv2.split(light), (chroma[0], 0.0, chroma[1]), strict=True):
        k = 1.0 - m
        a, b = (mx, my) if m == 0 else (cv2.addWeighted(mx, k, mx, 0, w2 * m), cv2.addWeighted(my, k, my, 0, h2 * m))
        out.append(cv2.remap(channel, a, b, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE))
    return as_image(cv2.merge(out))


def gains(draw: Draw, look: Look, h: int, w: int) -> Image:
    """Vignette and white balance, uneven in some photos, as a factor (h, w, 3)."""
    rng = draw.rng("gains")
    y, x = np.mgrid[-1:1:24j, -1:1:32j]
    fall = 1 - look.vignette * (x**2 + y**2) / 2 + 0.25 * look.vignette * x
    g = fall[..., None] * rng.uniform(0.92, 1.08, 3)
    if draw.has("uneven_white"):
        way = rng.normal(0, 1, 2)
        ramp = (way[0] * x + way[1] * y) / np.hypot(*way)
        g *= 1 + 0.12 * ramp[..., None] * np.array([1, 0.1, -1.0])
    return as_image(cv2.resize(g.astype(np.float32), (w, h), interpolation=cv2.INTER_LINEAR))


def blur(light: Image, draw: Draw, scale: float) -> Image:
    """Defocus and motion in some photos; the lens's own softness in all. scale : of the photo."""
    if draw.has("defocus"):
        r = float(draw.rng("defocus").uniform(0.8, 2.5)) * scale
        n = int(np.ceil(r))
        y, x = np.mgrid[-n : n + 1, -n : n + 1]
        disc = np.clip(r + 0.5 - np.hypot(x, y), 0, 1).astype(np.float32)
        light = as_image(cv2.filter2D(light, -1, disc / disc.sum()))
    if draw.has("motion"):
        way = draw.rng("motion").normal(0, 2.5, 2) * scale
        n = int(np.ceil(np.abs(way).max())) + 1
        trail = np.zeros((2 * n + 1, 2 * n + 1), np.float32)
        for t in np.linspace(-0.5, 0.5, 60):
            trail[round(n + t * way[1]), round(n + t * way[0])] += 1
        light = as_image(cv2.filter2D(light, -1, trail / trail.sum()))
    return as_image(cv2.GaussianBlur(light, (0, 0), 0.7 * max(scale, 0.7)))


def develop(light: Image, draw: Draw, look: Look, dim: bool) -> U8:
    """Noise, Bayer filter, tone, denoising and sharpening: (h, w, 3) in linear light to an 8-bit picture."""
    rng = draw.rng("noise")
    h, w = light.shape[:2]
    strength, exposure = float(rng.uniform(0.5, 2.0)), 0.6 if dim else float(rng.uniform(0.6, 0.85))
    light *= np.float32(exposure / max(float(np.percentile(light[::7, ::7], 97)), 1e-6))
    np.clip(light, 0, 2, out=light)
    sigma = cv2.sqrt(light * np.float32(4e-4) + np.float32(2e-5))
    for k in range(3):
        light[..., k] += np.float32(strength) * sigma[..., k] * normals(rng, h, w)
    if look.mosaic:  # RGGB, sixteen bits, edge-aware interpolation
        raw = np.empty((h, w), np.float32)
        for (r, c), k in zip(((0, 0), (0, 1), (1, 0), (1, 1)), (0, 1, 1, 2), strict=True):
            raw[r::2, c::2] = light[r::2, c::2, k]
        whole = cv2.cvtColor((np.clip(raw, 0, 1.5) * np.float32(40000)).astype(np.uint16), cv2.COLOR_BayerRGGB2RGB_EA)
    else:
        whole = (np.clip(light, 0, 1.5) * np.float32(40000)).astype(np.uint16)
    out = np.asarray(tone_table(round(look.tone, 3))[whole], np.uint8)
    if look.denoise:
        out = np.asarray(cv2.bilateralFilter(out, 5, look.denoise, 2.0), np.uint8)
    if look.sharpen:
        out = np.asarray(
            cv2.addWeighted(out, 1 + look.sharpen, cv2.GaussianBlur(out, (0, 0), 1.2), -look.sharpen, 0), np.uint8
        )
    return out


@lru_cache(maxsize=4)
def tone_table(tone: float) -> U8:
    """Linear light times 40000 to 8 bits: the sRGB curve (IEC 61966-2-1), then an S curve."""
    v = np.arange(65536) / 40000
    s = np.clip(np.where(v <= 0.0031308, 12.92 * v, 1.055 * np.maximum(v, 1e-6) ** (1 / 2.4) - 0.055), 0, 1)
    return np.asarray(((1 - tone) * s + tone * s * s * (3 - 2 * s)) * 255 + 0.5, np.uint8)
