"""A stand-in for the reading of a photo, for tests of the page: the first pixel says what happens."""

from __future__ import annotations

import os
import time
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from PIL import Image
from readings import angle, reading

from shared.job.model import Job
from shared.reading import Angle, Photo, Reading
from vision.image.photo import Picture
from vision.lines.hints import Hint

SLOW, DEADLY, LINELESS, OFF = 248, 251, 249, 247


def read_photo(picture: Picture, job: Job, hints: Sequence[Hint] = ()) -> Reading:
    """Pixel n below 200: station n modulo their number, on its design angle. LINELESS has a chord by hint only;
    OFF is the second station, its jig a degree too low."""
    level = int(picture.gray[0, 0])
    if level == SLOW:
        time.sleep(60)
    if level == DEADLY:
        os._exit(9)
    station = job.stations[1 if level == OFF else level % len(job.stations)]
    photo = Photo(picture.name, picture.sha256, picture.width, picture.height, None, None)
    if level == LINELESS and not hints:
        chord = Angle(None, "no chord line was found")
    else:
        chord = angle(station.chord_deg, picture.sha256[:6])
    made = reading(station.name, chord)
    if level == OFF and station.spar_deg is not None:
        name = picture.sha256[:6]
        made = reading(station.name, angle(station.chord_deg - 1, name), angle(station.spar_deg - 1, name + "s"))
    return replace(made, photo=photo, made=replace(made.made, helped=bool(hints)))


def draw(picture: Picture, reading: Reading, job: Job) -> Any:  # noqa: ARG001 - the drawer's signature
    """A small picture."""
    return np.full((8, 8, 3), int(picture.gray.mean()), np.uint8)


def photo(level: int, seed: int = 0) -> bytes:
    """A PNG of 80 x 64 whose first pixel has this level, different for every seed."""
    import io

    pixels = np.random.default_rng(seed).integers(0, 200, (64, 80), np.uint8)
    pixels[0, 0] = level
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "png")
    return out.getvalue()
