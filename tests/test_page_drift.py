"""The page and a watched folder hold their photos against the profiles, as a batch does."""

from __future__ import annotations

import shutil
import time
from dataclasses import replace

import pytest
from starlette.testclient import TestClient

from rigging.page.app import make_app
from rigging.page.desk import Desk
from rigging.page.drift import DriftCheck
from rigging.page.gate import Gate
from rigging.page.view import standing
from rigging.page.watch import news
from rigging.planning.new_job import DraftWing, starting_job
from shared.job.model import Level
from tests.batch_help import small_folder
from tests.drift_reader import LENS

PHOTOS = 9


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory):
    """A bench with photos of a lens 5 % longer than its profile says."""
    home = tmp_path_factory.mktemp("bench")
    (home / "lens").mkdir()
    shutil.copy(LENS, home / "lens")
    (home / "wing.toml").write_text(starting_job(DraftWing()), "utf-8")
    made = Desk(
        home / "wing.toml", reader="tests.drift_reader:read_bench_photo", drawer="tests.fake_reader:draw", workers=2
    )
    for path in sorted(small_folder(home / "photos", PHOTOS).iterdir()):
        made.bench.add(path.read_bytes())
    made.start()
    end = time.monotonic() + 60
    while any(s.tree is None for s in made.seen()):
        assert time.monotonic() < end
        time.sleep(0.05)
    yield made
    made.close()


def test_the_page_tells_of_another_zoom_and_trusts_no_angle(desk: Desk):
    with TestClient(make_app(desk, Gate(False), frozenset({"testserver"}))) as client:
        state = client.get("/api/state").json()
    assert state["problem"] is None and "focal length +8" in state["findings"][0]
    assert {p["status"] for p in state["photos"]} == {"doubtful"}
    measured = [s for s in state["stations"] if s["photos"]]
    assert measured and all(any("another zoom" in d for d in s["doubts"]) for s in measured)
    assert all(s["state"] not in ("conforming", "nonconforming") for s in measured)


def test_a_watched_folder_tells_of_it_too(desk: Desk):
    assert sum("another zoom" in line for line in news(desk, set())) >= 1


def test_the_check_is_made_once_for_the_same_photos(desk: Desk, monkeypatch: pytest.MonkeyPatch):
    first = desk.drift.of(desk.job, [s.tree for s in desk.seen() if s.tree is not None])
    monkeypatch.setattr("rigging.batch.drift.BatchWatch.check", lambda *_: pytest.fail("checked again"))
    assert standing(desk).readings
    assert desk.drift.of(desk.job, [s.tree for s in desk.seen() if s.tree is not None]) is first


def test_a_profile_that_cannot_be_read_is_told_and_the_readings_still_shown(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(desk, "job", replace(desk.job, level=Level("lost.json")))
    monkeypatch.setattr(desk, "drift", DriftCheck())
    now = standing(desk)
    assert now.problem is not None and now.problem.startswith("Lens, print and level were not checked.")
    assert "lost.json" in now.problem and len(now.readings) == PHOTOS
