"""A batch solves the lens of a camera without a profile from its own station cards, keeps it, and uses it."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calibration.lens.match import guess_lens
from calibration.lens.profiles import load_lens
from rigging.batch.find import find_photos
from rigging.batch.lenses import keep_lenses
from shared.job.file import load_job
from vision.image.exif import Exif

SAMPLE = Path(__file__).parents[1] / "samples" / "trainer"
PHOTOS = [f"{name}.jpg" for name in ("R1", "R3-two", "L3-two", "L5-two", "R5", "L1")]


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    folder = tmp_path_factory.mktemp("wing")
    (folder / "photos").mkdir()
    for name in PHOTOS:
        shutil.copy(SAMPLE / "photos" / name, folder / "photos" / name)
    return replace(load_job(SAMPLE / "trainer.toml"), folder=folder, lens="auto", lens_folder="lens")


def test_the_lens_is_solved_kept_and_not_solved_again(job):
    sources = find_photos([job.folder / "photos"])
    (path,) = keep_lenses(job, sources)
    made, truth = load_lens(path), load_lens(SAMPLE / "lens" / "fieldcam-f1.json")
    u = np.sqrt(np.diag(made.covariance))[:5]
    assert made.from_cards and len(made.photos) == len(PHOTOS)
    assert (np.abs(np.subtract(made.theta, truth.theta)[:5]) < 3 * u).all()
    guess = guess_lens(Exif(make="Fieldcam", model="F1", focal_mm=4.6, focal35_mm=27.0), (4000, 3000))
    before = np.sqrt(np.diag(guess.covariance))[:5]
    # six photos taken nearly square-on tell the distortion and the middle, and little of the focal length
    assert (u <= before).all() and (u[2:] < 0.3 * before[2:]).all()
    assert keep_lenses(job, sources) == ()


def test_few_photos_or_a_named_lens_solve_nothing(job):
    sources = find_photos([job.folder / "photos"])
    bare = replace(job, lens_folder="none")
    assert keep_lenses(bare, sources[:3]) == ()
    assert keep_lenses(replace(bare, lens="lens/mine.json"), sources) == ()
    assert not (job.folder / "none").exists()
