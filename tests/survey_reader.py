"""A stand-in for the reading of a photo: the sample's truth for the photo's name, and an error of its own."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from readings import angle, reading

from shared.job.model import Job
from shared.reading import Photo, Reading
from vision.image.photo import Picture

TRUTH = Path(__file__).parent.parent / "samples" / "trainer" / "truth.json"


@cache
def truth() -> dict[str, Any]:
    return dict(json.loads(TRUTH.read_text())["photos"])


def read_photo(picture: Picture, job: Job) -> Reading:  # noqa: ARG001 - the reader's signature
    """The name tells the photo; the hash, its error."""
    name = Path(picture.name).stem
    told = truth()[name]
    rng = np.random.default_rng(int(picture.sha256[:8], 16))
    chord = angle(told["chord_deg"] + rng.normal(0, 0.02), picture.sha256[:6])
    spar = angle(told["spar_deg"] + rng.normal(0, 0.02), picture.sha256[:6] + " spar")
    made = reading(told["station"], chord, spar)
    return replace(made, photo=Photo(picture.name, picture.sha256, picture.width, picture.height, None, None))
