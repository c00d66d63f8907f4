"""The small printed tag beside a gauge's display: where the display sits relative to it, taught once, found again.

Tag frame: millimetres, origin at the tag's centre, x right and y down as the tag is printed. Tags are OpenCV's
`DICT_5X5_1000`, ids 992 to 999: station cards carry 0 to 991.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import cv2
import msgspec
import numpy as np

from shared.errors import UserError
from shared.files import write_whole
from shared.numerics.arrays import F64, U8
from vision.cards.spec import IDS_PER_CARD, LAST_CARD

TAG_MM = 20.0
FIRST_TAG = IDS_PER_CARD * (LAST_CARD + 1)
TAGS = range(FIRST_TAG, 1000)
SOFT = 1.0
"""Blur of the second look for a tag, pixels."""
SMALL = 1600
"""Pictures whose longer side has fewer pixels are enlarged for the third look."""
FORMAT = "ribangle gauge display 1"


@dataclass(frozen=True)
class TaughtDisplay:
    """Where one gauge's display sits. corners_mm : window's corners in the tag's frame, upper left first, clockwise.

    decimals : digits after the point that this gauge always shows; None where it is not known.
    """

    tag: int
    corners_mm: tuple[tuple[float, float], ...]
    decimals: int | None = None


def find_tags(image: U8) -> dict[int, F64]:
    """Corners (4, 2), pixels, of each gauge tag in a grey picture.

    Where none is seen in the picture as it is, it is looked at softly, and a small one enlarged: noise breaks the thin
    outline that a tag is found by.
    """
    found = _tags_in(image, 1.0)
    if not found:
        found = _tags_in(np.asarray(cv2.GaussianBlur(image, (0, 0), SOFT), dtype=np.uint8), 1.0)
    if not found and max(image.shape) < SMALL:
        twice = cv2.resize(image, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
        found = _tags_in(np.asarray(cv2.GaussianBlur(twice, (0, 0), SOFT), dtype=np.uint8), 2.0)
    return found


def _tags_in(image: U8, scale: float) -> dict[int, F64]:
    """Corners of the gauge tags in a picture enlarged by `scale`, in pixels of the picture before."""
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    settings.minMarkerPerimeterRate = 60 * scale / max(image.shape)
    book = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_1000)
    corners, ids, _ = cv2.aruco.ArucoDetector(book, settings).detectMarkers(image)
    found: dict[int, F64] = {}
    for quad, ident in zip(corners, ids.ravel() if ids is not None else (), strict=True):
        if int(ident) in TAGS:
            # pixel centres: enlarged by s, the pixel x lies at s x + (s - 1) / 2
            found[int(ident)] = (np.asarray(quad[0], dtype=np.float64) - (scale - 1) / 2) / scale
    return found


def _tag_mm() -> F64:
    h = TAG_MM / 2
    return np.array([[-h, -h], [h, -h], [h, h], [-h, h]])


def teach(image: U8, corners: F64, decimals: int | None = None) -> TaughtDisplay:
    """Learn from one photo where the display sits. corners : (4, 2) pixels, as in `read_display`.

    Raises UserError unless exactly one gauge tag is in the photo.
    """
    tags = find_tags(image)
    if len(tags) != 1:
        names = ", ".join(str(t) for t in tags) or "none"
        raise UserError("photo", f"must show one gauge tag (ids {TAGS.start} to {TAGS.stop - 1}), found: {names}",
                        "take it nearer and square to the display, the whole tag in the light")  # fmt: skip
    ident, quad = next(iter(tags.items()))
    to_mm = cv2.getPerspectiveTransform(quad.astype(np.float32), _tag_mm().astype(np.float32))
    mm = cv2.perspectiveTransform(corners[None].astype(np.float64), to_mm)[0]
    return TaughtDisplay(ident, tuple((float(x), float(y)) for x, y in mm), decimals)


def display_corners(tag: F64, taught: TaughtDisplay) -> F64:
    """(4, 2) pixels of the taught display in a photo whose tag has these corners."""
    to_photo = cv2.getPerspectiveTransform(_tag_mm().astype(np.float32), tag.astype(np.float32))
    return np.asarray(cv2.perspectiveTransform(np.array(taught.corners_mm)[None], to_photo)[0])


def save_display(path: Path, taught: TaughtDisplay) -> None:
    """Write what was taught, whole or not at all. Raises OSError."""
    tree = {"format": FORMAT, **asdict(taught)}
    write_whole(path, msgspec.json.format(msgspec.json.encode(tree), indent=1) + b"\n")


def load_display(path: Path) -> TaughtDisplay:
    """Read it again. Raises UserError for a missing or wrong file."""
    name, remedy = f"taught display {path}", "teach it again with `ribangle gauge teach`"
    try:
        tree: Any = msgspec.json.decode(path.read_bytes())
        if not isinstance(tree, dict) or tree.pop("format", None) != FORMAT:
            raise UserError(name, "is not a taught display", remedy)
        if set(tree) - set(TaughtDisplay.__dataclass_fields__):
            raise UserError(name, "has a key that is not known", remedy)
        taught = msgspec.convert(tree, TaughtDisplay)
    except OSError as error:
        raise UserError(name, f"cannot be read ({error.strerror})", remedy) from None
    except (msgspec.MsgspecError, UnicodeDecodeError):
        raise UserError(name, "is not a taught display", remedy) from None
    good = len(taught.corners_mm) == 4 and all(math.isfinite(v) and abs(v) < 1000 for c in taught.corners_mm for v in c)
    if taught.tag not in TAGS or not good or not (taught.decimals is None or 0 <= taught.decimals <= 3):
        raise UserError(name, "tag, corners or decimals are out of range", remedy)
    return taught


def tag_picture(ident: int, module_px: int = 40) -> U8:
    """The tag, its quiet zone of one module round it: (9, 9) modules, the inner 7 x 7 are TAG_MM across."""
    if ident not in TAGS:
        raise ValueError(f"gauge tags have ids {TAGS.start} to {TAGS.stop - 1}")
    book = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_1000)
    inner = cv2.aruco.generateImageMarker(book, ident, 7 * module_px)
    return np.asarray(np.pad(inner, module_px, constant_values=255), dtype=np.uint8)
