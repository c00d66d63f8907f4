"""A stand-in for the reading of a photo: quick, different for every photo. For tests of the batch alone."""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import Any

import numpy as np

from shared.errors import UserError
from shared.flags import Flag, FlagCode
from shared.job.model import Job
from shared.lines import Role
from shared.quantity import Component, Quantity
from shared.reading import Advice, Angle, Evidence, Made, Photo, Reading, SeenLine
from vision.image.photo import Picture


def read_photo(picture: Picture, job: Job) -> Reading:
    """Values drawn from the photo's own hash; the first pixel says what kind of trouble to make."""
    level = int(picture.gray[0, 0])
    if level == 250:
        raise ValueError("a made-up fault")
    if level == 251:
        os._exit(9)
    if level == 253:
        time.sleep(600)
    if level == 252:
        raise UserError("lens", "a made-up mistake", "mend it")
    log = os.environ.get("FAKE_READER_LOG")
    if log:
        with Path(log).open("a") as stream:
            stream.write(picture.name + "\n")
    time.sleep(float(os.environ.get("FAKE_READER_SECONDS", "0")))
    photo = Photo(picture.name, picture.sha256, picture.width, picture.height, picture.exif.taken, None)
    seed = int(picture.sha256[:8], 16) / 2**32
    station = job.stations[int(picture.sha256[8:10], 16) % len(job.stations)].name
    made = Made("test", None, None)
    if level == 249:
        return Reading(photo, station, Angle(None, "no chord line"), Angle(None, "no spar line"), None, None, made)
    line, lens = f"photo:{picture.sha256[:6]} line", Component("lens", "lens:fake axis 1", -0.004)
    chord = Angle(Quantity(seed / 3, (Component("line fit", line, 0.01 + seed / 50), lens)))
    spar = Angle(
        Quantity(90 + seed, (Component("unknown", "unknown", float("nan")), lens)),
        flags=(Flag(FlagCode.CHORD_BROKEN, "a faint line"),),
    )
    seen = SeenLine(Role.CHORD, ((0.0, 1.0), (30.0, 1.5)), float("nan"), 0.2, True, "the longest")
    return Reading(
        photo,
        station,
        chord,
        spar,
        "left",
        "plumb",
        made,
        advice=(Advice("come nearer"),),
        evidence=Evidence((picture.width, picture.height), lines=(seen,)),
    )


def draw(picture: Picture, reading: Reading, job: Job) -> Any:  # noqa: ARG001 - the drawer's signature
    """A small picture."""
    return np.full((8, 8, 3), int(picture.gray.mean()), np.uint8)
