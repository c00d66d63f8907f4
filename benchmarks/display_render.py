"""Draws seven-segment displays as a shop photo would show them, with known reading.

Everything is drawn from parameters: digit shape, segment ends, gaps, slant, decimal point, minus, degree
sign, unlit segments, icons, bezel, light, shadow, glare, fading, perspective, blur, noise, JPEG. Two families
of styles, so that what is tuned on one is measured on the other.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np

from shared.numerics.arrays import F64, U8

Family = Literal["tune", "measure"]

LIT = {"0": "abcdef", "1": "bc", "2": "abged", "3": "abgcd", "4": "fgbc", "5": "afgcd", "6": "afgedc", "7": "abc",
       "8": "abcdefg", "9": "abfgcd", "-": "g", " ": ""}  # fmt: skip
TALL = 200.0
"""Height of a digit on the drawing board, pixels."""


@dataclass(frozen=True)
class Shown:
    """A display in a photo: grey picture, corners of its window (4, 2) as the digits read, the truth."""

    image: U8
    corners: F64
    text: str
    what: str


@dataclass(frozen=True)
class Style:
    """How digits look: fractions of the digit's height; slant in degrees."""

    width: float
    thick: float
    gap: float
    pitch: float
    slant: float
    ends: str
    nine_tail: bool
    six_top: bool
    seven_serif: bool


def draw_style(rng: np.random.Generator, family: Family) -> Style:
    """A style of one family: the two overlap in measures, not in segment shapes."""
    tune = family == "tune"
    thick = rng.uniform(0.10, 0.17) if tune else rng.uniform(0.08, 0.19)
    width = rng.uniform(0.48, 0.62) if tune else rng.uniform(0.44, 0.66)
    ends = str(rng.choice(["hex", "mitre"] if tune else ["mitre", "rect", "round", "blunt"]))
    # no display's segment is shorter than one and a half strokes
    thick = min(thick, (width - 0.08) / (3.5 if ends == "rect" else 3.0))
    return Style(
        width=width, thick=thick, gap=rng.uniform(0.0, 0.03) if tune else rng.uniform(0.0, 0.04),
        pitch=width + rng.uniform(0.16, 0.36), slant=float(rng.choice([0.0, rng.uniform(0, 12)])),
        ends=ends,
        nine_tail=bool(rng.random() < 0.9), six_top=bool(rng.random() < 0.9), seven_serif=bool(rng.random() < 0.1),
    )  # fmt: skip


def segments(style: Style) -> dict[str, F64]:
    """Outline of each segment (n, 2) in a digit of height 1, x right, y down, origin at its upper left."""
    w, t, g = style.width, style.thick, style.gap
    h = t / 2

    def bar(x0: float, x1: float, y: float) -> F64:
        """A level bar on centre line y between joints x0 and x1."""
        x0, x1 = x0 + g, x1 - g
        if style.ends == "rect":
            return np.array([[x0 + h, y - h], [x1 - h, y - h], [x1 - h, y + h], [x0 + h, y + h]])
        if style.ends == "blunt":
            return np.array([[x0 + 0.6 * h, y - h], [x1 - 0.6 * h, y - h], [x1 - 0.2 * h, y], [x1 - 0.6 * h, y + h],
                             [x0 + 0.6 * h, y + h], [x0 + 0.2 * h, y]])  # fmt: skip
        return np.array([[x0, y], [x0 + h, y - h], [x1 - h, y - h], [x1, y], [x1 - h, y + h], [x0 + h, y + h]])

    top, mid, low = h, 0.5, 1 - h
    left, right = h, w - h
    shapes = {"a": bar(left, right, top), "g": bar(left, right, mid), "d": bar(left, right, low)}
    for name, x, y0, y1 in (("f", left, top, mid), ("b", right, top, mid), ("e", left, mid, low),
                            ("c", right, mid, low)):  # fmt: skip
        shapes[name] = bar(y0, y1, x)[:, ::-1].copy()
    if style.ends == "mitre":
        e = 0.7 * g
        shapes["a"] = np.array([[e, 0], [w - e, 0], [w - t - e, t], [t + e, t]])
        shapes["d"] = np.array([[t + e, 1 - t], [w - t - e, 1 - t], [w - e, 1], [e, 1]])
        shapes["f"] = np.array([[0, e], [t, t + e], [t, mid - h - e], [h, mid - e], [0, mid - h - e]])
        shapes["e"] = np.array([[h, mid + e], [t, mid + h + e], [t, 1 - t - e], [0, 1 - e], [0, mid + h + e]])
        for a, b in (("f", "b"), ("e", "c")):
            shapes[b] = np.stack([w - shapes[a][:, 0], shapes[a][:, 1]], axis=1)
    return shapes


def board(text: str, style: Style, rng: np.random.Generator, faint: float, faults: bool) -> tuple[F64, float]:
    """Ink (rows, columns) 0 to 1 of a line of text, digits TALL high with margins; the margin in pixels.

    faint : ink of unlit segments. faults : some segments fade.
    """
    shapes = segments(style)
    margin = 0.5 * TALL
    digits = [c for c in text if c not in ".°"]
    small = 0.72 if rng.random() < 0.12 and text[-1] != "." and "." in text else 1.0
    width = int(len(digits) * style.pitch * TALL + 2 * margin + 0.5 * TALL)
    ink = np.zeros((int(TALL + 2 * margin), width))
    lean = np.tan(np.radians(style.slant))

    def fill(outline: F64, x: float, y: float, scale: float, value: float, round_off: float = 0.0) -> None:
        points = outline * scale * TALL + [x, y]
        points[:, 0] += lean * (margin + TALL - points[:, 1])
        layer = np.zeros(ink.shape, dtype=np.uint8)
        cv2.fillPoly(layer, [np.round(points * 16).astype(np.int32)], 255, cv2.LINE_AA, 4)
        if round_off > 0:
            k = 2 * round(round_off) + 1
            soft = cv2.GaussianBlur(layer, (0, 0), max(round_off / 2, 0.5))
            layer = np.where(soft > 127, 255, 0).astype(np.uint8) if k > 1 else layer
        np.maximum(ink, value * layer / 255.0, out=ink)

    round_off = 0.25 * style.thick * TALL if style.ends == "round" else 0.0
    minus_short = rng.random() < 0.3
    x = margin
    after_point = False
    dot = rng.uniform(0.9, 1.25) * style.thick
    dot_round = rng.random() < 0.5
    for i, c in enumerate(text):
        if c == ".":
            cx = x - (style.pitch - style.width) * TALL / 2
            fill(_dot(dot, dot_round), cx - dot * TALL / 2, margin + TALL * (1 - dot), 1.0, 1.0)
            after_point = True
            continue
        if c == "°":
            ring = 0.2 + 0.08 * rng.random()
            circle = _dot(1.0, True) - [0.5, 0.5]
            fill(circle + [0.5, 0.5], x - 0.1 * TALL, margin, ring, 1.0)
            before = ink.copy()
            fill((circle * 0.5) + [0.5, 0.5], x - 0.1 * TALL, margin, ring, 1.0)
            ink[(before > 0) & (_mask(ink.shape, circle * 0.5 * ring * TALL, x - 0.1 * TALL + ring * TALL / 2,
                                      margin + ring * TALL / 2, lean, margin + TALL) > 0)] = 0.0  # fmt: skip
            continue
        scale = small if after_point and i >= len(text.rstrip("°")) - 1 else 1.0
        y = margin + TALL * (1 - scale)
        lit = LIT[c]
        if c == "6" and not style.six_top:
            lit = lit.replace("a", "")
        if c == "9" and not style.nine_tail:
            lit = lit.replace("d", "")
        if c == "7" and style.seven_serif:
            lit += "f"
        for name, outline in shapes.items():
            value = faint
            if name in lit:
                value = 1.0
                if faults and rng.random() < 0.04:
                    value = float(rng.uniform(0.45, 0.85))
            if c == "-" and name == "g" and minus_short:
                outline = (outline - [style.width / 2, 0.5]) * [0.6, 1.0] + [style.width / 2, 0.5]
            if value > 0:
                fill(outline, x, y, scale, value, round_off)
        x += style.pitch * TALL * scale
    return ink[:, : int(x + margin + 0.3 * TALL)], margin


def _dot(size: float, circle: bool) -> F64:
    if circle:
        angle = np.linspace(0, 2 * np.pi, 24, endpoint=False)
        return np.stack([np.cos(angle), np.sin(angle)], axis=1) * size / 2 + size / 2
    return np.array([[0, 0], [size, 0], [size, size], [0, size]])


def _mask(shape: tuple[int, ...], outline: F64, x: float, y: float, lean: float, base: float) -> U8:
    points = outline + [x, y]
    points[:, 0] += lean * (base - points[:, 1])
    layer = np.zeros(shape, dtype=np.uint8)
    cv2.fillPoly(layer, [np.round(points).astype(np.int32)], 255)
    return layer


def draw_text(rng: np.random.Generator) -> str:
    """A reading as an inclinometer shows it."""
    size = float(rng.choice([rng.uniform(0, 5), rng.uniform(0, 30), rng.uniform(80, 100), rng.uniform(0, 180)]))
    text = f"{size:.{rng.choice([1, 1, 1, 2])}f}"
    if size < 95 and rng.random() < 0.35:
        text = "-" + text
    return text + ("°" if rng.random() < 0.5 else "")


def draw_display(rng: np.random.Generator, family: Family, tall: tuple[float, float] = (26, 130)) -> Shown:
    """A photo of a display. tall : range of the digits' height in the photo, pixels."""
    text = draw_text(rng)
    style = draw_style(rng, family)
    kind = str(rng.choice(["lcd", "lcd", "lcd", "backlit", "led"]))
    faint = 0.0 if rng.random() < 0.5 else float(rng.uniform(0.02, 0.13))
    ink, margin = board(text, style, rng, faint, faults=rng.random() < 0.25)
    ink = _icons(ink, margin, rng)
    bright = _lit_panel(ink, kind, rng)
    window = _window(bright, margin, kind, rng)
    panel, corners = window
    return _photograph(panel, corners, text.rstrip("°"), kind, rng, tall)


def _icons(ink: F64, margin: float, rng: np.random.Generator) -> F64:
    """Small text and signs above, below or beside the digits, inside the window."""
    pad = int(rng.uniform(0, 0.5) * margin)
    right = int(rng.uniform(0.0, 1.2) * TALL) if rng.random() < 0.4 else 0
    ink = np.pad(ink, ((pad, 0), (0, right)))
    if rng.random() < 0.55:
        layer = np.zeros(ink.shape, dtype=np.uint8)
        words = rng.permutation(["HOLD", "mm/m", "%", "BAT", "ABS", "in/ft", "AUTO", "REL"])[: rng.integers(1, 3)]
        for word in words:
            scale = float(rng.uniform(0.7, 1.2))
            high = 22 * scale
            y = float(rng.choice([pad + 0.32 * margin, ink.shape[0] - 0.12 * margin])) if pad > 0.2 * margin else (
                ink.shape[0] - 0.12 * margin)  # fmt: skip
            x = rng.uniform(0.05, 0.6) * ink.shape[1]
            if right > 0.7 * TALL and rng.random() < 0.5:
                x, y = ink.shape[1] - right * 0.95, pad + margin + rng.uniform(0.3, 0.9) * TALL
            cv2.putText(layer, str(word), (int(x), int(y + high / 3)), cv2.FONT_HERSHEY_SIMPLEX, scale, 255, 3,
                        cv2.LINE_AA)  # fmt: skip
        if rng.random() < 0.4:
            x0, y0 = int(rng.uniform(0.02, 0.1) * ink.shape[1]), int(pad * 0.5 + 6)
            cv2.rectangle(layer, (x0, y0), (x0 + 50, y0 + 22), 255, 3)
            cv2.rectangle(layer, (x0 + 50, y0 + 6), (x0 + 56, y0 + 16), 255, -1)
        ink = np.maximum(ink, layer / 255.0)
    return ink


def _lit_panel(ink: F64, kind: str, rng: np.random.Generator) -> F64:
    """Brightness 0 to 255 of the window: dark on light, light on dark, or glowing."""
    rows, columns = ink.shape
    y, x = np.mgrid[0:rows, 0:columns]
    slope = rng.uniform(-0.18, 0.18, 2)
    light = 1 + slope[0] * (x / columns - 0.5) + slope[1] * (y / rows - 0.5)
    fading = float(rng.uniform(0.45, 1.0)) if rng.random() < 0.3 else float(rng.uniform(0.8, 1.0))
    if kind == "lcd":
        ground = rng.uniform(110, 200)
        digit = rng.uniform(15, 60)
        if rng.random() < 0.5:  # the shadow that the segments throw on the LCD's back
            shadow = cv2.GaussianBlur(np.roll(ink, (6, 5), axis=(0, 1)), (0, 0), 5)
            ink = np.maximum(ink, 0.25 * shadow)
        return np.asarray((ground + (digit - ground) * ink * fading) * light)
    if kind == "backlit":
        ground, digit = rng.uniform(20, 80), rng.uniform(170, 245)
        return np.asarray((ground + (digit - ground) * ink * fading) * light)
    ground, digit = rng.uniform(5, 40), rng.uniform(150, 300)
    glow = cv2.GaussianBlur(ink, (0, 0), rng.uniform(6, 18))
    return np.asarray(ground * light + (digit - ground) * fading * (ink * light + rng.uniform(0.05, 0.25) * glow))


def _window(panel: F64, margin: float, kind: str, rng: np.random.Generator) -> tuple[F64, F64]:
    """The window in the gauge's case: bezel and body round it. Corners of the window (4, 2)."""
    trim = int(rng.uniform(0.1, 0.75) * margin * 0.8)
    if trim > 0:
        panel = panel[trim // 2 : panel.shape[0] - trim // 2, trim : panel.shape[1] - max(trim // 2, 1)]
    rows, columns = panel.shape
    frame = int(rng.uniform(0.1, 0.4) * TALL)
    body = float(rng.choice([rng.uniform(15, 60), rng.uniform(120, 230)]))
    bezel = float(rng.uniform(8, 50)) if kind != "led" else float(rng.uniform(5, 30))
    out = 2 * frame
    whole = np.full((rows + 2 * out, columns + 2 * out), body)
    cv2.rectangle(whole, (frame, frame), (columns + 2 * out - frame, rows + 2 * out - frame), bezel, -1)
    whole[out : out + rows, out : out + columns] = panel
    corners = np.array([[out, out], [out + columns, out], [out + columns, out + rows], [out, out + rows]], float)
    return whole, corners


def _photograph(panel: F64, corners: F64, text: str, kind: str, rng: np.random.Generator,
                tall: tuple[float, float]) -> Shown:  # fmt: skip
    """Perspective, shadow, glare, blur, noise, JPEG."""
    rows, columns = panel.shape
    if rng.random() < 0.35:
        panel = _shade(panel, rng)
    if rng.random() < 0.3:
        panel = _glare(panel, corners, rng)
    scale = np.exp(rng.uniform(np.log(tall[0]), np.log(tall[1]))) / TALL
    turn = np.radians(rng.uniform(-6, 6))
    size = np.array([columns, rows]) * scale
    square = np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]], float)
    bend = rng.uniform(-0.06, 0.06, (4, 2)) * size
    c, s = np.cos(turn), np.sin(turn)
    placed = (square * scale + bend - size / 2) @ np.array([[c, s], [-s, c]])
    placed -= placed.min(axis=0) - 4
    shape = np.ceil(placed.max(axis=0) + 4).astype(int)
    h = cv2.getPerspectiveTransform(square.astype(np.float32), placed.astype(np.float32))
    soft = cv2.GaussianBlur(panel, (0, 0), max(0.42 / scale, 0.3))
    image = cv2.warpPerspective(soft, h, tuple(int(v) for v in shape), flags=cv2.INTER_LINEAR,
                                borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
    high = TALL * scale
    image = cv2.GaussianBlur(image, (0, 0), rng.uniform(0.3, min(1.6, 0.02 * high + 0.4)))
    image = image + rng.normal(0, rng.uniform(1, 7), image.shape)
    pixels = np.clip(image, 0, 255).astype(np.uint8)
    _, code = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(60, 96))])
    pixels = np.asarray(cv2.imdecode(code, cv2.IMREAD_GRAYSCALE), dtype=np.uint8)
    true = cv2.perspectiveTransform(corners[None], h)[0]
    span = np.linalg.norm(true[1] - true[0])
    marked = true + rng.normal(0, 0.008 * span, (4, 2))
    return Shown(pixels, marked, text, f"{kind} {high:.0f} px")


def _shade(panel: F64, rng: np.random.Generator) -> F64:
    rows, columns = panel.shape
    y, x = np.mgrid[0:rows, 0:columns]
    angle = rng.uniform(0, np.pi)
    across = (x - rng.uniform(0.2, 0.8) * columns) * np.cos(angle) + (y - rng.uniform(0.2, 0.8) * rows) * np.sin(angle)
    edge = 1 / (1 + np.exp(-across / rng.uniform(4, 40)))
    return np.asarray(panel * (1 - rng.uniform(0.2, 0.5) * edge))


def _glare(panel: F64, corners: F64, rng: np.random.Generator) -> F64:
    rows, columns = panel.shape
    y, x = np.mgrid[0:rows, 0:columns]
    at = corners[0] + rng.uniform(0, 1, 2) * (corners[2] - corners[0])
    radius = rng.uniform(0.15, 0.5) * TALL
    far = ((x - at[0]) / (radius * rng.uniform(1, 3))) ** 2 + ((y - at[1]) / radius) ** 2
    return np.asarray(panel + rng.uniform(30, 140) * np.exp(-far))
