"""The inclinometer's display in a photo sent to the page: read in a process of its own, confirmed by the person.

Nothing is written down here. What the display may show is offered beside the part of the photo it was read from; only the
person's own press notes it.
"""

from __future__ import annotations

import base64
import hashlib
from typing import TYPE_CHECKING, Any

from rigging.crosscheck.gauge_photos import TAUGHT, line_of
from rigging.page.bench import MOST_PHOTOS, Refused, ending
from rigging.page.desk import Desk
from rigging.page.worker import Died, TooLong, call_within
from shared.files import write_whole

if TYPE_CHECKING:
    from shared.numerics.arrays import U8
    from vision.display.types import DisplayReading

Told = dict[str, Any]
OFFERED = 0.05
"""Probability from which a number is offered for a person to confirm."""
CROP_HIGH = 240
"""The crop beside the numbers is brought to this height at most, pixels."""


def keep_and_read(desk: Desk, data: bytes) -> Told:
    """Keep the photo of a display as evidence beside the bench's own, and read it. Raises Refused, OSError."""
    if not data:
        raise Refused("the file is empty")
    folder = desk.bench.folder / "displays"
    folder.mkdir(exist_ok=True)
    if sum(1 for _ in folder.iterdir()) >= MOST_PHOTOS:
        raise Refused(f"{folder.name} holds {MOST_PHOTOS} photos already; move it away")
    path = folder / (hashlib.sha256(data).hexdigest()[:16] + ending(data))
    if not path.exists():
        write_whole(path, data)
    return _within(desk, str(path), True)


def read_in_rib_photo(desk: Desk, ident: str) -> Told:
    """The display beside its tag in a photo on the bench. Raises Refused where there is no such photo."""
    entry = desk.bench.entry(ident)
    if entry is None:
        raise Refused("there is no such photo")
    return _within(desk, str(entry.path), False)


def _within(desk: Desk, path: str, alone: bool) -> Told:
    try:
        return call_within(desk.limit_s, desk.context, shown_in, path, str(desk.job.folder / TAUGHT), alone)
    except TooLong:
        return _no("the display took too long to read; type the value in")
    except Died:
        return _no("the photo could not be read; type the value in")


def shown_in(path: str, taught_file: str, alone: bool) -> Told:
    """What a display shows: by the taught tag, or, where the photo shows the display `alone`, as it is.

    Raises nothing. text is None where there is no value; why says so. likely : what a person may confirm, likeliest
    first, each with text, line and percent. crop : the part of the photo that was read, a PNG as a data URL, or None.
    """
    from pathlib import Path

    from rigging.crosscheck.gauge_photos import read_by_tag
    from shared.errors import UserError
    from vision.display.read import read_display
    from vision.display.tag import load_display
    from vision.image.photo import open_photo
    from vision.image.photo_file import PhotoError

    try:
        gray = open_photo(Path(path)).gray
        found = read_by_tag(gray, load_display(Path(taught_file))) if Path(taught_file).is_file() else None
    except PhotoError as error:
        return _no(str(error.reason))
    except UserError as error:
        return _no(str(error))
    if found is None and not alone:
        return _no("no taught gauge tag is in this photo (ribangle gauge teach)")
    by_tag = found is not None
    if found is None:
        found = read_display(gray)
    return _told(found, gray, by_tag)


def _told(found: DisplayReading, gray: U8, by_tag: bool) -> Told:
    from vision.display.read import plausible

    likely = [
        {"text": text, "line": line_of(float(text)), "percent": min(round(100 * p), 99)}
        for text, p in found.likely
        if p >= OFFERED and plausible(text)
    ]
    told = {"by_tag": by_tag, "likely": likely, "crop": _crop(found, gray)}
    if found.value is None or found.text is None:
        return told | {"text": None, "line": None, "why": f"no value: {found.reason}"}
    return told | {"text": found.text, "line": line_of(found.value), "why": None}


def _crop(found: DisplayReading, gray: U8) -> str | None:
    """The part of the photo that was read, as its digits stand, as a data URL."""
    import cv2
    import numpy as np

    from vision.display.read import crop_of

    part = crop_of(gray, found)
    if part is None or part.size == 0:
        return None
    share = CROP_HIGH / part.shape[0]
    if share < 1:
        size = (max(round(part.shape[1] * share), 1), CROP_HIGH)
        part = np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    done, data = cv2.imencode(".png", part)
    return f"data:image/png;base64,{base64.b64encode(data.tobytes()).decode()}" if done else None


def _no(why: str) -> Told:
    return {"text": None, "line": None, "by_tag": False, "why": why, "likely": [], "crop": None}
