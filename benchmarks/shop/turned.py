"""A drawn photo as a camera that has turned by a hair sees it: the picture itself turned, exactly.

Boxes and bench behind the rib are filled polygons whose edges lie on a raster of a sixteenth of a pixel: drawn again
for a camera turned by thousandths of a degree they do not follow it. Turned here is the finished picture without noise,
by splines, and the noise comes afterwards.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.interpolate import RectBivariateSpline
from scipy.ndimage import map_coordinates, spline_filter

from calibration.lens.model import distort, undistort
from shared.numerics.arrays import F64, U8
from shop.draw import draw
from shop.scene import Scene
from vision.solution.scene import rotation_of

Turn = tuple[float, float, float]
KNOT_PX = 40
NOISE = 3.0
"""Grey levels of noise put on a turned picture, of standard deviation 1 in the scene's `noise`."""


def draw_turned(scene: Scene, turn_deg: Turn, again: int) -> tuple[U8, U8]:
    """Two photos (h, w, 3) of a scene: before and after a turn of the camera about its x, y and z axis, degrees."""
    before, after = draw_turns(scene, [turn_deg], again)
    return before, after


def draw_turns(scene: Scene, turns_deg: Sequence[Turn], again: int) -> list[U8]:
    """Photos (h, w, 3) of a scene: the first as it is, then one after each turn of the camera from there."""
    clean = draw(replace(scene, noise=0.0))[0].astype(np.float64)
    splines = [spline_filter(clean[..., c], order=5, mode="nearest") for c in range(3)]
    rng = np.random.default_rng([scene.seed, again, 5])

    def taken(light: F64) -> U8:
        noise = rng.normal(0, NOISE * scene.noise, light.shape[:2])[..., None]
        return np.clip(np.rint(light + noise), 0, 255).astype(np.uint8)

    photos = [taken(clean)]
    for turn in turns_deg:
        at = _seen_at(scene, turn, clean.shape[:2])
        photos.append(
            taken(
                np.stack([map_coordinates(s, at, order=5, mode="nearest", prefilter=False) for s in splines], axis=-1)
            )
        )
    return photos


def _seen_at(scene: Scene, turn_deg: Turn, size: tuple[int, ...]) -> list[F64]:
    """Rows and columns (h, w) of the first photo at which a turned camera's pixels look."""
    h, w = size
    theta = np.array(scene.camera.theta)
    x, y = np.arange(0, w + KNOT_PX, KNOT_PX), np.arange(0, h + KNOT_PX, KNOT_PX)
    at = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2).astype(np.float64)
    rays = np.c_[undistort(at, theta, steps=100), np.ones(len(at))] @ rotation_of(np.radians(turn_deg))
    off = (distort(rays[:, :2] / rays[:, 2:], theta) - at).reshape(len(y), len(x), 2)
    rows, columns = np.arange(h), np.arange(w)
    dx, dy = (RectBivariateSpline(y, x, off[..., k])(rows, columns) for k in (0, 1))
    return [rows[:, None] + dy, columns + dx]
