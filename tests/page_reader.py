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

from shared.flags import FlagCode
from shared.job.model import Job
from shared.reading import Angle, Photo, Reading
from vision.image.photo import Picture
from vision.lines.hints import Hint

SLOW, DEADLY, LINELESS, OFF, RIB, NEAR, DOUBT, CARDLESS = 248, 251, 249, 247, 246, 245, 244, 243
SPECIAL = {OFF: 1, RIB: 8, NEAR: 10, DOUBT: 11}
"""Stations of what is told of one only."""


def read_photo(picture: Picture, job: Job, hints: Sequence[Hint] = ()) -> Reading:
    """Pixel n below 200: station n modulo their number, on its design angle. LINELESS has a chord by hint only;
    OFF is the second station, its jig a degree too low; RIB the ninth, set a degree low on its spar; NEAR the eleventh, at the
    edge of its tolerance; DOUBT the twelfth, in doubt; CARDLESS shows no card."""
    level = int(picture.gray[0, 0])
    if level == SLOW:
        time.sleep(60)
    if level == DEADLY:
        os._exit(9)
    station = job.stations[SPECIAL.get(level, level % len(job.stations))]
    photo = Photo(picture.name, picture.sha256, picture.width, picture.height, None, None)
    if level == LINELESS and not hints:
        chord = Angle(None, "no chord line was found")
    else:
        chord = angle(station.chord_deg, picture.sha256[:6])
    made = reading(station.name, chord)
    if level == OFF and station.spar_deg is not None:
        name = picture.sha256[:6]
        made = reading(station.name, angle(station.chord_deg - 1, name), angle(station.spar_deg - 1, name + "s"))
    if level in (RIB, NEAR, DOUBT) and station.spar_deg is not None:
        off = -1.0 if level == RIB else 0.2 if level == NEAR else 0.0
        flags = (FlagCode.LINE_DOUBTFUL.flag("two lines could be the chord line"),) if level == DOUBT else ()
        name = picture.sha256[:6]
        chord = angle(station.chord_deg + off, name, own=0.1, flags=flags)
        made = reading(station.name, chord, angle(station.spar_deg, name + "s"))
    if level == CARDLESS:
        made = reading(None, Angle(None, "no station card was found"))
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
