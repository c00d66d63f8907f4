"""Readings of a batch whose lens or print is not as it was calibrated; and a stand-in reader that gives them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from calibration.lens.flat import rotation
from calibration.lens.model import distort
from calibration.lens.profiles import load_lens
from shared.job.model import Job
from shared.quantity import Component, Quantity
from shared.reading import Angle, Evidence, Made, Photo, Reading, SeenCard
from vision.cards.spec import SPECS
from vision.image.photo import Picture

LENS = Path(__file__).parents[1] / "samples" / "trainer" / "lens" / "fieldcam-f1.json"
PROFILE = load_lens(LENS)


def readings(focal=1.0, stretch=0.0, count=14, rms=None, day="2026-05-16"):
    """Cards seen by the profile's camera, focal length times `focal`, print stretched down by `stretch`."""
    rng = np.random.default_rng(21)
    theta = np.array(PROFILE.theta)
    theta[:2] *= focal
    out = []
    for k in range(count):
        spec = SPECS["panel" if k % 3 else "strip"]
        r = rotation(np.array([*rng.uniform(-0.35, 0.35, 2), rng.uniform(-0.1, 0.1)]))
        t = np.array([rng.uniform(-250, 250), rng.uniform(-180, 180), 700.0])

        def at(flat, r=r, t=t, spec=spec):
            p = np.column_stack([flat - spec.outline().mean(axis=0), np.zeros(len(flat))])
            p = p * [1, 1 + stretch, 1] @ r.T + t
            return distort(p[:, :2] / p[:, 2:], theta)

        corners = at(spec.inner_corners())
        corners = rng.permutation(corners + rng.normal(0, 0.06, corners.shape))
        card = SeenCard(
            spec.kind,
            k,
            tuple(map(tuple, at(spec.outline()).tolist())),
            tuple(map(tuple, corners.tolist())),
            (),
            0.08 if rms is None else float(rms[k]),
        )
        photo = Photo(f"p{k}.jpg", "", 4000, 3000, f"{day}T09:{k:02d}:00", "Fieldcam F1")
        out.append(
            Reading(
                photo,
                "R1",
                Angle(None, "x"),
                Angle(None, "x"),
                None,
                None,
                Made("0", PROFILE.ident, None),
                evidence=Evidence((4000, 3000), (card,)),
            )
        )
    return out


def read_photo(picture: Picture, job: Job) -> Reading:
    """The reading of photo "aN.png" in a batch by a lens 8 % longer than its profile says."""
    number = int(picture.name[1:].split(".")[0])
    drifted = readings(focal=1.08)[number]
    chord = Angle(Quantity(1.0, (Component("line fit", f"photo {number}", 0.02),)))
    photo = replace(drifted.photo, name=picture.name, sha256=picture.sha256)
    return replace(drifted, photo=photo, station=job.stations[number % len(job.stations)].name, chord=chord)


def read_bench_photo(picture: Picture, job: Job) -> Reading:
    """As `read_photo`, for photos that a bench has named by their content."""
    read = read_photo(replace(picture, name=f"a{int(Path(picture.name).stem, 16) % 14}.png"), job)
    return replace(read, photo=replace(read.photo, name=picture.name))
