"""Reads a segment display: finds the row, reads its places, and gives the number that is likelier than a stated bar.

Nothing here knows which angle is expected. What is less likely than the bar gives no value, and what was seen.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from shared.flags import FlagCode
from shared.numerics.arrays import F64, U8
from vision.display.cells import read_places, settled
from vision.display.finder import Row, find_rows
from vision.display.number import Number, Sign, number_in
from vision.display.strip import COLUMN, OVER, TALL, to_picture
from vision.display.types import Digit, DisplayReading, unread

SURE = 0.985
"""Probability from which a number is given: then less than one in 500 of those given are wrong (docs/inclinometer.md)."""
SURE_BELOW_ZERO = 0.99
"""The same for a number with a minus: what reflects beside the digits may look like one, and a false minus turns an angle
round."""
CALIBRATION = (2.20, 1.12)
"""Offset and slope from the network's log-odds to those with which readings are right, fitted by `benchmarks/displays.py`
on faces that the networks were not trained on: as a product over all signs, they are too low."""
LARGEST = 360.0
"""No inclinometer shows more degrees."""
WINDOW, ROOM = 220, 0.3
"""A marked window is brought to this height, pixels, with room round it, as a share of its height."""
WHOLE = 400
"""Height at which a whole picture is searched at the finest, pixels: figures of a twentieth of it are found."""
ROWS = 3
"""Rows that are read; what else looks like figures is a part of them."""
RIVAL = 0.6
"""A second row is a rival from this share of the first one's height: gauges show lesser figures beside the angle."""
RIVALS_SURE = 0.1
"""Probability from which a second row counts: words on the case read as figures with less."""

CHANCE = 0.1
"""How often what is no figure, seen upside down or in the wrong light, looks like one."""
TURNED = 0.05
"""How often figures stand upside down in corners that were marked, or placed by a tag: gauges that turn their display when they
are held upside down do that."""


@dataclass(frozen=True)
class _Read:
    """A row as read one way up in one light."""

    row: Row
    light: bool
    number: Number
    prior: float

    @property
    def sure(self) -> float:
        """Probability of the likeliest text; 0 where it is no number."""
        text, p = self.number.texts[0]
        return p if text.lstrip("-").replace(".", "").isdigit() else 0.0

    @property
    def evidence(self) -> float:
        """Weight against other ways of reading: each figure explained counts as CHANCE against a chance likeness.

        A point that is placed by knowing the gauge, and not seen, speaks against this way.
        """
        figures = sum(char not in "-^/?" for _, char in self.number.signs)
        return float((self.sure + 1e-6) * CHANCE**-figures) * self.prior * max(self.number.point, 0.02)


def read_display(image: U8, corners: F64 | None = None, *, upright: bool = False,
                 decimals: int | None = None) -> DisplayReading:  # fmt: skip
    """The number on a display.

    image : (h, w) uint8 grey. corners : (4, 2) pixels of the window, the digits' upper left first, clockwise;
    None: the image is a crop of the window. upright : the picture, or the corners' order, is known to stand as the digits
    read; else a crop may stand either way up, and digits in marked corners seldom stand on their heads. decimals :
    digits after the point, where the gauge always shows as many. Raises ValueError for a picture that is not grey or too small.
    """
    if image.ndim != 2 or min(image.shape) < 12:
        raise ValueError("a grey picture of at least 12 x 12 pixels is needed")
    picture, back = _view(image, corners)
    marked = corners is not None
    rows = find_rows(picture, WINDOW // 2 if marked else min(WHOLE, image.shape[0]))
    if corners is not None:
        rows = [r for r in rows if _inside(r, picture)]
    if not rows:
        return unread("no row of digits found")
    reads = []
    for row in rows[:ROWS]:
        for way, prior in ((row, 1.0),) if upright else ((row, 1.0), (row.turned(), TURNED if marked else 1.0)):
            for light in (True, False):
                if (way.light if light else 1 - way.light) > 0.1:
                    near = settled(picture, way, light)
                    reads.append(_Read(near, light, number_in(read_places(picture, near, light), decimals), prior))
    return _told(reads, back, decimals)


def crop_of(image: U8, reading: DisplayReading) -> U8 | None:
    """The part of an image that a reading was made from, its digits in the middle, for a person to look at.

    Turned by 180 degrees where they stand on their heads. None where no digit was found.
    """
    corners = np.array([c for d in reading.digits for c in d.outline])
    if not len(corners):
        return None
    room = float(np.linalg.norm(corners[3] - corners[0]))
    low = np.maximum(np.floor(corners.min(axis=0) - room), 0).astype(int)
    high = np.ceil(corners.max(axis=0) + room).astype(int)
    part = image[low[1] : high[1], low[0] : high[0]]
    turned = corners[3, 1] < corners[0, 1]
    return np.ascontiguousarray(part[::-1, ::-1] if turned else part)


def plausible(text: str) -> bool:
    """Whether a text is a number of degrees that a gauge can show."""
    whole, point, after = text.removeprefix("-").partition(".")
    digits = (whole + after).isdecimal() and bool(whole) and bool(after) == bool(point)
    return digits and abs(float(text)) <= LARGEST and (len(whole) == 1 or whole[0] != "0")


def _view(image: U8, corners: F64 | None) -> tuple[U8, F64]:
    """The window squared up with room round it, or the whole picture; and the homography (3, 3) back to the image."""
    if corners is None:
        return image, np.eye(3)
    sides = np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1)
    across, down = (sides[0] + sides[2]) / 2, max((sides[1] + sides[3]) / 2, 1.0)
    high = float(min(WINDOW, max(down, 48.0)))
    wide, room = high * float(np.clip(across / down, 0.25, 12)), ROOM * high
    square = np.array([[room, room], [room + wide, room], [room + wide, room + high], [room, room + high]], np.float32)
    back = cv2.getPerspectiveTransform(square, corners.astype(np.float32))
    shrink = down / high
    source = cv2.GaussianBlur(image, (0, 0), 0.45 * shrink) if shrink > 1.2 else image
    size = (round(wide + 2 * room), round(high + 2 * room))
    view = cv2.warpPerspective(source, back, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                               borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
    return np.asarray(view, dtype=np.uint8), np.asarray(back, dtype=np.float64)


def _inside(row: Row, picture: U8) -> bool:
    """Whether a row's middle lies in the window that was squared up."""
    room = ROOM / (1 + 2 * ROOM) * picture.shape[0]
    x, y = row.middle
    return bool(room < x < picture.shape[1] - room and room < y < picture.shape[0] - room)


def _told(reads: list[_Read], back: F64, decimals: int | None) -> DisplayReading:
    """The reading that explains most, against the other rows, lights and ways up."""
    # a long word is a chance likeness of many figures: what is no likely number comes after what is one
    best = max(reads, key=lambda r: (r.sure > 0.5 and plausible(r.number.texts[0][0]), r.evidence))
    digits = _digits(best, back)
    text, p = best.number.texts[0]
    likely = best.number.texts[:3]
    others = [r for r in reads if r is not best and r.sure > 0 and r.number.texts[0][0] != text]
    for other in others:
        what = other.number.texts[0][0]
        if not best.row.holds(other.row):
            if _rival(best, other):
                return unread(f'two rows of digits, "{text}" and "{what}"', digits, p, likely)
            continue
        share = best.evidence / (best.evidence + other.evidence)
        p *= share
        if share < 0.75:
            way = "one way up and" if abs(other.row.tilt - best.row.tilt) > 90 else "in one light and"
            return unread(f'reads "{text}" {way} "{what}" the other: give the corners, or a tag', digits, p,
                          ((text, share), (what, 1 - share)))  # fmt: skip
    return _judged(best, text, p, likely, digits, decimals)


def _rival(best: _Read, other: _Read) -> bool:
    """Whether another row may be what the gauge shows: it reads at all, is not much smaller, and is a number or larger still."""
    what, share = other.number.texts[0][0], other.row.tall / best.row.tall
    return other.sure > RIVALS_SURE and len(what.strip("-")) > 1 and share > RIVAL and (plausible(what) or share > 1)


def _calibrated(p: float) -> float:
    """The probability with which readings of this raw probability are right."""
    odds = np.log(max(p, 1e-6) / max(1 - p, 1e-6))
    return float(1 / (1 + np.exp(-(CALIBRATION[0] + CALIBRATION[1] * odds))))


def _judged(best: _Read, text: str, p: float, likely: tuple[tuple[str, float], ...], digits: tuple[Digit, ...],
            decimals: int | None) -> DisplayReading:  # fmt: skip
    left = (1 - _calibrated(p)) / max(1 - p, 1e-6)
    p = _calibrated(p)
    likely = ((text, p), *((t, q * left) for t, q in likely[1:]))
    why = _refusal(text, p, likely, decimals)
    if why:
        return unread(why, digits, p, likely)
    turned = abs(best.row.tilt) > 90
    flags = [FlagCode.DISPLAY_UPSIDE_DOWN.flag("the display stands on its head in the picture")] if turned else []
    if any(char == "^" for _, char in best.number.signs):
        flags.append(FlagCode.DISPLAY_ARROW.flag("an arrow stands beside the figures"))
    return DisplayReading(float(text), text, None, digits, p, turned, best.light, tuple(flags), likely)


def _refusal(text: str, p: float, likely: tuple[tuple[str, float], ...], decimals: int | None) -> str | None:
    """Why a text gives no value."""
    if "/" in text:
        return f'shows a fraction ("{text}"): not an angle in degrees; type the value in'
    if "?" in text:
        return f'the segments of one digit form no figure ("{text}")'
    figures = text.strip("-").replace(".", "")
    if not figures.isdigit():
        return "no digits found" if not figures else f'"{text}" is no number'
    whole, _, after = text.lstrip("-").partition(".")
    if "-" in text[1:] or not whole or ("." in text and not after):
        return f'"{text}" is no number'
    if "." not in text and decimals is None:
        # a point that is not seen makes ten times the angle
        return f'no decimal point seen in "{text}": say how many digits follow it (0 for none)'
    if not plausible(text):
        return f'"{text}" is no angle a gauge shows'
    if p < (SURE_BELOW_ZERO if text.startswith("-") else SURE):
        return "doubtful: " + " or ".join(f'"{t}" ({100 * v:.0f} %)' for t, v in likely[:2] if t)
    if decimals is not None and len(after) != decimals:
        return f'"{text}" does not show the {decimals} digits after the point that the gauge always shows'
    return None


def _digits(read: _Read, back: F64) -> tuple[Digit, ...]:
    """The figures of the likeliest text, with their outlines in the image."""
    row = read.row
    way = to_picture(row.middle, row.tall, row.slant, row.tilt)
    return tuple(_digit(sign, char, way, back) for sign, char in read.number.signs if char not in "-^/")


def _digit(sign: Sign, char: str, way: F64, back: F64) -> Digit:
    x, half = sign.place * COLUMN, 0.3 * TALL if sign.kind == "figure" else 0.12 * TALL
    box = np.array([[x - half, OVER], [x + half, OVER], [x + half, OVER + TALL], [x - half, OVER + TALL]])
    photo = cv2.perspectiveTransform((box @ way[:, :2].T + way[:, 2])[None], back)[0]
    sure = sign.probability * dict(sign.chars).get(char, 0.0)
    return Digit(char, sure, (), tuple((float(a), float(b)) for a, b in photo))
