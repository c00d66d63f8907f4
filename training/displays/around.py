"""What is mirrored in the glass and stands round it: pieces of real photographs, and printed words.

The photographs are those that scikit-image brings, the founts those that matplotlib brings; DejaVu Sans is left out,
since the judging simulators set their words in it.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import cv2
import numpy as np
import skimage
from matplotlib import get_data_path
from PIL import Image, ImageDraw, ImageFont

from shared.numerics.arrays import F32

PHOTOS = ("astronaut.png", "brick.png", "camera.png", "chelsea.png", "clock_motion.png", "coffee.png", "coins.png", "grass.png",
          "gravel.png", "motorcycle_left.png", "page.png", "rocket.jpg", "text.png")  # fmt: skip
FOUNTS = ("DejaVuSerif", "DejaVuSerif-Bold", "STIXGeneral", "STIXGeneralBol", "STIXGeneralBolIta", "cmss10", "cmtt10", "cmr10",
          "cmb10")  # fmt: skip
LETTERS = "ABCDEFGHIKLMNOPRSTUVXYZmnft/%0123456789"
WORDS = (
    "HOLD",
    "ON",
    "OFF",
    "ZERO",
    "ANGLE",
    "LEVEL",
    "0.1",
    "4 x 90",
    "IP 65",
    "MODE",
    "in/ft",
    "mm/m",
    "%",
    "ABS",
    "REL",
)


@cache
def _photo(name: str) -> F32:
    grey = cv2.imread(str(Path(skimage.__file__).parent / "data" / name), cv2.IMREAD_GRAYSCALE)
    if grey is None:
        raise FileNotFoundError(f"scikit-image brings no {name}: install scikit-image 0.23 or later")
    return np.asarray(grey, np.float32) / np.float32(255)


def photo_piece(shape: tuple[int, ...], rng: np.random.Generator) -> F32:
    """(h, w) a piece of a real photograph at any size and turn, 0 to 1."""
    whole = _photo(PHOTOS[int(rng.integers(len(PHOTOS)))])
    span = float(np.exp(rng.uniform(np.log(0.15), np.log(1.2)))) * min(whole.shape) / max(shape)
    turn = float(rng.choice([rng.uniform(-0.3, 0.3), rng.uniform(0, 2 * np.pi)]))
    c, s = span * np.cos(turn), span * np.sin(turn)
    way = np.array([[c, -s, rng.uniform(0, whole.shape[1])], [s, c, rng.uniform(0, whole.shape[0])]])
    piece = cv2.warpAffine(whole, way, (shape[1], shape[0]), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                           borderMode=cv2.BORDER_REFLECT)  # fmt: skip
    return np.asarray(piece[:, :: int(rng.choice([-1, 1]))], np.float32)


def word(high: float, rng: np.random.Generator) -> F32:
    """(h, w) ink of a printed word, 0 to 1, in its own box, its letters `high` pixels tall."""
    drawn = "".join(rng.choice(list(LETTERS), int(rng.integers(1, 7))))
    text = str(rng.choice(np.array(WORDS))) if rng.random() < 0.6 else drawn
    path = Path(get_data_path()) / "fonts" / "ttf" / f"{FOUNTS[int(rng.integers(len(FOUNTS)))]}.ttf"
    face = ImageFont.truetype(str(path), max(round(high / 0.7), 6))
    left, top, right, low = face.getbbox(text)
    image = Image.new("L", (int(right - left) + 2, int(low - top) + 2), 0)
    ImageDraw.Draw(image).text((1 - left, 1 - top), text, font=face, fill=255)
    return np.asarray(image, dtype=np.float32) / np.float32(255)


def laid(onto: F32, ink: F32, at: tuple[float, float]) -> F32:
    """(h, w) a layer of `onto`'s shape with the ink's middle at a pixel (x, y), cut off at the edges."""
    way = np.array([[1, 0, at[0] - ink.shape[1] / 2], [0, 1, at[1] - ink.shape[0] / 2]], np.float32)
    return np.asarray(cv2.warpAffine(ink, way, onto.shape[::-1]), np.float32)
