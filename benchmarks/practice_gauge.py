"""Draws the practice photos of samples/gauge: one gauge with its tag beside the display, seen twice.

    python benchmarks/practice_gauge.py

Figures in DSEG (SIL Open Font License; Debian package `fonts-dseg`); everything else is drawn here.
"""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
from display_gauge import FONTS, glass_light, sans, written
from display_render import TALL

from shared.files import write_whole
from shared.numerics.arrays import F64
from vision.display.tag import FIRST_TAG, tag_picture

FOLDER = Path(__file__).parent.parent / "samples" / "gauge"
SHOWN = {"teach.jpg": ("18.8", 3), "read.jpg": ("-1.4", 4)}


def glass(text: str) -> F64:
    """The glass with right-aligned figures, a degree ring and a battery: ink 0 to 1."""
    ink = np.zeros((int(1.9 * TALL), int(4.3 * TALL)))
    seen = written(text.replace("-", ""), str(FONTS / "DSEG7Classic-Bold.ttf"), TALL)
    y, x = int(0.5 * TALL), int(3.6 * TALL) - seen.shape[1]
    ink[y : y + seen.shape[0], x : x + seen.shape[1]] = seen
    if text.startswith("-"):
        ink[y + int(0.44 * TALL) : y + int(0.56 * TALL), x - int(0.65 * TALL) : x - int(0.25 * TALL)] = 1
    cv2.circle(ink, (int(3.85 * TALL), y + 22), 20, 1.0, 8, cv2.LINE_AA)
    cv2.rectangle(ink, (30, 20), (95, 48), 1.0, 5)
    return ink


def scene(text: str, rng: np.random.Generator) -> F64:
    """The gauge's front with the tag stuck beside the display."""
    grain = cv2.GaussianBlur(rng.normal(0, 1, (int(3.4 * TALL), int(7.4 * TALL))), (0, 0), 2.5)
    front: F64 = np.asarray(62.0 + 5 * grain, dtype=np.float64)
    shown = glass_light(glass(text), "lcd", np.random.default_rng(11))
    y, x = int(0.7 * TALL), int(0.6 * TALL)
    cv2.rectangle(front, (x - 18, y - 18), (x + shown.shape[1] + 18, y + shown.shape[0] + 18), 20.0, -1)
    front[y : y + shown.shape[0], x : x + shown.shape[1]] = shown
    tag = cv2.resize(tag_picture(FIRST_TAG), (int(1.7 * TALL),) * 2, interpolation=cv2.INTER_AREA)
    front[y + 20 : y + 20 + tag.shape[0], int(5.4 * TALL) : int(5.4 * TALL) + tag.shape[1]] = 0.85 * tag
    for i, word in enumerate(("ZERO", "HOLD", "ON/OFF")):
        seen = written(word, sans(), 26, "H")
        place = front[
            int(2.95 * TALL) : int(2.95 * TALL) + seen.shape[0], 200 + 340 * i : 200 + 340 * i + seen.shape[1]
        ]
        place += (170 - place) * seen
    return np.asarray(front, dtype=np.float64)


def main() -> None:
    """Draw both photos, and print the corners of the display in the first."""
    FOLDER.mkdir(exist_ok=True)
    for name, (text, seed) in SHOWN.items():
        rng = np.random.default_rng(seed)
        front = scene(text, rng)
        rows, columns = front.shape
        square = np.array([[0, 0], [columns, 0], [columns, rows], [0, rows]], dtype=np.float32)
        placed = (square * 0.55 + [70, 60] + rng.uniform(-38, 38, (4, 2))).astype(np.float32)
        h = cv2.getPerspectiveTransform(square, placed)
        size = (int(columns * 0.55) + 140, int(rows * 0.55) + 120)
        image = cv2.warpPerspective(cv2.GaussianBlur(front, (0, 0), 0.9), h, size, borderValue=(118.0,))
        image = image * np.linspace(1.06, 0.9, size[0]) + rng.normal(0, 2.0, image.shape)
        _, code = cv2.imencode(".jpg", np.clip(image, 0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 88])
        write_whole(FOLDER / name, code.tobytes())
        x, y = int(0.6 * TALL), int(0.7 * TALL)
        w, t = int(4.3 * TALL), int(1.9 * TALL)
        corners = cv2.perspectiveTransform(
            np.array([[[x, y], [x + w, y], [x + w, y + t], [x, y + t]]], dtype=np.float64), h
        )[0]
        print(name, text, ",".join(f"{v:.0f}" for v in corners.ravel()))


if __name__ == "__main__":
    main()
