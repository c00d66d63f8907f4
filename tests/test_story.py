"""The story of a wing: page and generator are in step, and the story goes as it says, here with a reader that knows the truth.

tests/test_docs.py draws the story's photos and runs its commands with the real reader.
"""

from __future__ import annotations

import shlex
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from readings import angle, reading

from docs import make_story
from docs.story_acts import ACTS
from docs.story_wing import JOB, SHOTS, STATIONS
from rigging.batch.find import find_photos
from rigging.batch.run import Options
from rigging.cli.main import run
from rigging.record.chain import find_record
from rigging.record.verify import verify
from rigging.survey.run import Wanted, take_survey
from rigging.survey.turned import take_turned
from shared.job.file import parse_job
from shared.job.model import Job
from shared.reading import Photo, Reading
from vision.image.photo import Picture

FAKE = Options(workers=0, overlays=False, reader="test_story:read_photo")
STORY = Path(make_story.PAGE)


def read_photo(picture: Picture, job: Job) -> Reading:  # noqa: ARG001 - the reader's signature
    """The name tells the photo; the truth with a small error of its own."""
    shot = Path(picture.name).stem
    name, stands = SHOTS[shot]
    rng = np.random.default_rng(int(picture.sha256[:8], 16))
    chord, spar = (value + rng.normal(0, 0.01) for value in stands.angles(name))
    made = reading(name, angle(chord, picture.sha256[:6]), angle(spar, picture.sha256[:6] + " spar"))
    return replace(made, photo=Photo(picture.name, picture.sha256, picture.width, picture.height, None, None))


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The story's folder, its photos no larger than a stamp."""
    (tmp_path / "photos").mkdir()
    (tmp_path / "wing.toml").write_text(JOB, "utf-8")
    rng = np.random.default_rng(11)
    for shot in SHOTS:
        Image.fromarray(rng.integers(0, 255, (120, 160), np.uint8)).save(tmp_path / "photos" / f"{shot}.jpg")
    monkeypatch.chdir(tmp_path)
    return tmp_path / "wing.toml"


def done(line: str) -> int:
    """One command of the story; photos are read by the stand-in."""
    words = shlex.split(line)[1:]
    photos = [Path(w) for w in words[2:] if not w.startswith("-")]
    job_file = Path(words[1])
    if words[0] == "survey":
        take_survey(job_file, find_photos(photos), Path("wing-readings"), Wanted(), FAKE)
        return 0
    if words[0] == "turned":
        take_turned(job_file, find_photos(photos), Path("wing-readings"), FAKE)
        return 0
    return run(words)


def test_the_story_goes_as_it_says(shop: Path):
    for act in ACTS:
        for line, code in act.commands:
            assert done(line) == code, line
        make_story.hold(act, shop)
    assert {t.text for t in verify(shop)} == {
        "the job file has changed since; the survey keeps it as it was"
    }  # the glue's time


def test_every_step_with_a_check_is_found_wrong_once(shop: Path, capsys: pytest.CaptureFixture[str]):
    wrong: set[str] = set()
    for act in ACTS:
        for line, _ in act.commands:
            done(line)
            setup = find_record(shop, "last").survey().setup if (shop.parent / "wing-surveys").is_dir() else None
            wrong |= {s.step.name for s in setup.steps if s.state == "wrong"} if setup is not None else set()
    capsys.readouterr()
    assert wrong == {"root level", "fitting plumb", "washout", "spanwise level", "as clamped"}


def test_page_and_generator_are_in_step():
    text = STORY.read_text("utf-8")
    assert make_story.skeleton(text) == make_story.skeleton(make_story.page()), "run python -m docs.make_story"
    pictures = sorted(p for act in ACTS for p in act.pictures)
    kept = list(make_story.PICTURES.glob("story-*.jpg"))
    assert sorted(p.stem.removeprefix("story-") for p in kept) == pictures
    assert sum(p.stat().st_size for p in kept) < 1_500_000


def test_the_fitting_takes_washout_away_one_for_one():
    # common practice, no source: a fitting 1.7 degrees aft takes 1.7 degrees off the washout
    upright, aft = SHOTS["R6-plumb"][1], SHOTS["R6-aft"][1]
    lean = aft.angles("R6")[1] - upright.angles("R6")[1]
    lost = aft.angles("R6")[0] - upright.angles("R6")[0]
    assert lean == pytest.approx(lost) == pytest.approx(1.65)
    assert STATIONS["R1"][2] - STATIONS["R6"][2] == 2.5


def test_the_job_of_the_story_states_its_order():
    job = parse_job(JOB)
    told: dict[str, Any] = {s.name: s.after for s in job.steps}
    assert list(told.values()) == [(), *((name,) for name in list(told)[:-1])] and len(job.stations) == len(STATIONS)
