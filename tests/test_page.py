"""The page's server, with a stand-in reader: what comes in, what is shown, what is refused."""

from __future__ import annotations

import errno
import io
import os
import re
import shutil
import struct
import time
import zlib
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from page_reader import DEADLY, LINELESS, OFF, SLOW, photo
from PIL import Image
from starlette.testclient import TestClient

from rigging.batch.readings_file import to_tree
from rigging.batch.store import Store, cannot_write
from rigging.page.app import make_app
from rigging.page.bench import MOST_BYTES, Bench
from rigging.page.desk import Desk
from rigging.page.gate import ALPHABET, LENGTH, LOCKED_S, TRIES, Gate
from rigging.page.keeping import gauge_text, keep_survey
from rigging.page.notes import Mixed, Notes
from rigging.page.refusals import refusal
from rigging.page.view import Readings, glue_tree, standing
from rigging.page.watch import STALLED_S, Watcher
from rigging.page.worker import sight
from rigging.record.chain import load_record
from shared.gauge.readings import GaugeReading, GaugeReadings
from shared.job.file import load_job
from shared.job.model import Glue
from vision.image.photo_file import PhotoError, read_bytes
from vision.reader import read_photo

SAMPLE = Path(__file__).parent.parent / "samples" / "trainer"
HOSTS = frozenset({"testserver"})
R1, R2, R5, R6 = 0, 1, 4, 5


def desk_of(home: Path, limit_s: float = 20.0) -> Desk:
    return Desk(
        home / "trainer.toml", reader="page_reader:read_photo", drawer="page_reader:draw", workers=2, limit_s=limit_s
    )


@pytest.fixture
def home(tmp_path: Path) -> Path:
    for name in ("trainer.toml", "gauge.csv"):
        shutil.copy(SAMPLE / name, tmp_path / name)
    return tmp_path


@pytest.fixture
def desk(home: Path) -> Iterator[Desk]:
    made = desk_of(home)
    yield made
    made.close()


@pytest.fixture
def client(desk: Desk) -> Iterator[TestClient]:
    with TestClient(make_app(desk, Gate(False), HOSTS)) as made:
        yield made


def send(client: TestClient, data: bytes) -> Any:
    return client.post("/api/photos", content=data)


def settled(client: TestClient, seconds: float = 30.0) -> dict[str, Any]:
    """The state once nothing waits."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        state: dict[str, Any] = client.get("/api/state").json()
        if all(p["status"] != "waiting" for p in state["photos"]):
            return state
        time.sleep(0.05)
    raise AssertionError("still waiting")


def station(state: dict[str, Any], name: str) -> dict[str, Any]:
    return next(s for s in state["stations"] if s["name"] == name)


def test_a_photo_is_answered_with_station_angle_verdict_and_overlay(client: TestClient):
    told = send(client, photo(R1))
    assert told.status_code == 201 and told.json()["new"]
    state = settled(client)
    shown = station(state, "R1")
    assert shown["state"] == "conforming" and shown["chord"].startswith("+2.0") and shown["photos"] == 1
    assert [g for g in shown["gauge"] if "shows 2.20°" in g]
    assert station(state, "R2")["state"] == "not measured"
    picture = client.get(f"/api/photos/{told.json()['id']}/overlay")
    assert Image.open(io.BytesIO(picture.content)).size == (8, 8)
    whole = client.get(f"/api/photos/{told.json()['id']}/picture")
    assert Image.open(io.BytesIO(whole.content)).size == (80, 64)


def test_a_photo_sent_twice_counts_once(client: TestClient):
    assert [send(client, photo(R1)).json()["new"] for _ in range(2)] == [True, False]
    state = settled(client)
    assert len(state["photos"]) == 1 and station(state, "R1")["photos"] == 1


def test_a_line_pointed_at_is_recorded_as_helped_and_outlives_a_restart(client: TestClient, home: Path):
    ident = send(client, photo(LINELESS)).json()["id"]
    assert settled(client)["photos"][0]["status"] == "no value"
    told = client.post(f"/api/photos/{ident}/hint", json={"role": "chord", "a": [2.0, 30.5], "b": [70.25, 31.0]})
    assert told.status_code == 200
    seen = settled(client)["photos"][0]
    assert seen["measured"] and seen["helped"]
    (entry,) = Bench(home / "trainer.toml").entries()
    assert entry.hints == ("chord 2.0,30.5 70.2,31.0",)


@pytest.mark.parametrize(
    "points",
    [
        {"a": [1, 1], "b": [2, 2]},
        {"a": [-5, 1], "b": [60, 2]},
        {"a": [1], "b": [60, 2]},
        {"a": [1, 1], "b": [60, 2], "role": "wing"},
    ],
)
def test_points_that_make_no_line_are_refused(client: TestClient, points: dict[str, Any]):
    ident = send(client, photo(R1)).json()["id"]
    assert client.post(f"/api/photos/{ident}/hint", json={"role": "chord", **points}).status_code == 422


def moved(client: TestClient, station: str, ident: str = "moved0001") -> None:
    assert client.post("/api/moved", json={"id": ident, "station": station}).status_code == 200


def test_a_moved_rib_sets_its_photos_and_gauge_readings_aside(client: TestClient):
    send(client, photo(R1))
    send(client, photo(R2))
    settled(client)
    moved(client, "R1")
    state = settled(client)
    assert station(state, "R1")["state"] == "open" and not station(state, "R1")["gauge"]
    assert station(state, "R1")["todo"]["words"] == "Photograph R1 again"
    assert station(state, "R2")["state"] == "conforming"
    assert {p["status"] for p in state["photos"] if p["station"] == "R1"} == {"set aside"}
    send(client, photo(R1, seed=7))
    assert station(settled(client), "R1")["photos"] == 1


def test_a_screw_that_carries_two_stations_opens_both_and_a_slip_is_taken_back(client: TestClient):
    for level in (R5, R6):
        send(client, photo(level))
    assert {station(settled(client), n)["state"] for n in ("R5", "R6")} == {"conforming"}
    moved(client, "R6")
    state = settled(client)
    for name in ("R5", "R6"):
        shown = station(state, name)
        assert shown["state"] == "open" and shown["angle"] is None and not shown["turn"]
        assert shown["todo"]["words"] == f"Photograph {name} again" and shown["todo"]["kind"] == "photo"
    send(client, photo(R6, seed=3))
    state = settled(client)
    assert station(state, "R6")["state"] == "conforming" and station(state, "R5")["state"] == "open"
    assert client.post("/api/undo", json={"id": "moved0001"}).status_code == 200
    state = settled(client)
    assert {station(state, n)["state"] for n in ("R5", "R6")} == {"conforming"} and not state["notes"]


def turned(client: TestClient, data: bytes, station: str, waited_s: int = 0) -> Any:
    return client.post("/api/photos", content=data, headers={"x-turned": station, "x-waited-s": str(waited_s)})


def test_turned_and_photographed_is_one_tap(client: TestClient):
    send(client, photo(OFF))
    state = settled(client)
    assert station(state, "R2")["state"] == "nonconforming"
    assert state["left"] == {"turn": "Left to turn: R2", "wing": "0 of 12 stations conform"}
    for _ in range(2):  # an answer that is lost, and the photo sent again: noted once
        assert turned(client, photo(R2, seed=9), "R2").status_code in (200, 201)
    state = settled(client)
    assert station(state, "R2")["state"] == "conforming" and station(state, "R2")["photos"] == 1
    assert state["left"] == {"turn": "Nothing is left to turn", "wing": "1 of 12 stations conform"}
    (note,) = state["notes"]
    assert note["words"].endswith("R2 moved")
    assert client.post("/api/undo", json={"id": note["id"]}).status_code == 200
    assert station(settled(client), "R2")["photos"] == 2


def test_one_screw_of_two_ribs_turned_leaves_the_other_open(client: TestClient):
    send(client, photo(R5))
    send(client, photo(R6))
    settled(client)
    turned(client, photo(R5, seed=9), "R5", 60)  # and it lay in the phone for a minute
    state = settled(client)
    assert [station(state, n)["state"] for n in ("R5", "R6")] == ["conforming", "open"]


def test_a_turned_photo_that_is_none_notes_no_turn(client: TestClient):
    send(client, photo(R1))
    settled(client)
    assert turned(client, b"no photo", "R1").status_code == 422
    assert turned(client, photo(R1, seed=3), "R9").status_code == 422
    told = turned(client, photo(R1), "R1")
    assert told.status_code == 422 and "was here before R1 was turned" in told.json()["error"]
    state = settled(client)
    assert station(state, "R1")["photos"] == 1 and state["notes"] == []


def test_a_photo_of_a_turn_before_another_move_is_set_aside(client: TestClient):
    send(client, photo(R1))
    settled(client)
    moved(client, "R1")
    turned(client, photo(R1, seed=3), "R1", 600)  # turned and photographed ten minutes ago, moved again since
    assert station(settled(client), "R1")["state"] == "open"


def test_what_was_moved_rests_on_the_record_and_not_on_file_times(client: TestClient, desk: Desk):
    send(client, photo(R1))
    settled(client)
    moved(client, "R1")
    (entry,) = desk.bench.entries()
    os.utime(entry.path, (4e9, 4e9))  # a copy, a sync, a backup played back
    assert station(settled(client), "R1")["state"] == "open"
    record = load_record(keep_survey(desk).path)
    (key,) = record.materials.asked.set_aside
    assert key.startswith(entry.path.stem)


def test_a_photo_from_before_a_move_that_arrives_after_it_is_set_aside(client: TestClient):
    send(client, photo(R1))
    settled(client)
    moved(client, "R1")
    client.post("/api/photos", content=photo(R1, seed=8), headers={"x-waited-s": "600"})  # it lay in the phone
    assert station(settled(client), "R1")["state"] == "open"
    for odd in ("-5", "1e9", "many", "9" * 30):
        assert client.post("/api/photos", content=photo(R1), headers={"x-waited-s": odd}).status_code == 200


def test_a_note_that_arrives_twice_is_noted_once(client: TestClient):
    """A broken answer is tried again with the ident that the phone made."""
    for _ in range(3):
        client.post("/api/gauge", json={"id": "gauge0001", "station": "R1", "line": "chord", "shown_deg": 5.5})
        client.post("/api/glue", json={"id": "glue00001", "now": True})
    assert len(client.get("/api/state").json()["notes"]) == 2
    assert (
        client.post("/api/gauge", json={"id": "../x", "station": "R1", "line": "chord", "shown_deg": 1}).status_code
        == 422
    )


def test_a_noted_reading_can_be_withdrawn_and_the_one_before_counts_again(client: TestClient):
    send(client, photo(R1))
    for ident, shown in (("gauge0001", 5.5), ("gauge0002", 7.5)):
        client.post("/api/gauge", json={"id": ident, "station": "R1", "line": "chord", "shown_deg": shown})
    for ident, then in (("gauge0002", "5.50"), ("gauge0001", "2.20")):
        assert client.post("/api/undo", json={"id": ident}).status_code == 200
        assert any(f"shows {then}°" in w for w in station(settled(client), "R1")["gauge"])


def test_a_wrong_hint_is_taken_back_from_the_page_and_from_the_folder(client: TestClient, desk: Desk):
    ident = send(client, photo(LINELESS)).json()["id"]
    settled(client)
    for take_back in (
        lambda: client.post(f"/api/photos/{ident}/unhint", json={}),
        lambda: (desk.bench.photos_folder / f"{ident}.png.hints").unlink(),
    ):
        client.post(f"/api/photos/{ident}/hint", json={"role": "chord", "a": [2.0, 30.5], "b": [70.25, 31.0]})
        assert settled(client)["photos"][0]["helped"]
        take_back()
        (seen,) = settled(client)["photos"]
        assert seen["status"] == "no value" and seen["hints"] == 0


def test_a_bad_hints_file_is_told_of_and_costs_the_others_nothing(client: TestClient, desk: Desk):
    ident = send(client, photo(R1)).json()["id"]
    send(client, photo(R2))
    settled(client)
    (desk.bench.photos_folder / f"{ident}.png.hints").write_text("chord here to there\n")
    state = settled(client)
    assert station(state, "R2")["state"] == "conforming" and station(state, "R1")["state"] == "not measured"
    bad = next(p for p in state["photos"] if p["id"] == ident)
    assert ".hints" in bad["chord"] and bad["hints"]
    client.post(f"/api/photos/{ident}/unhint", json={})
    assert station(settled(client), "R1")["state"] == "conforming"


def test_a_reading_that_finds_the_disk_full_counts_and_is_kept_once_there_is_room(
    home: Path, monkeypatch: pytest.MonkeyPatch
):
    desk = desk_of(home)
    full, put = [True], Store.put

    def putting(self: Store, *arguments: Any) -> None:
        if full[0]:
            raise cannot_write(self.folder, OSError(errno.ENOSPC, "No space left on device"))
        put(self, *arguments)

    monkeypatch.setattr(Store, "put", putting)
    with TestClient(make_app(desk, Gate(False), HOSTS)) as client:
        send(client, photo(R1))
        state = settled(client)
        assert station(state, "R1")["state"] == "conforming" and "not on the disk yet: make room" in state["problem"]
        full[0] = False
        end = time.monotonic() + 60
        while client.get("/api/state").json()["problem"] and time.monotonic() < end:
            time.sleep(0.05)
        assert client.get("/api/state").json()["problem"] is None
    desk.close()
    assert len(list((desk.store.folder).rglob("*.json"))) == 1


def test_a_changed_job_file_is_told_of_and_nothing_is_kept_by_it(client: TestClient, home: Path):
    send(client, photo(R1))
    settled(client)
    (home / "trainer.toml").write_text((home / "trainer.toml").read_text() + "\n# another design\n")
    assert "start it again" in settled(client)["problem"]
    assert client.post("/api/keep", json={}).status_code == 422


def test_the_three_things_are_said_in_words(client: TestClient, home: Path):
    (home / "gauge.csv").unlink()
    for level in (R1, OFF, LINELESS):
        send(client, photo(level))
    state = settled(client)
    right, wrong = station(state, "R1"), station(state, "R2")
    assert right["angle"]["sense"] == "nose up" and right["angle"]["size"].startswith("2.0")
    assert right["todo"]["words"].startswith("Leave it. Next: ")
    assert wrong["todo"]["kind"] == "turn" and wrong["todo"]["words"].startswith("Turn the screw ")
    assert "turns" in wrong["todo"]["words"] and "(" not in wrong["todo"]["words"]


def test_a_known_fault_of_the_gauge_stands_behind_and_an_unknown_one_before_the_turn(client: TestClient, home: Path):
    (home / "gauge.csv").unlink()
    for n in range(12):
        send(client, photo(OFF if n == 1 else n, seed=n))
    for n, s in enumerate(settled(client)["stations"]):
        shown = float(s["design"].strip("°").replace("\u2212", "-")) + 0.9 - (s["name"] == "R2")  # its zero is off
        client.post(
            "/api/gauge", json={"id": f"zero{n:04d}", "station": s["name"], "line": "chord", "shown_deg": shown}
        )
    state = settled(client)
    assert all(s["explained"] and not s["doubts"] for s in state["stations"])
    assert station(state, "R2")["todo"]["kind"] == "turn" and station(state, "R1")["state"] == "conforming"
    client.post("/api/gauge", json={"id": "gauge0001", "station": "R2", "line": "chord", "shown_deg": 17.3})
    doubted = station(settled(client), "R2")
    assert doubted["todo"]["kind"] == "doubt" and "inclinometer" in doubted["todo"]["words"]


@pytest.mark.parametrize(
    ("made", "kind", "cure"),
    [
        (lambda rng: rng.integers(0, 12, (480, 640)), "dark", "Light the rib"),
        (lambda rng: 200 + rng.integers(0, 12, (480, 640)), "flat", "Wipe the lens"),
        (lambda rng: blurred(rng), "blurred", "Hold still"),
        (lambda rng: sharp(rng), "no card", "Lay the station card"),
    ],
)
def test_darkness_blur_fog_and_a_missing_card_are_told_apart(tmp_path: Path, made: Any, kind: str, cure: str):
    pixels = np.asarray(made(np.random.default_rng(1)), np.uint8)
    Image.fromarray(pixels).save(tmp_path / "p.png")
    tree = to_tree(read_photo(str(tmp_path / "p.png"), load_job(SAMPLE / "trainer.toml")))
    told = refusal({**tree, "sight": sight(str(tmp_path / "p.png"))})
    assert told is not None and told.kind == kind and told.cure.startswith(cure) and told.point is None


def sharp(rng: np.random.Generator) -> np.ndarray:
    """Planks: broad stripes of several greys with sharp edges."""
    return np.repeat(np.repeat(rng.integers(20, 230, (12, 16)), 40, 0), 40, 1)


def blurred(rng: np.random.Generator) -> np.ndarray:
    return cv2.GaussianBlur(sharp(rng).astype(np.float32), (0, 0), 9)


def test_a_photo_with_a_card_and_no_line_asks_to_be_pointed_at():
    line = {"role": "chord", "used": True}
    tree: dict[str, Any] = {
        "chord": {"quantity": None, "reason": "no chord line was found"},
        "station": "R1",
        "photo": {"width": 100},
        "evidence": {"cards": [{"number": 1}], "lines": []},
    }
    told = refusal(tree)
    assert told is not None and told.point == "chord" and told.seen == ("card 1",) and told.missing == ("chord line",)
    tree["evidence"]["lines"], tree["chord"]["reason"] = [line], "nothing shows gravity: no string and no level line"
    told = refusal(tree)
    assert told is not None and told.point == "plumb" and "chord line" in told.seen


def test_a_gauge_reading_typed_in_is_compared_and_replaces_the_files(client: TestClient):
    send(client, photo(R1))
    told = client.post("/api/gauge", json={"id": "gauge0001", "station": "R1", "line": "chord", "shown_deg": 5.5})
    assert told.status_code == 200
    words = station(settled(client), "R1")["gauge"]
    assert any("shows 5.50°, DISAGREES" in w for w in words) and not any("2.20" in w for w in words)
    for bad in ({"station": "X"}, {"shown_deg": 1000}, {"line": "edge"}, {"more": 1}):
        body = {"id": "gauge0002", "station": "R1", "line": "chord", "shown_deg": 1.0, **bad}
        assert client.post("/api/gauge", json=body).status_code == 422


def test_glue_mixed_now_starts_the_window_and_a_slip_is_taken_back(client: TestClient):
    def mixed() -> float | None:
        found: float | None = client.get("/api/state").json()["glue"]["mixed"]
        return found

    assert mixed() is None
    client.post("/api/glue", json={"id": "glue00001", "now": True})
    first = mixed()
    assert first is not None and abs(first - time.time()) < 60
    client.post("/api/glue", json={"id": "glue00002", "now": False})
    assert mixed() is None
    client.post("/api/undo", json={"id": "glue00002"})
    assert mixed() == first


def test_the_wing_is_judged_anew_by_what_changes_a_reading_and_by_nothing_else(desk: Desk, client: TestClient):
    made = Readings()
    before = standing(desk, made)
    desk.bench.add(photo(R1))  # it waits
    waits = standing(desk, made)
    assert waits.survey is before.survey and len(waits.seen) == 1
    settled(client)
    while not (after := standing(desk, made)).readings:
        time.sleep(0.05)
    assert after.survey is not before.survey and after.survey.station("R1").state == "conforming"
    assert standing(desk, made).survey is after.survey
    moved(client, "R1")
    assert standing(desk, made).survey.station("R1").state == "not measured"


def test_a_note_that_a_spreadsheet_would_run_is_escaped_in_the_record():
    kept = gauge_text(GaugeReadings((GaugeReading("R1", "chord", 2.0, note="=1+1"),)))
    assert kept.splitlines()[1] == "R1,chord,2.0,,'=1+1"


def test_a_kept_survey_is_in_the_record_and_says_the_same_again(client: TestClient, desk: Desk):
    assert client.post("/api/keep", json={}).status_code == 422
    send(client, photo(R1))
    client.post("/api/gauge", json={"id": "gauge0001", "station": "R1", "line": "chord", "shown_deg": 2.1})
    client.post("/api/glue", json={"id": "glue00001", "now": True})
    state = settled(client)
    with ThreadPoolExecutor(2) as taps:
        told = list(taps.map(lambda _: client.post("/api/keep", json={"note": "outer bay"}).json(), range(2)))
    assert [t["kept"] for t in told] == ["0001", "0001"] and sorted(t["new"] for t in told) == [False, True]
    record = load_record(desk.bench.folder.parent / "trainer-surveys" / "0001.json")
    assert record.survey().verdict == state["verdict"] == record.result["verdict"]
    assert record.note.startswith("outer bay (glue mixed at ")
    assert [p.path for p in record.materials.photos] == [f"trainer-shop/photos/{state['photos'][0]['id']}.png"]
    pair = next(p for p in record.survey().station("R1").gauge if p.line == "chord")
    assert pair.shown_deg == 2.1
    assert keep_survey(desk).path.stem == "0002"  # another note
    assert (keep_survey(desk).new, keep_survey(desk).path.stem) == (False, "0002")


def test_stopped_in_the_middle_and_started_again_nothing_is_lost_or_doubled(home: Path):
    first = desk_of(home)
    sent = [first.bench.add(photo(n % 12, seed=n))[0] for n in range(8)]
    for entry in first.bench.entries()[:3]:
        first.read(entry)
    first.close()  # the rest was never read
    (first.bench.photos_folder / ".part-0000.tmp").write_bytes(b"half")
    second = desk_of(home)
    with TestClient(make_app(second, Gate(False), HOSTS)) as client:
        second.start()
        state = settled(client)
        third = desk_of(home)
        with TestClient(make_app(third, Gate(False), HOSTS)) as again:
            assert again.get("/api/state").json() == state
        third.close()
    second.close()
    assert sorted(p["id"] for p in state["photos"]) == sorted(sent)
    assert {p["status"] for p in state["photos"]} <= {"read", "doubtful"}


def test_many_phones_at_once_with_bad_files_among_them(client: TestClient):
    good = [photo(n % 12, seed=n) for n in range(18)]
    bad = [b"not a photo at all", good[0][:200]]
    with ThreadPoolExecutor(8) as phones:
        codes = list(phones.map(lambda d: send(client, d).status_code, [*good, *bad, *good]))
    assert sorted(set(codes)) == [200, 201, 422] and codes.count(422) == 1
    photos = settled(client, 60)["photos"]
    assert len(photos) == 19 and sum(p["measured"] for p in photos) == 18
    assert "cut short" in next(p["chord"] for p in photos if not p["measured"])


def test_a_photo_that_kills_or_hangs_its_worker_costs_the_others_nothing(home: Path):
    desk = desk_of(home, limit_s=4.0)
    with TestClient(make_app(desk, Gate(False), HOSTS)) as client:
        for level in (SLOW, DEADLY, R1):
            send(client, photo(level))
        told = {p["chord"] for p in settled(client)["photos"] if not p["measured"]}
        assert station(settled(client), "R1")["state"] == "conforming"
    desk.close()
    assert any("longer than 4 s" in t for t in told) and any("worker died" in t for t in told)


def test_bombs_and_oversizes_are_refused(client: TestClient, desk: Desk):
    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", 60_000, 60_000, 8, 0, 0, 0, 0)
    bomb = (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(bytes(10**6))) + chunk(b"IEND", b"")
    )
    ident = send(client, bomb).json()["id"]
    (seen,) = settled(client)["photos"]
    assert not seen["measured"] and "megapixels" in seen["chord"]
    assert client.get(f"/api/photos/{ident}/picture").status_code == 404
    assert send(client, b"\xff\xd8\xff" + bytes(MOST_BYTES)).status_code == 413

    def endless() -> Iterator[bytes]:
        for _ in range(MOST_BYTES // 10**6 + 2):
            yield bytes(10**6)

    assert client.post("/api/photos", content=endless()).status_code == 413
    assert len(desk.bench.entries()) == 1


def test_no_path_from_outside_reaches_the_disk(client: TestClient, home: Path):
    before = sorted(p for p in home.rglob("*"))
    for ident in ("..%2f..%2ftrainer.toml", "....", "%00", "notes.json", "0" * 16, "x" * 5000):
        assert client.get(f"/api/photos/{ident}/overlay").status_code == 404
        told = client.post(f"/api/photos/{ident}/hint", json={"role": "chord", "a": [1, 1], "b": [60, 2]})
        assert told.status_code in (404, 422)
    for path in ("/static/../app.py", "/static/%2e%2e/app.py", "/static/", "/static/page.html", "/docs"):
        assert client.get(path).status_code == 404
    send(client, photo(R1))
    settled(client)
    new = {p.name for p in home.rglob("*") if p.is_file()} - {p.name for p in before}
    assert all(
        re.fullmatch(r"[0-9a-f]{16}\.png|[0-9a-f]{16}-[0-9a-f]{8}-angles\.jpg|[0-9a-f]{64}\.json", n) for n in new
    )


def test_other_sites_other_names_and_forms_are_turned_away(client: TestClient):
    for headers in ({"origin": "http://elsewhere.example"}, {"sec-fetch-site": "cross-site"}, {"origin": "null"}):
        assert client.post("/api/glue", json={"id": "glue00001", "now": True}, headers=headers).status_code == 403
    assert client.get("/api/state", headers={"host": "elsewhere.example"}).status_code == 421
    assert (
        client.post(
            "/api/glue", content='{"id": "glue00001", "now": true}', headers={"content-type": "text/plain"}
        ).status_code
        == 415
    )
    assert client.get("/api/state").json()["glue"]["mixed"] is None


def test_every_answer_carries_the_strict_policy_and_the_page_has_nothing_inline(client: TestClient):
    for path in ("/", "/enter", "/api/state", "/nothing", "/static/page.js"):
        policy = client.get(path).headers["content-security-policy"]
        assert policy.startswith("default-src 'self';") and "unsafe" not in policy
    for name in ("page.html", "enter.html"):
        html = (SAMPLE.parent.parent / "rigging" / "page" / "static" / name).read_text()
        assert not re.search(r"<script(?![^>]*src=)|<style|\son\w+=|\sstyle=|https?://", html)


def test_the_code_works_once_and_the_door_locks_for_a_minute_after_few_tries(desk: Desk):
    codes: list[str] = []
    warned: list[str] = []
    seconds = [0.0]
    gate = Gate(True, codes.append, warned.append, lambda: seconds[0])
    with TestClient(make_app(desk, gate, HOSTS), follow_redirects=False) as client:
        assert client.get("/").headers["location"] == "/enter"
        assert client.get("/api/state").status_code == 401 and send(client, photo(R1)).status_code == 401
        assert client.post("/api/enter", json={"code": codes[0].lower()}).status_code == 200
        assert client.get("/api/state").status_code == 200
        assert len(set(codes)) == 2 and all(len(c) == LENGTH and set(c) <= set(ALPHABET) for c in codes)
    with TestClient(make_app(desk, gate, HOSTS)) as other:
        assert other.post("/api/enter", json={"code": codes[0]}).status_code == 403  # spent
        for n in range(TRIES - 1):
            assert other.post("/api/enter", json={"code": f"WRONG{n}é"}).status_code == 403
        assert "nobody is let in for a minute" in other.post("/api/enter", json={"code": codes[-1]}).json()["error"]
        assert other.get("/api/state").status_code == 401
        assert len(warned) == TRIES and "testclient" in warned[0] and "5 wrong codes" in warned[-1]
        assert len(codes) == 3  # the one that was guessed at is withdrawn
        seconds[0] += LOCKED_S
        assert other.post("/api/enter", json={"code": codes[-1]}).status_code == 200


def test_a_watched_folder_feeds_the_same_bench(client: TestClient, desk: Desk, tmp_path: Path):
    folder = tmp_path / "in"
    folder.mkdir()
    seconds = [0.0]
    watcher = Watcher(desk, folder, lambda: seconds[0])
    look = lambda: dict(watcher.look())  # noqa: E731
    (folder / "a.png").write_bytes(photo(R1)[:300])
    assert look() == {}
    (folder / "a.png").write_bytes(photo(R1)[:2000])  # still growing at the first look
    (folder / "b.txt").write_text("no photo")
    (folder / "b.mov").write_bytes(b"no photo")
    (folder / "c.png").write_text("no photo either")
    (folder / "d\x1b[2J.gif").write_bytes(b"GIF89a")
    (folder / "more").mkdir()
    (folder / "e.png").symlink_to(SAMPLE / "photos" / "R1.jpg")
    took = {**look(), **look()}
    assert {k: v.split(":")[0] for k, v in took.items()} == {
        "b.mov": "ignored", "c.png": "not taken", "d\\x1b[2J.gif": "ignored", "more": "ignored", "e.png": "ignored",
    }  # fmt: skip
    seconds[0] = STALLED_S + 1
    assert "copy it again" in look()["a.png"] and look() == {}  # told once, and no damaged photo
    (folder / "a.png").write_bytes(photo(R1))  # the copy goes on
    assert {**look(), **look()}["a.png"].startswith("photo ")
    assert look() == {}
    (folder / "a.png").write_bytes(photo(R1, seed=2))  # the camera writes over its file
    assert {**look(), **look()}["a.png"].startswith("photo ")
    assert send(client, photo(R1)).json()["new"] is False
    assert station(settled(client), "R1")["photos"] == 2


def test_a_full_disk_is_tried_again_and_a_link_put_in_the_place_of_a_photo_is_not_followed(
    desk: Desk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    folder = tmp_path / "in"
    folder.mkdir()
    watcher = Watcher(desk, folder)
    (folder / "a.png").write_bytes(photo(R1))
    list(watcher.look())
    with monkeypatch.context() as patched:
        patched.setattr(desk.bench, "add", lambda _data: (_ for _ in ()).throw(OSError(errno.ENOSPC, "No space left")))
        assert list(watcher.look()) == [("a.png", "not taken yet: No space left; tried again")]
        assert list(watcher.look()) == []
    assert dict(watcher.look())["a.png"].startswith("photo ")
    with pytest.raises(PhotoError, match="links are not followed"):
        (folder / "b.png").symlink_to(folder / "a.png")
        read_bytes(folder / "b.png", follow=False)


def test_glue_is_left_out_where_the_job_has_none():
    assert glue_tree(None, Notes()) is None
    at = datetime(2024, 5, 4, 10).timestamp()
    assert glue_tree(Glue(35, 60), Notes((Mixed("a" * 8, at),))) == {"mixed": at, "working_s": 2100, "gel_s": 3600}
    filed = Glue(35, 60, "2024-05-04T10:00:00")
    assert (glue_tree(filed, Notes()) or {})["mixed"] == at
    assert (glue_tree(filed, Notes((Mixed("a" * 8, at, False),))) or {})["mixed"] is None  # the phone knows better
