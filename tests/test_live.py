"""Live setting: a rib turned in small steps before a camera that stands still, drawn with known truth.

A few photos of one scene; benchmarks/live.py does the same for many.
"""

from __future__ import annotations

import csv
import errno
import io
import os
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import msgspec
import numpy as np
import pytest
from scipy.stats import norm
from shop import PHONE, CardAt, Scene, String, draw
from shop.jobs import job_for, lens_for
from shop.photo_file import jpeg_bytes
from shop.turned import draw_turned
from starlette.testclient import TestClient

from rigging.cli.main import run as command
from rigging.live import record as live_record
from rigging.live import source as live_source
from rigging.live.cure_watch import CureWatch, threshold
from rigging.live.presence import Presence
from rigging.live.setting import Run
from rigging.live.show import big
from rigging.page.app import make_app
from rigging.page.desk import Desk
from rigging.page.gate import Gate
from rigging.plots.live import live_plot
from shared.files import write_whole
from shared.quantity import Component, Quantity
from vision.image.photo import Picture
from vision.live import relative
from vision.live.relative import Change, Start, begin, compare
from vision.live.stillness import Stillness
from vision.reader import read_fully

CAMERA = PHONE.scaled(0.6)
SCENE = Scene(
    seed=1,
    camera=CAMERA,
    chord_mm=800.0,
    chord_deg=1.6,
    cards=(CardAt("panel", 1, 0.45),),
    clutter=8,
    exposure=0.7,
    strings=(String(x_mm=70.0, radius_mm=0.8, shadow=0.3),),
)
JOB = """
[wing]
name = "drawn"
root = "R1"
dihedral_deg = 0.0
u_lean_deg = 0.3
[[jig]]
kind = "screw"
thread = "M8"
arm_mm = 420
clockwise = "nose-down"
[[station]]
name = "R1"
side = "right"
span_mm = 400
chord_mm = 800
cards = [1]
chord_deg = 2.5
chord_tolerance_deg = 0.2
"""


def turned(by: float, again: int, **changed: object) -> np.ndarray:
    scene = replace(SCENE, chord_deg=SCENE.chord_deg + by, spar_deg=90.0 + by)
    return draw(replace(scene, **changed), again)[0]  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def first() -> np.ndarray:
    return draw(SCENE)[0]


@pytest.fixture(scope="module")
def start(first: np.ndarray) -> Start:
    picture = Picture.from_array(first, "first")
    seen = read_fully(picture, job_for(SCENE), lens=lens_for(CAMERA, np.random.default_rng(2)))
    assert seen.reading.chord.quantity is not None, seen.reading.chord.reason
    return begin(picture, seen, SCENE.chord_mm)


@pytest.fixture(scope="module")
def steps() -> dict[float, np.ndarray]:
    return {by: turned(by, k) for k, by in enumerate((0.0, 0.02, 0.04, -0.7), 1)}


def seen(start: Start, photo: np.ndarray) -> Change:
    return compare(start, Picture.from_array(photo))


@pytest.mark.parametrize("by", [0.0, 0.02, 0.04, -0.7])
def test_a_turn_of_hundredths_is_seen_and_its_u_is_true(start: Start, steps: dict[float, np.ndarray], by: float):
    change = seen(start, steps[by])
    assert change.turn is not None and change.forward_mm is not None and change.up_mm is not None
    assert change.turn.u <= 0.005
    assert abs(change.turn.value - by) < 3.5 * change.turn.u
    if abs(by) < 0.1:  # the scene turns about a point some mm from the middle of what is seen of the line
        assert abs(change.forward_mm.value) < 4 * change.forward_mm.u and abs(change.up_mm.value) < 4 * change.up_mm.u
    assert not change.loose


def test_what_all_photos_share_cancels(start: Start, steps: dict[float, np.ndarray]):
    change = seen(start, steps[0.02]).turn
    assert change is not None
    names = set(change.budget())
    assert names <= {
        "pixel noise, this photo",
        "pixel noise, first photo",
        "camera's stillness",
        "tilt of the rib as it turns",
        "first photo's geometry",
    }
    assert change.u < start.value.u / 5
    other = seen(start, steps[0.04]).turn
    assert other is not None
    assert (other - change).u < (other.u**2 + change.u**2) ** 0.5  # the first photo's noise is one and the same


def test_what_scatters_beyond_noise_and_stillness_is_allowed_for(
    start: Start, steps: dict[float, np.ndarray], monkeypatch: pytest.MonkeyPatch
):
    allowed = seen(start, steps[0.02]).turn
    monkeypatch.setattr(relative, "UNEXPLAINED", 1.0)
    bare = seen(start, steps[0.02]).turn
    assert allowed is not None and bare is not None and allowed.value == bare.value
    for name in ("pixel noise, this photo", "pixel noise, first photo", "camera's stillness"):
        assert allowed.budget()[name] == pytest.approx(1.3 * bare.budget()[name])


def test_other_light_leaves_the_turn_where_it_is(start: Start):
    change = seen(start, turned(0.02, 5, exposure=0.5, gradient=0.45))
    assert change.turn is not None and abs(change.turn.value - 0.02) < 3.5 * change.turn.u


@pytest.mark.parametrize("bump", [{"roll_deg": 0.1}, {"yaw_deg": 0.05}, {"pitch_deg": 0.3}, {"aim": (2.0, 0.0)}])
def test_a_camera_that_was_bumped_is_told_of(start: Start, bump: dict[str, object]):
    change = seen(start, turned(0.0, 6, **bump))
    assert change.turn is None and "camera was moved" in change.camera.reason


@pytest.mark.parametrize(("roll", "told"), [(0.006, False), (0.04, True)])
def test_a_camera_turned_by_a_hair_turns_no_rib_and_by_more_is_told_of(roll: float, told: bool):
    before, after = draw_turned(SCENE, (0.0005, -0.001, roll), 3)
    picture = Picture.from_array(before)
    start = begin(picture, read_fully(picture, job_for(SCENE), lens=lens_for(CAMERA)), SCENE.chord_mm)
    change = seen(start, after)
    if told:
        assert change.turn is None and "camera was moved" in change.camera.reason
        return
    assert change.turn is not None and abs(change.turn.value) < 3 * change.turn.u <= 0.015
    found = np.degrees(change.camera.turn)
    u = np.degrees(np.sqrt(np.diag(change.camera.covariance)))
    assert np.all(np.abs(found - [0.0005, -0.001, roll]) < 4 * u[:3]) and u[2] < 0.002


def test_a_card_that_comes_loose_turns_no_rib(start: Start):
    change = seen(start, turned(0.0, 7, cards=(CardAt("panel", 1, 0.45, turn_deg=0.15),)))
    assert change.turn is not None and abs(change.turn.value) < 3.5 * change.turn.u
    assert change.loose and abs(abs(change.loose_deg[0]) - 0.15) < 0.03


def test_another_scene_or_a_hidden_line_gives_no_number(start: Start, first: np.ndarray):
    hidden = first.copy()
    px = np.rint(start.plane.to_pixels((start.chord.a + start.chord.b) / 2)).astype(int)
    for x, y in px[: int(0.75 * len(px))]:
        hidden[max(0, y - 25) : y + 25, max(0, x - 12) : x + 12] = 90
    assert seen(start, hidden).turn is None
    smaller = seen(start, first[:-4])
    assert smaller.turn is None and "size" in smaller.reason
    blank = seen(start, np.full_like(first, 128))
    assert blank.turn is None and blank.camera.reason


def test_a_run_says_what_is_left_to_turn_and_begins_anew_when_the_camera_moved(
    first: np.ndarray, steps: dict[float, np.ndarray]
):
    job = job_for(SCENE)
    run, at = Run(replace(job, stations=(replace(job.stations[0], spar_deg=None),)), "R1"), datetime(2024, 5, 4, 10)
    begun = run.feed(Picture.from_array(first, "a"), at)
    assert begun.state == "start" and begun.angle is not None and begun.change is None
    later = run.feed(Picture.from_array(steps[0.04], "b"), at)
    assert later.state == "seen" and later.angle is not None and later.since == "a"
    assert abs(later.angle.value - begun.angle.value - 0.04) < 0.01
    bumped = run.feed(Picture.from_array(turned(0.04, 9, roll_deg=0.2), "c"), at)
    assert bumped.state == "camera moved" and bumped.since == "c" and bumped.angle is not None
    assert run.feed(Picture.from_array(turned(0.04, 10, roll_deg=0.2), "d"), at).since == "c"


def test_a_photo_without_the_station_starts_nothing():
    run = Run(job_for(SCENE), "R1")
    told = run.feed(Picture.from_array(np.full((450, 600, 3), 120, np.uint8), "wall"), datetime(2024, 5, 4))
    assert told.state == "waiting" and told.angle is None and told.reason


# --- the watch


def made(z: float, u: float = 0.001) -> Change:
    still = Stillness(np.zeros(3), 0.0, np.zeros((4, 4)), np.zeros((4, 4)), 0.0, 50, "")
    return Change(
        Quantity(z * u, (Component("noise", "n", u),)),
        "",
        still,
        *(Quantity(0.0, (Component("slide", "s", 0.01),)),) * 2,
    )


def test_the_watch_does_not_cry_wolf_over_twelve_hours():
    """Runs of 720 photos in which nothing moves, the first photo's noise in all of them. Bonferroni's bound: 1 %."""
    rng, photos, runs = np.random.default_rng(7), 720, 4000
    h = threshold(photos)
    assert h == pytest.approx(norm.isf(0.01 / (2 * 3 * 720)))
    crossed = 0
    for _ in range(3):
        shared = rng.standard_normal((runs, 1)) * 0.5**0.5
        z = shared + rng.standard_normal((runs, photos)) * 0.5**0.5
        crossed += int((np.abs(z).max(1) > h).sum())
    assert crossed / runs <= 0.01 + 3 * (0.01 / runs) ** 0.5
    watch = CureWatch(photos)
    assert all(watch.look(made(float(z))) is None for z in rng.standard_normal(photos))


def test_the_watch_warns_at_the_second_photo_beyond_its_threshold():
    watch = CureWatch(720)
    assert watch.look(made(6.0)) is None  # somebody passed
    assert watch.look(made(0.0)) is None
    assert watch.look(made(6.0)) is None
    assert watch.look(made(-6.0)) is None  # not to the same side
    alarm = watch.look(made(-6.0))
    assert alarm is not None and alarm.kind == "moved" and "turned" in alarm.words and "0.0060" in alarm.words
    assert [watch.look(made(z)) for z in (-6.0, -6.2, -7.0)] == [None] * 3  # told already
    assert watch.look(made(-12.0)) is None and watch.look(made(-12.0)) is not None
    gone = replace(made(0.0), turn=None, reason="something stands before it")
    assert [a.kind if (a := watch.look(gone)) else "" for _ in range(6)] == ["", "", "", "", "blind", ""]
    moved = replace(gone, camera=replace(gone.camera, reason="the camera was moved"))
    alarm = watch.look(moved)
    assert alarm is not None and alarm.kind == "camera"


# --- photos that arrive


def test_a_photo_is_waited_for_until_it_is_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(live_source, "LOOK_S", 0.01)
    data = jpeg_bytes(np.random.default_rng(0).integers(0, 255, (120, 160, 3), np.uint8), CAMERA)
    place = tmp_path / "a.jpg"
    place.write_bytes(data[: len(data) // 2])
    looks = 0

    def idle() -> bool:
        nonlocal looks
        looks += 1
        if looks == 6:  # it lay there half for several looks
            place.write_bytes(data)
        return looks < 40

    shots: Iterator[live_source.Shot] = live_source.from_folder(tmp_path, idle)
    shot = next(shots)
    assert shot.picture is not None and shot.data == data and looks >= 6
    assert list(shots) == []


def test_a_photo_that_stays_half_is_given_up_with_a_reason(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(live_source, "LOOK_S", 0.01)
    monkeypatch.setattr(live_source, "PATIENCE_S", 0.05)
    (tmp_path / "b.jpg").write_bytes(jpeg_bytes(np.zeros((80, 80, 3), np.uint8), CAMERA)[:400])
    (shot,) = live_source.from_folder(tmp_path, iter([True] * 30 + [False]).__next__)
    assert shot.picture is None and shot.reason


def test_a_file_written_anew_under_its_old_name_is_a_new_photo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(live_source, "LOOK_S", 0.01)
    rng, latest = np.random.default_rng(4), tmp_path / "latest.jpg"
    photos = [jpeg_bytes(rng.integers(0, 255, (80, 80, 3), np.uint8), CAMERA) for _ in range(3)]
    latest.write_bytes(photos[0])
    looks = iter(range(100))

    def idle() -> bool:
        look = next(looks)
        if look in (5, 10):
            latest.write_bytes(photos[look // 5])
        return look < 20

    assert [shot.data for shot in live_source.from_folder(tmp_path, idle)] == photos


def test_a_folder_that_goes_away_for_a_while_ends_no_watch(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(live_source, "LOOK_S", 0.01)
    folder, away = tmp_path / "in", tmp_path / "away"
    folder.mkdir()
    looks = iter(range(100))

    def idle() -> bool:
        look = next(looks)
        if look == 3:
            folder.rename(away)
        if look == 6:
            away.rename(folder)
            (folder / "a.jpg").write_bytes(jpeg_bytes(np.zeros((80, 80, 3), np.uint8), CAMERA))
        return look < 20

    assert [shot.name for shot in live_source.from_folder(folder, idle)] == ["a.jpg"]


def test_photos_that_do_not_come_are_an_alarm_and_the_time_seen_is_told():
    at = datetime(2024, 5, 4, 10)
    presence = Presence(60.0, 0.0)
    assert presence.missing(179.0) is None
    assert (alarm := presence.missing(181.0)) is not None and alarm.kind == "missing" and "3 min" in alarm.words
    assert presence.missing(500.0) is None  # told once
    for k in (10, 11, 12, 14, 24):
        presence.came(60.0 * k, at + timedelta(minutes=k), k != 11)
    assert presence.missing(60.0 * 24 + 181) is not None  # they had come again
    assert presence.seen_s == 240  # the unseen photo's gap counts, the ten minutes without any do not
    assert presence.words(60.0 * 40) == "Watched: 4 min of 40 min (10 %)."


def test_a_watch_without_an_answer_warns_whatever_the_reason():
    watch = CureWatch(720)
    told = [watch.look(None, "no start yet") for _ in range(6)]
    assert [t.kind if t else "" for t in told] == ["", "", "", "", "blind", ""] and "no start yet" in told[4].words


class FakeCamera:
    """Stands in for OpenCV's camera: grey pictures with noise, their mean known."""

    def __init__(self, index: int) -> None:
        self.index, self.rng = index, np.random.default_rng(index)

    def isOpened(self) -> bool:
        return True

    def set(self, setting: int, value: float) -> bool:  # noqa: ARG002 - OpenCV's signature
        return False

    def read(self) -> tuple[bool, np.ndarray]:
        return self.index != 5, np.clip(self.rng.normal(100, 8, (90, 120, 3)), 0, 255).astype(np.uint8)

    def release(self) -> None:
        pass


def test_a_camera_s_pictures_are_averaged(monkeypatch: pytest.MonkeyPatch):
    import cv2

    monkeypatch.setattr(cv2, "VideoCapture", FakeCamera)
    shots = list(live_source.from_camera(2, 0.0, iter([True, True, False]).__next__))
    assert [s.name for s in shots] == ["camera 2, photo 1", "camera 2, photo 2"]
    for shot in shots:
        assert shot.picture is not None and shot.data is not None
        assert abs(float(shot.picture.gray.mean()) - 100) < 0.5
        assert shot.picture.gray.std() < 8 / live_source.FRAMES**0.5 * 1.1
    (none,) = live_source.from_camera(5, 0.0, iter([True, False]).__next__)
    assert none.picture is None and "no picture" in none.reason


# --- the command, its record, and the page


def test_the_command_follows_watches_warns_and_keeps(
    tmp_path: Path,
    first: np.ndarray,
    steps: dict[float, np.ndarray],
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
):
    monkeypatch.setattr(live_source, "LOOK_S", 0.01)
    (tmp_path / "wing.toml").write_text(JOB)
    folder = tmp_path / "in"
    folder.mkdir()
    for k, photo in enumerate((first, steps[0.0], steps[0.04], turned(0.04, 12))):
        (folder / f"{k}.jpg").write_bytes(jpeg_bytes(photo, CAMERA, quality=96))
        os.utime(folder / f"{k}.jpg", (1.7e9 + 60 * k,) * 2)
    code = command(["live", str(tmp_path / "wing.toml"), "R1", str(folder), "--cure", "--photos", "4"])
    said = capsys.readouterr().out
    assert code == 1 and "The rib has turned: +0.0" in said and "turn the screw anticlockwise" in said
    (kept,) = (tmp_path / "wing-shop" / "live").iterdir()
    assert {p.name for p in kept.iterdir()} == {
        "live.csv",
        "live.svg",
        "live.png",
        "first-00001.jpg",
        "alarm-00004.jpg",
    }
    rows = list(csv.DictReader(io.StringIO((kept / "live.csv").read_text())))
    assert [r["state"] for r in rows] == ["start", "seen", "seen", "seen"]
    assert abs(float(rows[2]["change_deg"]) - 0.04) < 2 * float(rows[2]["U_change_deg"])
    assert rows[3]["alarm"] and not rows[2]["alarm"]
    desk = Desk(tmp_path / "wing.toml")
    with TestClient(make_app(desk, Gate(False), frozenset({"testserver"}))) as client:
        assert client.get("/api/state").json()["live"] is None  # it has ended
        page = desk.bench.folder / "live.json"
        tree = msgspec.json.decode(page.read_bytes())
        page.write_bytes(msgspec.json.encode({**tree, "ended": False}))
        shown = client.get("/api/state").json()["live"]
        assert shown["silent_s"] is None
        assert shown["station"] == "R1" and shown["change"].startswith("+0.0") and shown["alarms"]
        page.write_bytes(msgspec.json.encode({**tree, "ended": False, "written": time.time() - 700}))
        assert client.get("/api/state").json()["live"]["silent_s"] == 660  # killed: not a run in which nothing moves
        page.write_bytes(msgspec.json.encode({**tree, "ended": False, "written": 0.0}))
        assert client.get("/api/state").json()["live"] is None  # long ago
        page.write_text("{half")
        assert client.get("/api/state").json()["live"] is None
    desk.close()


def test_a_watch_that_gets_no_more_photos_says_so_and_a_full_disk_ends_none(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(live_source, "LOOK_S", 0.01)
    (tmp_path / "wing.toml").write_text(JOB)
    folder = tmp_path / "in"
    folder.mkdir()
    wall = np.full((80, 80, 3), 120, np.uint8)
    for k in range(2):
        (folder / f"{k}.jpg").write_bytes(jpeg_bytes(wall, CAMERA))
    writes = iter(range(1000))

    def full(path: Path, data: bytes | str) -> None:
        if next(writes) in (0, 3):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        write_whole(path, data)

    monkeypatch.setattr(live_record, "write_whole", full)
    arguments = ["live", str(tmp_path / "wing.toml"), "R1", str(folder), "--cure", "--every", "0.2", "--idle", "1.5"]
    assert command(arguments) == 3  # nothing was ever measured
    said = " ".join(capsys.readouterr().out.split())
    assert "No photo has come for" in said and "nothing is watched" in said and "Watched: 0 s of" in said
    assert "not written to the disk: No space left on device; make room" in said
    (kept,) = (tmp_path / "wing-shop" / "live").iterdir()
    rows = list(csv.DictReader(io.StringIO((kept / "live.csv").read_text())))
    assert [r["state"] for r in rows] == ["waiting", "waiting", "missing"] and rows[2]["alarm"]


@pytest.mark.parametrize(
    ("arguments", "what"), [(["R9", "."], "R1"), (["R1", "nowhere"], "looked into"), (["R1", "77"], "camera 77")]
)
def test_what_cannot_be_followed_is_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], what: str
):
    (tmp_path / "wing.toml").write_text(JOB)
    assert command(["live", str(tmp_path / "wing.toml"), *arguments, "--idle", "0"]) == 2
    assert what in capsys.readouterr().err


def test_big_figures_show_every_sign():
    rows = big("+1.23°").splitlines()
    assert len(rows) == 5 and rows[0].count("█") == 2 + 6 + 6 + 4
    assert big("\N{MINUS SIGN}0.5").splitlines()[2].startswith("██████")


def test_nothing_measured_gives_no_plot():
    assert live_plot("R1", []) is None
