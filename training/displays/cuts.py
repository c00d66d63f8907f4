"""Cuts examples with their truth out of scenes: patches to find figures in, and strips to read them from."""

from __future__ import annotations

from typing import NamedTuple

import cv2
import numpy as np

from shared.numerics.arrays import F64
from training.displays.around import laid, photo_piece, word
from training.displays.face import KINDS, UNDECIDED
from training.displays.scene import Scene, seen
from vision.display.strip import COLUMN, HIGH, OVER, TALL, WIDE

PATCH = (96, 192)
"""Shape of a patch, pixels; its truth has a place every COLUMN pixels."""
SIZES = (13.0, 28.0)
"""Heights of figures that the finder is taught, pixels."""
IGNORED = -1


class Patch(NamedTuple):
    """image (96, 192) uint8; truth (24, 48, 5) float16: figure (1, 0, or -1: not judged), log2 of height / 20 px, slant
    and tilt in units of 10 deg, and 1 where figures are lighter than their ground."""

    image: np.ndarray
    truth: np.ndarray


class Strip(NamedTuple):
    """image (HIGH, WIDE) uint8; kind (64,) int8 number of KINDS or -1; lit (64, 7) uint8; point (64,) int8 or -1.

    off (64, 3) float16: how far a figure lies below the strip's middle (figure heights), natural logarithm of its height
    over TALL, and its slant in units of 10 deg.
    """

    image: np.ndarray
    kind: np.ndarray
    lit: np.ndarray
    point: np.ndarray
    off: np.ndarray


def places(scene: Scene) -> tuple[F64, F64, F64]:
    """Of each figure: its middle (n, 2), the way of the row (n, 2) and the way from top to foot (n, 2), pixels."""
    figures = [s for s in scene.face.signs if s.kind in ("figure", "one") and s.size == 1.0]
    at = np.array([[s.x, 0.5] for s in figures]).reshape(-1, 2)
    slant = scene.face.style.slant
    middle, right, top, foot = (seen(scene.to_photo, at + d, slant) for d in ([0, 0], [0.2, 0], [0, -0.5], [0, 0.5]))
    return middle, (right - middle) / 0.2, foot - top


def cut_patch(scene: Scene, rng: np.random.Generator) -> Patch:
    """A patch about the row, its figures of any height within SIZES."""
    middle, along, down = places(scene)
    norm = np.linalg.norm(along, axis=1)
    cross = (along[:, 0] * down[:, 1] - along[:, 1] * down[:, 0]) / norm
    lean = np.degrees(np.arctan2(-(along * down).sum(axis=1) / norm, cross))
    tilt = np.degrees(np.arctan2(along[:, 1], along[:, 0]))
    scale = float(np.exp(rng.uniform(*np.log(SIZES)))) / float(np.median(cross))
    other = float(rng.choice([rng.uniform(1.9, 4), rng.uniform(0.25, 0.5)])) if rng.random() < 0.15 else 1.0
    scale *= other  # figures far too large or too small: parts of them, and what is beside them, are none
    image = scene.photo
    if scale < 0.9:
        image = np.asarray(cv2.GaussianBlur(image, (0, 0), 0.45 / scale), np.uint8)
    spot = np.array([PATCH[1], PATCH[0]]) * rng.uniform(0.25, 0.75, 2)
    move = spot - scale * middle[int(rng.integers(len(middle)))]
    way = np.array([[scale, 0, move[0]], [0, scale, move[1]]])
    border = int(rng.choice([cv2.BORDER_REPLICATE, cv2.BORDER_CONSTANT]))
    patch = cv2.warpAffine(image, way, PATCH[::-1], borderMode=border, borderValue=float(rng.uniform(0, 255)))
    if rng.random() < 0.5:
        inside = cv2.warpAffine(np.full_like(image, 255), way, PATCH[::-1]) > 127
        patch = np.where(inside, patch, no_display(PATCH, rng))
    if rng.random() < 0.06:
        return Patch(
            _speckled(no_display(PATCH, rng), rng), np.zeros((PATCH[0] // COLUMN, PATCH[1] // COLUMN, 5), np.float16)
        )
    at, tall = scale * middle + move, scale * cross
    turned = rng.random() < 0.15
    if turned:
        patch, at = np.ascontiguousarray(patch[::-1, ::-1]), np.array([PATCH[1] - 1, PATCH[0] - 1]) - at
    truth = np.zeros((PATCH[0] // COLUMN, PATCH[1] // COLUMN, 5), np.float16)
    patch = _speckled(patch, rng)
    v, u = np.mgrid[0 : truth.shape[0], 0 : truth.shape[1]] * COLUMN
    nearest = np.full(v.shape, np.inf)
    for (x, y), h, k, t in zip(at, tall, lean, tilt, strict=True):
        if not 0.75 * SIZES[0] < h < 1.35 * SIZES[1]:
            continue
        far = np.hypot(u - x, v - y) / h
        mine = far < nearest
        nearest = np.minimum(nearest, far)
        truth[mine, 1:] = [np.log2(h / 20), k / 10, t / 10, float(scene.light)]
        hot = far < max(0.16, 2.9 / h)
        truth[(far < 0.42) & (truth[..., 0] == 0), 0] = IGNORED
        truth[hot, 0] = 1
    return Patch(patch, truth)


def no_display(shape: tuple[int, int], rng: np.random.Generator) -> np.ndarray:
    """(h, w) uint8 of a shop without a display: a piece of a real photograph or plain ground, with printed words."""
    ground = photo_piece(shape, rng) if rng.random() < 0.6 else np.full(shape, rng.uniform(0, 1), np.float32)
    for _ in range(int(rng.integers(0, 5))):
        ink = laid(ground, word(float(np.exp(rng.uniform(np.log(7), np.log(40)))), rng),
                   (float(rng.uniform(0, shape[1])), float(rng.uniform(0, shape[0]))))  # fmt: skip
        ground = ground * (1 - ink) + ink * float(rng.uniform(0, 1))
    return np.asarray(np.clip(255 * ground, 0, 255), np.uint8)


def _speckled(patch: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Fine noise where the photo has none left, or none yet: what is enlarged or made of plain colours is smooth."""
    noise = cv2.GaussianBlur(rng.normal(0, 1, PATCH).astype(np.float32), (0, 0), float(rng.uniform(0.3, 2.0)))
    amount = float(rng.choice([0.0, rng.uniform(0.3, 3.0)])) / max(float(noise.std()), 1e-6)
    return np.asarray(np.clip(patch + amount * noise, 0, 255), np.uint8)


def cut_strip(scene: Scene, rng: np.random.Generator) -> Strip:
    """A strip, its geometry as far off as a fitted row is; one in seven shows no row that could be read."""
    face, n = scene.face, WIDE // COLUMN
    first, last = face.span
    middle = (first + last) / 2 + float(rng.uniform(-0.9, 0.9))
    # half of the strips are as a row is first found, half as it is placed in the end
    far = 1.0 if rng.random() < 0.5 else 0.35
    size = np.exp(far * rng.normal(0, [0.1, 0.11]))
    rise, slope, taper = (float(far * rng.normal(0, s)) for s in (0.08, 0.02, 0.015))
    shear = np.tan(np.radians(far * float(rng.normal(0, 4.5))))
    wrong = int(rng.integers(1, 6)) if rng.random() < 0.15 else 0
    if wrong == 1:
        size = size * float(rng.choice([1.0, rng.uniform(0.15, 0.8)]))  # words over and under the row, too
        rise += float(rng.choice([-1, 1]) * rng.choice([rng.uniform(0.5, 1.1), rng.uniform(0.5, 2.5)]))
    if wrong == 2:
        size = size * float(rng.choice([0.5, 1.9]))
    v, u = np.mgrid[0:HIGH, 0:WIDE].astype(np.float64)
    x = (u - WIDE / 2) / TALL * size[0] + middle
    y = 0.5 + (v - OVER - TALL / 2) / TALL * size[1] * (1 + taper * (x - middle)) + rise + slope * (x - middle)
    if wrong == 3:
        x, y = 2 * middle - x, 1 - y
    x = x + shear * (0.5 - y)
    photo = seen(scene.to_photo, np.column_stack([x.ravel(), y.ravel()]), face.style.slant).reshape(HIGH, WIDE, 2)
    image = cv2.remap(scene.photo, photo[..., 0].astype(np.float32), photo[..., 1].astype(np.float32), cv2.INTER_LINEAR,
                      borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
    image = image if scene.light != (wrong == 4) else 255 - image
    if wrong == 5:
        image = no_display((HIGH, WIDE), rng)
    kind, lit, point = np.zeros(n, np.int8), np.zeros((n, 7), np.uint8), np.zeros(n, np.int8)
    off = np.zeros((n, 3), np.float16)
    even = not set(face.text) & set("347") and "." not in face.text
    if wrong and not (wrong == 3 and even):
        return Strip(image, kind, lit, point, off)
    if wrong == 3:
        return Strip(image, np.full(n, IGNORED, np.int8), lit, np.full(n, IGNORED, np.int8), off)
    columns = np.arange(n) * COLUMN
    nearest = np.full(n, np.inf)
    for sign in face.signs:
        far = np.abs(columns - ((sign.x - middle) / size[0] * TALL + WIDE / 2))
        mine = (far < nearest) & (far < 6)
        nearest = np.minimum(nearest, far)
        kind[mine] = np.where(far[mine] < 2.9, KINDS.index(sign.kind), IGNORED)
        lit[mine] = sign.lit
        tall = 1 / (size[1] * (1 + taper * (sign.x - middle)))
        off[mine] = [-(rise + slope * (sign.x - middle)) * tall, np.log(tall), -np.degrees(np.arctan(shear)) / 10]
    for at in face.points:
        far = np.abs(columns - ((at - middle) / size[0] * TALL + WIDE / 2))
        point[far < 6] = IGNORED
        point[far < 2.9] = 1
    assert lit.max(initial=0) <= UNDECIDED
    return Strip(image, kind, lit, point, off)
