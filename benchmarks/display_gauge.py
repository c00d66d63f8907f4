"""Draws whole gauges in a shop photo, their figures set in a seven-segment font that is not of our drawing.

The figures come from the DSEG fonts (SIL Open Font License; Debian package `fonts-dseg`). Round them stands what a
real gauge has: blank leading places, unlit segments, a degree ring or triangle signs, a battery, words in the glass,
a recessed frame, the case with its labels and buttons; before them reflections, dust, a slanting view, the washed-out
look of a liquid crystal seen askew, bloom, stripes of a scanned lamp, wrong exposure, blur, noise, JPEG. The fonts
are parted in two families, so that what is tuned on one is measured on the other.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from display_render import TALL, Family, Shown, draw_text
from PIL import Image, ImageDraw, ImageFont

from shared.numerics.arrays import F64, U8

FONTS = Path("/usr/share/fonts/truetype/dseg")
FACES: dict[Family, tuple[str, ...]] = {
    "tune": ("DSEG7Classic-Regular", "DSEG7Classic-Bold", "DSEG7Classic-Italic", "DSEG7ModernMini-Regular",
             "DSEG7ModernMini-BoldItalic", "DSEG7Modern-Regular"),
    "measure": ("DSEG7ClassicMini-Regular", "DSEG7ClassicMini-Bold", "DSEG7ClassicMini-Italic", "DSEG7Classic-BoldItalic",
                "DSEG7Modern-Bold", "DSEG7Modern-Italic", "DSEG7SEGGCHAN-Regular"),
}  # fmt: skip
WORDS: dict[Family, tuple[str, ...]] = {
    "tune": ("HOLD", "ABS", "mm/m", "BAT", "in/ft"),
    "measure": ("REL", "AUTO OFF", "LOCK", "%", "ALT", "ZERO", "A/B"),
}
LABELS: dict[Family, tuple[str, ...]] = {
    "tune": ("ON/OFF", "ZERO", "HOLD", "DIGITAL LEVEL", "0.1"),
    "measure": ("MODE", "HOLD/LIGHT", "ABS/ZERO", "ANGLE METER", "4x90", "IP54"),
}


@dataclass(frozen=True)
class Gauge:
    """A gauge's front: brightness (rows, columns), the glass's corners (4, 2), what it shows."""

    front: F64
    corners: F64
    text: str
    what: str


def sans() -> str:
    """A plain font for words: the one that comes with matplotlib."""
    from matplotlib import get_data_path

    return str(Path(get_data_path()) / "fonts" / "ttf" / "DejaVuSans-Bold.ttf")


def written(text: str, font: str, high: float, tall_of: str = "8") -> F64:
    """Text as ink 0 to 1 in its own box; `high`: height of the sign `tall_of`, pixels."""
    probe = ImageFont.truetype(font, 200).getbbox(tall_of)
    face = ImageFont.truetype(font, round(200 * high / (probe[3] - probe[1])))
    box = face.getbbox(text)
    image = Image.new("L", (int(box[2] - box[0]) + 2, int(box[3] - box[1]) + 2), 0)
    ImageDraw.Draw(image).text((1 - box[0], 1 - box[1]), text, font=face, fill=255)
    return np.asarray(image, dtype=np.float64) / 255


def glass_ink(text: str, face: str, rng: np.random.Generator, family: Family) -> F64:
    """Ink of what the glass shows, figures TALL high, with room round them."""
    font = str(FONTS / f"{face}.ttf")
    digits = text.rstrip("°")
    lead = int(rng.integers(0, 3)) if rng.random() < 0.5 else 0
    minus = digits.startswith("-")
    bare = digits.lstrip("-")
    short = minus and rng.random() < 0.4
    line = "!" * lead + ("" if short or not minus else "-") + bare
    lit = written(line, font, TALL)
    # the font's blank has a digit's width but no ink: the box is trimmed to the ink at its left
    rows = int(TALL) + 2
    lit = lit[-rows:] if lit.shape[0] >= rows else np.pad(lit, ((rows - lit.shape[0], 0), (0, 0)))
    ghost = float(rng.uniform(0.02, 0.12)) if rng.random() < 0.5 else 0.0
    pitch = written("88", font, TALL).shape[1] - written("8", font, TALL).shape[1]
    left = int((0.35 + rng.uniform(0, 0.4)) * TALL) + (lead + short) * pitch
    right = int(rng.uniform(0.25, 1.3) * TALL)
    over, under = (int(rng.uniform(0.15, 0.6) * TALL) for _ in range(2))
    ink = np.zeros((rows + over + under, left + lit.shape[1] + right))
    ink[over : over + rows, left : left + lit.shape[1]] = lit
    if ghost:
        cells = len(bare.replace(".", "")) + lead + (minus and not short)
        unlit = written("8." * cells if rng.random() < 0.5 else "8" * cells, font, TALL)[-rows:]
        x1 = left + lit.shape[1]
        x0 = max(x1 - unlit.shape[1], 0)
        h = unlit.shape[0]
        spot = ink[over + rows - h : over + rows, x0:x1]
        np.maximum(spot, ghost * unlit[:, unlit.shape[1] - (x1 - x0) :], out=spot)
    if short:
        y, wide, thick = over + rows // 2, int(rng.uniform(0.25, 0.4) * TALL), int(rng.uniform(0.08, 0.14) * TALL)
        x = left - int(0.25 * TALL) - wide
        ink[y - thick // 2 : y + thick // 2 + 1, max(x, 4) : max(x, 4) + wide] = 1
    return _signs(ink, left + lit.shape[1], over, text.endswith("°"), rng, family)


def _signs(ink: F64, x: int, y: int, ring: bool, rng: np.random.Generator, family: Family) -> F64:
    """Degree ring, triangles, battery, words."""
    layer = np.zeros(ink.shape, dtype=np.uint8)
    if ring:
        r = int(rng.uniform(0.08, 0.14) * TALL)
        at = (int(x + r + rng.uniform(0.08, 0.25) * TALL), y + r)
        cv2.circle(layer, at, r, 255, max(int(0.4 * r), 4), cv2.LINE_AA)
    if rng.random() < 0.35:  # a triangle that tells which way to turn
        s = int(rng.uniform(0.12, 0.3) * TALL)
        cx = int(rng.choice([s + 6, ink.shape[1] - s - 6]))
        cy = int(y + rng.uniform(0.2, 0.8) * TALL)
        up = rng.choice([-1, 1])
        corners = np.array([[cx - s // 2, cy], [cx + s // 2, cy], [cx, cy + up * s]])
        if cx > x + 0.55 * TALL or cx < 0.3 * TALL:
            cv2.fillPoly(layer, [corners.astype(np.int32)], 255, cv2.LINE_AA)
    if y > 0.35 * TALL and rng.random() < 0.5:
        bx = int(rng.uniform(10, 0.5 * ink.shape[1]))
        cv2.rectangle(layer, (bx, 8), (bx + 56, 34), 255, 4)
        cv2.rectangle(layer, (bx + 56, 15), (bx + 63, 27), 255, -1)
        cv2.rectangle(layer, (bx + 8, 14), (bx + 8 + int(rng.integers(5, 40)), 28), 255, -1)
    out = np.maximum(ink, layer / 255.0)
    for word in rng.permutation(np.array(WORDS[family]))[: int(rng.integers(0, 3))]:
        seen = written(str(word), sans(), float(rng.uniform(0.11, 0.2)) * TALL, "H")
        below = ink.shape[0] - y - int(TALL)
        h, w = seen.shape
        spots = [(x + int(0.1 * TALL), y + int(rng.uniform(0.45, 0.95) * TALL) - h)]
        if y > h + 8:
            spots.append((int(rng.uniform(6, max(ink.shape[1] - w - 6, 7))), 3))
        if below > h + 8:
            spots.append((int(rng.uniform(6, max(ink.shape[1] - w - 6, 7))), ink.shape[0] - h - 3))
        px, py = spots[int(rng.integers(len(spots)))]
        if px + w < out.shape[1] and py >= 0 and not out[py : py + h, px : px + w].any():
            out[py : py + h, px : px + w] = seen
    return out


def glass_light(ink: F64, kind: str, rng: np.random.Generator) -> F64:
    """Brightness of the glass."""
    rows, columns = ink.shape
    y, x = np.mgrid[0:rows, 0:columns]
    slope = rng.uniform(-0.25, 0.25, 2)
    light = 1 + slope[0] * (x / columns - 0.5) + slope[1] * (y / rows - 0.5)
    weak = float(rng.uniform(0.35, 0.8)) if rng.random() < 0.3 else float(rng.uniform(0.8, 1.0))
    if kind == "lcd":
        ground, digit = rng.uniform(90, 205), rng.uniform(12, 55)
        if rng.random() < 0.6:
            shift = int(rng.integers(3, 10))
            thrown = cv2.GaussianBlur(np.roll(ink, (shift, int(rng.integers(-6, 7))), axis=(0, 1)), (0, 0), 4)
            ink = np.maximum(ink, rng.uniform(0.12, 0.35) * thrown)
        if rng.random() < 0.25:  # washed out towards one side, as when seen askew
            weak = weak * (1 - rng.uniform(0.1, 0.5) * x / columns)
        return np.asarray((ground + (digit - ground) * ink * weak) * light)
    if kind == "negative":  # light figures in a dark liquid crystal, lit from behind
        ground, digit = rng.uniform(15, 70), rng.uniform(150, 245)
        spots = 1 + 0.15 * np.cos(x / columns * np.pi * rng.integers(1, 4))
        return np.asarray((ground + (digit - ground) * ink * weak) * light * spots)
    ground, digit = rng.uniform(5, 45), rng.uniform(160, 420)
    near, far = cv2.GaussianBlur(ink, (0, 0), rng.uniform(4, 10)), cv2.GaussianBlur(ink, (0, 0), rng.uniform(20, 45))
    glow = rng.uniform(0.05, 0.3) * near + rng.uniform(0.0, 0.15) * far
    stripes = 1 - (rng.uniform(0.1, 0.5) if rng.random() < 0.2 else 0.0) * (
        0.5 + 0.5 * np.sin(y / rng.uniform(20, 70) + rng.uniform(0, 6))
    )
    return np.asarray(ground * light + (digit - ground) * weak * stripes * (ink + glow))


def draw_gauge(rng: np.random.Generator, family: Family) -> Gauge:
    """A gauge's front with its display, frame, labels and buttons."""
    text = draw_text(rng)
    face = str(rng.choice(np.array(FACES[family])))
    kind = str(rng.choice(np.array(["lcd", "lcd", "lcd", "negative", "led"])))
    glass = glass_light(glass_ink(text, face, rng, family), kind, rng)
    rows, columns = glass.shape
    frame = int(rng.uniform(0.06, 0.3) * TALL)
    rim = int(rng.uniform(0.5, 1.4) * TALL)
    out = frame + rim
    body = float(rng.choice(np.array([rng.uniform(20, 60), rng.uniform(90, 220)])))
    grain = cv2.GaussianBlur(rng.normal(0, 1, (rows + 2 * out, columns + 2 * out)), (0, 0), 2.5)
    front: F64 = np.asarray(body + (12 + 0.06 * body) * grain, dtype=np.float64)
    bezel = float(rng.choice(np.array([rng.uniform(8, 45), rng.uniform(100, 200)])))
    cv2.rectangle(front, (rim, rim), (columns + 2 * out - rim, rows + 2 * out - rim), bezel, -1)
    front[out : out + rows, out : out + columns] = glass
    if rng.random() < 0.6:  # the frame throws a shadow on the glass
        depth = int(rng.uniform(0.03, 0.12) * TALL)
        front[out : out + depth, out : out + columns] *= rng.uniform(0.5, 0.85)
    _labels(front, out, rows, body, rng, family)
    corners = np.array([[out, out], [out + columns, out], [out + columns, out + rows], [out, out + rows]], dtype=float)
    return Gauge(front, corners, text.rstrip("°"), f"{kind} {face}")


def _labels(front: F64, out: int, rows: int, body: float, rng: np.random.Generator, family: Family) -> None:
    """Words on the case and round buttons, in place."""
    colour = body + (110 if body < 120 else -80)
    for word in rng.permutation(np.array(LABELS[family]))[: int(rng.integers(1, 4))]:
        seen = written(str(word), sans(), float(rng.uniform(0.12, 0.25)) * TALL, "H")
        h, w = seen.shape
        x = int(rng.uniform(0, max(front.shape[1] - w, 1)))
        y = int(rng.choice(np.array([0.35 * out, rows + 1.65 * out])))
        spot = front[y : y + h, x : x + w]
        spot += (colour - spot) * seen[: spot.shape[0], : spot.shape[1]]
    for _ in range(int(rng.integers(0, 3))):
        at = (int(rng.uniform(0.1, 0.9) * front.shape[1]), int(rows + 1.65 * out))
        cv2.circle(front, at, int(rng.uniform(0.15, 0.3) * TALL), body + float(rng.uniform(-50, 50)), -1, cv2.LINE_AA)


def _before_glass(front: F64, corners: F64, rng: np.random.Generator) -> F64:
    """Reflections, shade, dust."""
    rows, columns = front.shape
    y, x = np.mgrid[0:rows, 0:columns]
    if rng.random() < 0.35:  # a window mirrored in the glass: a patch with an edge
        at = corners[0] + rng.uniform(0, 1, 2) * (corners[2] - corners[0])
        reach = rng.uniform(0.3, 1.5, 2) * TALL
        quad = at + np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * reach + rng.uniform(-0.2, 0.2, (4, 2)) * TALL
        patch = np.zeros(front.shape)
        cv2.fillPoly(patch, [quad.astype(np.int32)], 1.0)
        front = front + rng.uniform(10, 70) * cv2.GaussianBlur(patch, (0, 0), rng.uniform(3, 20))
    if rng.random() < 0.3:
        angle = rng.uniform(0, np.pi)
        across = (x - rng.uniform(0.2, 0.8) * columns) * np.cos(angle) + (y - rng.uniform(0.2, 0.8) * rows) * np.sin(
            angle
        )
        front = front * (1 - rng.uniform(0.2, 0.6) / (1 + np.exp(-across / rng.uniform(3, 40))))
    if rng.random() < 0.2:
        at = corners[0] + rng.uniform(0, 1, 2) * (corners[2] - corners[0])
        radius = rng.uniform(0.1, 0.5) * TALL
        far = ((x - at[0]) / (radius * rng.uniform(1, 3))) ** 2 + ((y - at[1]) / radius) ** 2
        front = front + rng.uniform(30, 160) * np.exp(-far)
    dust = np.zeros(front.shape)
    for _ in range(int(rng.integers(0, 30))):
        spot = (int(rng.uniform(0, columns)), int(rng.uniform(0, rows)))
        cv2.circle(dust, spot, int(rng.uniform(1, 5)), float(rng.uniform(0.1, 0.4)), -1)
    return np.asarray(front + 60 * cv2.GaussianBlur(dust, (0, 0), 1.0))


def photograph(gauge: Gauge, rng: np.random.Generator, tall: tuple[float, float] = (24, 140)) -> Shown:
    """A photo of the gauge's front; the marked corners are as good as a hand makes them."""
    front = _before_glass(gauge.front, gauge.corners, rng)
    rows, columns = front.shape
    scale = float(np.exp(rng.uniform(np.log(tall[0]), np.log(tall[1])))) / TALL
    h = _view(rows, columns, scale, rng)
    square = np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]], dtype=np.float64)
    placed = cv2.perspectiveTransform(square[None], h)[0]
    shape = np.ceil(placed.max(axis=0)).astype(int)
    soft = cv2.GaussianBlur(front, (0, 0), max(0.42 / scale, 0.3))
    image = cv2.warpPerspective(
        soft, h, tuple(int(v) for v in shape), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    high = TALL * scale
    image = cv2.GaussianBlur(image, (0, 0), rng.uniform(0.3, min(2.0, 0.02 * high + 0.4)))
    if rng.random() < 0.2:
        image = _shaken(np.asarray(image, dtype=np.float64), rng.uniform(1, 0.05 * high + 1), rng)
    exposure = np.exp(rng.uniform(-0.5, 0.25))
    image = 255 * np.clip(image * exposure / 255, 0, 1) ** rng.uniform(0.8, 1.2)
    if rng.random() < 0.5:  # as cameras sharpen
        image = image + 0.6 * (image - cv2.GaussianBlur(image, (0, 0), 1.2))
    image = image + rng.normal(0, rng.uniform(1, 8), image.shape)
    pixels = np.clip(image, 0, 255).astype(np.uint8)
    _, code = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(55, 96))])
    pixels = np.asarray(cv2.imdecode(code, cv2.IMREAD_GRAYSCALE), dtype=np.uint8)
    true = cv2.perspectiveTransform(gauge.corners[None], h)[0]
    marked = true + rng.normal(0, 0.008 * float(np.linalg.norm(true[1] - true[0])), (4, 2))
    return Shown(pixels, marked, gauge.text, f"{gauge.what} {high:.0f} px")


def _view(rows: int, columns: int, scale: float, rng: np.random.Generator) -> F64:
    """Homography (3, 3) of a camera that looks up to 25 degrees askew and is turned up to 8 degrees."""
    pan, tilt, roll = np.radians([rng.uniform(-25, 25), rng.uniform(-25, 25), rng.uniform(-8, 8)])
    far = 4.0 * columns
    square = np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]], dtype=np.float64)
    flat = np.column_stack([square - [columns / 2, rows / 2], np.zeros(4)])
    about_y = np.array([[np.cos(pan), 0, np.sin(pan)], [0, 1, 0], [-np.sin(pan), 0, np.cos(pan)]])
    about_x = np.array([[1, 0, 0], [0, np.cos(tilt), -np.sin(tilt)], [0, np.sin(tilt), np.cos(tilt)]])
    about_z = np.array([[np.cos(roll), -np.sin(roll), 0], [np.sin(roll), np.cos(roll), 0], [0, 0, 1]])
    seen = flat @ (about_z @ about_x @ about_y).T
    placed = seen[:, :2] * (far / (far + seen[:, 2:])) * scale
    placed -= placed.min(axis=0)
    return np.asarray(
        cv2.getPerspectiveTransform(square.astype(np.float32), placed.astype(np.float32)), dtype=np.float64
    )


def _shaken(image: F64, length: float, rng: np.random.Generator) -> F64:
    """Motion blur of a length in pixels, in any direction."""
    n = 2 * int(np.ceil(length / 2)) + 1
    angle = rng.uniform(0, np.pi)
    kernel = np.zeros((n, n))
    reach = np.array([np.cos(angle), np.sin(angle)]) * length / 2
    middle = np.array([n // 2, n // 2])
    a, b = (middle - reach).round().astype(int), (middle + reach).round().astype(int)
    cv2.line(kernel, (int(a[0]), int(a[1])), (int(b[0]), int(b[1])), 1.0, 1)
    return np.asarray(cv2.filter2D(image, -1, kernel / kernel.sum()))


def cropped(shown: Shown, loose: float) -> U8:
    """The photo cut to the glass's upright bounding box, widened on each side by `loose` of the glass's height."""
    low, high = shown.corners.min(axis=0), shown.corners.max(axis=0)
    more = loose * (high[1] - low[1])
    x0, y0 = np.maximum(np.floor(low - more), 0).astype(int)
    x1, y1 = np.ceil(high + more).astype(int)
    return np.ascontiguousarray(shown.image[y0:y1, x0:x1])
