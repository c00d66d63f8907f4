"""Puts a face behind glass before a camera: light, reflections, glare, bezel, exposure, blur, noise, JPEG.

Everything is worked out at the photo's own pixels, with brightness as a share of white. Reflections add light; a shadow
takes a share of it; a lamp's glow is added with long tails; what is too bright is lost.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from shared.numerics.arrays import F32, F64, U8
from training.displays.around import laid, photo_piece, word
from training.displays.face import Face, distance, draw_face, extent


@dataclass(frozen=True)
class Scene:
    """A photo (h, w) uint8 of a face; to_photo: (3, 3) face frame to pixels; light: figures lighter than their ground."""

    photo: U8
    to_photo: F64
    face: Face
    light: bool
    tilt: float


def draw_scene(rng: np.random.Generator) -> Scene:
    """A face in a photo."""
    face = draw_face(rng)
    high = float(np.exp(rng.uniform(np.log(17), np.log(46))))
    room = rng.uniform(0.12, 1.3, 4) * [1.0, 0.8, 1.0, 0.8]
    box = (face.span[0] - room[0], -room[1], face.span[1] + room[2], 1 + room[3])
    to_photo, shape, tilt = _camera(box, high, rng)
    x, y, flat_x = _grid(to_photo, shape, face.style.slant)
    ink = _ink(face, x, y, to_photo, shape, high)
    ink = _words(ink, face, to_photo, high, rng)
    kind = str(rng.choice(["lcd", "negative", "led"], p=[0.6, 0.15, 0.25]))
    light = _panel(ink, kind, high, flat_x, y, box, rng)
    light = _case(light, flat_x, y, box, high, rng)
    light = _reflections(light, to_photo, face, box, high, rng)
    return Scene(_exposed(light, high, rng), to_photo, face, kind != "lcd", tilt)


def _camera(box: tuple[float, ...], high: float, rng: np.random.Generator) -> tuple[F64, tuple[int, int], float]:
    """Homography of the unslanted face frame to pixels, the photo's shape, and the row's tilt in degrees."""
    tilt = float(rng.uniform(-7, 7)) if rng.random() < 0.7 else float(rng.uniform(-12, 12))
    pad = rng.uniform(0.05, 0.9, 4)
    outer = np.array([[box[0] - pad[0], box[1] - pad[1]], [box[2] + pad[2], box[1] - pad[1]],
                      [box[2] + pad[2], box[3] + pad[3]], [box[0] - pad[0], box[3] + pad[3]]])  # fmt: skip
    middle = outer.mean(axis=0)
    c, s = np.cos(np.radians(tilt)), np.sin(np.radians(tilt))
    askew = rng.uniform(-0.05, 0.05, 2) if rng.random() < 0.6 else rng.uniform(-0.12, 0.12, 2)
    squeeze = np.diag([1.0, float(rng.uniform(0.82, 1.15)), 1.0])
    turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
    away = np.array([[1, 0, 0], [0, 1, 0], [askew[0] / 2, askew[1] / 2, 1]])
    scale = np.diag([high, high, 1.0])
    centre = np.array([[1, 0, -middle[0]], [0, 1, -middle[1]], [0, 0, 1]])
    h = scale @ away @ turn @ squeeze @ centre
    placed = cv2.perspectiveTransform(outer[None], h)[0]
    low, top = placed.min(axis=0), placed.max(axis=0)
    h = np.array([[1, 0, -low[0]], [0, 1, -low[1]], [0, 0, 1]]) @ h
    size = np.ceil(top - low).astype(int) + 1
    return h, (int(size[1]), int(size[0])), tilt


def _grid(to_photo: F64, shape: tuple[int, int], slant: float) -> tuple[F32, F32, F32]:
    """Face coordinates of every pixel: x with the slant taken out, y, and x without."""
    back = np.linalg.inv(to_photo)
    v, u = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float64)
    w = back[2, 0] * u + back[2, 1] * v + back[2, 2]
    x, y = (back[0, 0] * u + back[0, 1] * v + back[0, 2]) / w, (back[1, 0] * u + back[1, 1] * v + back[1, 2]) / w
    return (x - np.tan(np.radians(slant)) * (1 - y)).astype(np.float32), y.astype(np.float32), x.astype(np.float32)


def seen(to_photo: F64, points: F64, slant: float) -> F64:
    """Pixels (n, 2) of points in the slanted face frame."""
    lean = points.astype(np.float64).copy()
    lean[:, 0] += np.tan(np.radians(slant)) * (1 - lean[:, 1])
    return np.asarray(cv2.perspectiveTransform(lean[None], to_photo)[0])


def _ink(face: Face, x: F32, y: F32, to_photo: F64, shape: tuple[int, int], high: float) -> F32:
    ink = np.zeros(shape, np.float32)
    for kind, numbers, level in face.shapes:
        x0, y0, x1, y1 = extent(kind, numbers)
        corners = seen(to_photo, np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]), face.style.slant)
        left, top = np.maximum(np.floor(corners.min(axis=0)).astype(int) - 2, 0)
        right, low = np.ceil(corners.max(axis=0)).astype(int) + 3
        spot = (slice(top, max(low, 0)), slice(left, max(right, 0)))
        if not ink[spot].size:
            continue
        far = distance(kind, numbers, x[spot], y[spot], face.style)
        np.maximum(ink[spot], level * np.clip(0.5 - far * high, 0, 1), out=ink[spot])
    return ink


def _words(ink: F32, face: Face, to_photo: F64, high: float, rng: np.random.Generator) -> F32:
    """Words of random letters in the glass: over, under and beside the row."""
    for _ in range(int(rng.integers(0, 4)) if rng.random() < 0.6 else 0):
        size = float(rng.uniform(0.12, 0.3))
        where = rng.integers(4)
        first, last = face.span
        at = ((rng.uniform(first, last), -rng.uniform(0.1, 0.4) - size / 2),
              (rng.uniform(first, last), 1.1 + size / 2 + rng.uniform(0, 0.35)),
              (last + rng.uniform(0.2, 0.7), rng.uniform(0.3, 1.1)),
              (first - 0.4 - rng.uniform(0.1, 0.7), rng.uniform(0.2, 1.1)))[where]  # fmt: skip
        px, py = seen(to_photo, np.array([at]), 0.0)[0]
        ink = np.maximum(ink, float(rng.uniform(0.5, 1)) * laid(ink, word(size * high, rng), (px, py)))
    return ink


def _soft(picture: F32, sigma: float) -> F32:
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), max(sigma, 0.2)), np.float32)


def _moved(picture: F32, dx: float, dy: float) -> F32:
    way = np.array([[1, 0, dx], [0, 1, dy]], np.float32)
    return np.asarray(cv2.warpAffine(picture, way, picture.shape[::-1], borderMode=cv2.BORDER_REPLICATE), np.float32)


def _panel(ink: F32, kind: str, high: float, x: F32, y: F32, box: tuple[float, ...], rng: np.random.Generator) -> F32:
    """Brightness of the glass by its own light or by the light that falls on it."""
    across = (x - box[0]) / (box[2] - box[0])
    weak = float(rng.uniform(0.25, 0.8)) if rng.random() < 0.35 else float(rng.uniform(0.8, 1.0))
    fall = 1 + float(rng.uniform(-0.3, 0.3)) * (across - 0.5) + float(rng.uniform(-0.25, 0.25)) * (y - 0.5)
    if rng.random() < 0.2:  # a liquid crystal seen askew fades to one side
        weak = weak * (1 - float(rng.uniform(0.1, 0.6)) * np.clip(across if rng.random() < 0.5 else 1 - across, 0, 1))
    if kind == "lcd":
        ground, dark = float(rng.uniform(0.25, 0.85)), float(rng.uniform(0.02, 0.2))
        if rng.random() < 0.6:
            way = rng.uniform(-0.08, 0.08, 2) * high
            ink = np.maximum(ink, float(rng.uniform(0.08, 0.4)) * _soft(_moved(ink, way[0], way[1]), 0.03 * high))
        return np.asarray((ground + (min(dark, 0.5 * ground) - ground) * ink * weak) * fall, np.float32)
    if kind == "negative":
        ground, lit = float(rng.uniform(0.03, 0.3)), float(rng.uniform(0.5, 1.0))
        spots = 1 + 0.2 * np.cos(across * float(rng.uniform(2, 14)) + float(rng.uniform(0, 6)))
        return np.asarray((ground + (lit - ground) * ink * weak) * fall * spots, np.float32)
    ground, lit = float(rng.uniform(0.0, 0.18)), float(rng.uniform(0.45, 2.2))
    glow = float(rng.uniform(0.05, 0.35)) * _soft(ink, float(rng.uniform(0.04, 0.1)) * high)
    glow += float(rng.uniform(0, 0.25)) * _soft(ink, float(rng.uniform(0.15, 0.4)) * high)
    if rng.random() < 0.2:  # figures lit in turn, caught by a rolling shutter
        glow, ink = (
            glow,
            ink
            * (
                1
                - float(rng.uniform(0.1, 0.6))
                * (0.5 + 0.5 * np.sin(y * float(rng.uniform(2, 9)) + float(rng.uniform(0, 6))))
            ),
        )
    return np.asarray(ground * fall + (lit - ground) * weak * (ink + glow), np.float32)


def _texture(shape: tuple[int, ...], rng: np.random.Generator) -> F32:
    """Grain of the case or of what lies behind it, its fibres along some direction; mean 0."""
    grain = rng.normal(0, 1, shape).astype(np.float32)
    along = float(rng.choice([0.3, rng.uniform(1, 12)]))
    grain = np.asarray(cv2.GaussianBlur(grain, (0, 0), along, sigmaY=float(rng.uniform(0.3, 1.5))), np.float32)
    if rng.random() < 0.5:
        turn = cv2.getRotationMatrix2D((shape[1] / 2, shape[0] / 2), float(rng.uniform(0, 180)), 1.0)
        grain = np.asarray(cv2.warpAffine(grain, turn, shape[::-1], borderMode=cv2.BORDER_REFLECT), np.float32)
    return np.asarray(float(rng.uniform(0, 0.3)) * grain / max(float(grain.std()), 1e-6), np.float32)


def _case(light: F32, x: F32, y: F32, box: tuple[float, ...], high: float, rng: np.random.Generator) -> F32:
    """Bezel and case round the glass, and the bezel's shadow on it."""
    inside = np.minimum(np.minimum(x - box[0], box[2] - x), np.minimum(y - box[1], box[3] - y))
    if rng.random() < 0.6:
        deep = float(rng.uniform(0.02, 0.3))
        edge = (
            y - box[1]
            if rng.random() < 0.7
            else np.minimum(y - box[1], x - box[0] if rng.random() < 0.5 else box[2] - x)
        )
        light = light * (
            1
            - float(rng.uniform(0.1, 0.75))
            / (1 + np.exp(np.clip((edge - deep) / float(rng.uniform(0.01, 0.12)), -30, 30)))
        )
    bezel = float(rng.choice([rng.uniform(0.01, 0.15), rng.uniform(0.3, 0.9)]))
    body = float(rng.choice([rng.uniform(0.02, 0.25), rng.uniform(0.3, 0.95)]))
    grain = 1 + _texture(light.shape, rng)
    if rng.random() < 0.25:  # in front of whatever a shop holds
        body, grain = float(rng.uniform(0.2, 1.0)), photo_piece(light.shape, rng)
    frame = float(rng.uniform(0.03, 0.5))
    case = np.where(inside > -frame, bezel, body * grain)
    rim = float(rng.choice([0.0, rng.uniform(-0.3, 0.5)])) * np.exp(-((inside / 0.03) ** 2))
    share = np.clip(0.5 + inside * high, 0, 1)
    out: F32 = (light * share + case * (1 - share) + rim).astype(np.float32)
    for _ in range(int(rng.integers(0, 4))):  # words on the case, up to the size of the figures
        y_at = float(rng.choice([rng.uniform(0, 0.25), rng.uniform(0.75, 1.0)])) * out.shape[0]
        size = float(np.exp(rng.uniform(np.log(0.15), np.log(0.9)))) * high
        ink = laid(out, word(size, rng), (float(rng.uniform(0, out.shape[1])), y_at))
        spot = ink * (1 - share)
        out = np.asarray(out * (1 - spot) + spot * float(rng.uniform(0, 1)), np.float32)
    return out


def _quad(shape: tuple[int, ...], at: F64, half: F64, turn: float, soft: float) -> F32:
    """A turned rectangle with soft edges, 0 to 1."""
    v, u = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32)
    c, s = np.cos(turn), np.sin(turn)
    p, q = (u - at[0]) * c + (v - at[1]) * s, -(u - at[0]) * s + (v - at[1]) * c
    inside = np.minimum(half[0] - np.abs(p), half[1] - np.abs(q)) / max(soft, 0.4)
    return np.asarray(1 / (1 + np.exp(-np.clip(2 * inside, -30, 30))), np.float32)


def _reflections(
    light: F32, to_photo: F64, face: Face, box: tuple[float, ...], high: float, rng: np.random.Generator
) -> F32:
    """Windows, lamps, hands and bars mirrored in the glass; shadows; glare."""
    shape = light.shape

    def place() -> F64:
        spot = np.array([[rng.uniform(box[0], box[2]), rng.uniform(box[1], box[3])]])
        return np.asarray(seen(to_photo, spot, 0.0)[0])

    if rng.random() < 0.4:  # windows, with or without bars, lamps
        added = np.zeros(shape, np.float32)
        for _ in range(int(rng.integers(1, 4))):
            half = np.exp(rng.uniform(np.log(0.06), np.log(1.8), 2)) * high
            pane = _quad(
                shape,
                place(),
                half,
                float(rng.uniform(-0.6, 0.6) + rng.choice([0, np.pi / 2])),
                float(rng.choice([0.5, rng.uniform(0.02, 0.4) * high])),
            )
            if rng.random() < 0.3:
                pane = pane * (
                    1 - _quad(shape, place(), np.array([0.05 * high, 3 * high]), float(rng.uniform(-0.4, 0.4)), 1.0)
                )
            added = np.maximum(added, pane * float(rng.uniform(0.3, 1)))
        light = light + float(rng.choice([rng.uniform(0.03, 0.3), rng.uniform(0.1, 0.7)])) * added
    if rng.random() < 0.25:  # the shop itself, mirrored
        light = light + float(rng.choice([rng.uniform(0.05, 0.3), rng.uniform(0.1, 0.6)])) * photo_piece(shape, rng)
    if rng.random() < 0.35:  # bars beside the figures, lighter or darker than the ground, about as long as a minus
        for _ in range(int(rng.integers(1, 3))):
            side = rng.random() < 0.7
            spot = [
                [
                    face.span[0] - rng.uniform(0.1, 1.2) if side else face.span[1] + rng.uniform(0.1, 1.0),
                    rng.uniform(0.1, 0.9),
                ]
            ]
            at = seen(to_photo, np.array(spot), 0.0)[0]
            half = np.array([rng.uniform(0.08, 0.5), rng.uniform(0.02, 0.12)]) * high
            turn = float(rng.choice([rng.uniform(-0.2, 0.2), rng.uniform(-1.6, 1.6)]))
            bar = _quad(shape, at, half, turn, float(rng.uniform(0.02, 0.14) * high))
            light = light + float(rng.uniform(-0.35, 0.5)) * bar * (1 if rng.random() < 0.5 else light)
    if rng.random() < 0.3:
        bar = _quad(shape, place(), np.array([8 * high, 8 * high]), 0.0, 1.0)
        turn = float(rng.uniform(0, 2 * np.pi))
        at = place() + 8 * high * np.array([np.cos(turn), np.sin(turn)])
        bar = _quad(
            shape,
            at,
            np.array([8 * high, 30 * high]),
            turn,
            float(rng.choice([rng.uniform(0.5, 2), rng.uniform(0.1, 0.8) * high])),
        )
        light = light * (1 - float(rng.uniform(0.15, 0.65)) * bar)
    if rng.random() < 0.3:
        v, u = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32)
        at, r = place(), float(np.exp(rng.uniform(np.log(0.08), np.log(0.8)))) * high
        far = ((u - at[0]) / (r * float(rng.uniform(1, 3)))) ** 2 + ((v - at[1]) / r) ** 2
        light = light + float(rng.uniform(0.1, 1.2)) * np.exp(-far)
    if rng.random() < 0.08:  # the place of the minus lost in glare or in the dark, whether there is one or not
        signs = [s.x for s in face.signs if s.kind == "minus"]
        first = min(s.x for s in face.signs)
        minus = np.array([[signs[0] if signs else first - rng.uniform(0.3, 0.9), 0.5 + rng.uniform(-0.15, 0.15)]])
        v, u = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32)
        at, r = seen(to_photo, minus, face.style.slant)[0], float(rng.uniform(0.12, 0.4)) * high
        blob = np.exp(-(((u - at[0]) / (r * float(rng.uniform(1, 2)))) ** 2) - ((v - at[1]) / r) ** 2)
        light = light + float(rng.uniform(0.3, 2.5)) * blob if rng.random() < 0.8 else light * (1 - blob)
    return np.asarray(light, np.float32)


def _exposed(light: F32, high: float, rng: np.random.Generator) -> U8:
    """As a camera gives it."""
    sigma = float(rng.uniform(0.2, 0.9)) if rng.random() < 0.7 else float(rng.uniform(0.5, 0.075 * high))
    light = _soft(light, sigma)
    if rng.random() < 0.15:
        n = 2 * int(rng.integers(1, max(int(0.07 * high), 1) + 1)) + 1
        kernel = np.zeros((n, n), np.float32)
        turn = float(rng.uniform(0, np.pi))
        way = np.array([np.cos(turn), np.sin(turn)]) * (n // 2)
        cv2.line(kernel, tuple((n // 2 - way).round().astype(int)), tuple((n // 2 + way).round().astype(int)), 1.0, 1)
        light = np.asarray(cv2.filter2D(light, -1, kernel / kernel.sum()), np.float32)
    light = np.clip(light * float(np.exp(rng.uniform(-0.8, 0.35))), 0, 1) ** float(rng.uniform(0.7, 1.25))
    if rng.random() < 0.4:
        light = light + float(rng.uniform(0.2, 0.9)) * (light - _soft(light, float(rng.uniform(0.7, 1.6))))
    grain = rng.normal(0, 1, light.shape).astype(np.float32)
    grain = _soft(grain, 0.7) * 1.8 if rng.random() < 0.4 else grain
    light = 255 * light + grain * float(np.exp(rng.uniform(np.log(0.5), np.log(9))))
    pixels = np.clip(light, 0, 255).astype(np.uint8)
    if rng.random() < 0.5:
        _, code = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(40, 96))])
        pixels = np.asarray(cv2.imdecode(code, cv2.IMREAD_GRAYSCALE), dtype=np.uint8)
    return pixels
