"""The page's server, with a stand-in reader: what comes in, what is shown, what is refused."""

from __future__ import annotations

import io
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

import pytest
from page_reader import DEADLY, LINELESS, SLOW, photo
from PIL import Image
from starlette.testclient import TestClient

from rigging.page.app import make_app
from rigging.page.bench import MOST_BYTES, Bench, Notes
from rigging.page.desk import Desk
from rigging.page.gate import ALPHABET, LENGTH, TRIES, Gate
from rigging.page.keeping import keep_survey
from rigging.page.view import glue_tree
from rigging.page.watch import Watcher
from rigging.record.chain import load_record
from shared.job.model import Glue

SAMPLE = Path(__file__).parent.parent / "samples" / "trainer"
HOSTS = frozenset({"testserver"})
R1, R2 = 0, 1


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


def test_a_moved_rib_sets_its_photos_and_gauge_readings_aside(client: TestClient):
    send(client, photo(R1))
    send(client, photo(R2))
    settled(client)
    assert client.post("/api/moved", json={"station": "R1"}).status_code == 200
    state = settled(client)
    assert station(state, "R1")["state"] == "not measured" and not station(state, "R1")["gauge"]
    assert station(state, "R2")["state"] == "conforming"
    assert {p["status"] for p in state["photos"] if p["station"] == "R1"} == {"set aside"}
    send(client, photo(R1, seed=7))
    assert station(settled(client), "R1")["photos"] == 1


def test_a_gauge_reading_typed_in_is_compared_and_replaces_the_files(client: TestClient):
    send(client, photo(R1))
    told = client.post("/api/gauge", json={"station": "R1", "line": "chord", "shown_deg": 5.5})
    assert told.status_code == 200
    words = station(settled(client), "R1")["gauge"]
    assert any("shows 5.50°, DISAGREES" in w for w in words) and not any("2.20" in w for w in words)
    for bad in ({"station": "X"}, {"shown_deg": 1000}, {"line": "edge"}, {"more": 1}):
        body = {"station": "R1", "line": "chord", "shown_deg": 1.0, **bad}
        assert client.post("/api/gauge", json=body).status_code == 422


def test_glue_mixed_now_starts_the_window(client: TestClient):
    assert client.get("/api/state").json()["glue"]["left_s"] is None
    client.post("/api/glue", json={"now": True})
    assert 34 * 60 < client.get("/api/state").json()["glue"]["left_s"] <= 35 * 60
    client.post("/api/glue", json={"now": False})
    assert client.get("/api/state").json()["glue"]["left_s"] is None


def test_a_kept_survey_is_in_the_record_and_says_the_same_again(client: TestClient, desk: Desk):
    assert client.post("/api/keep", json={}).status_code == 422
    send(client, photo(R1))
    client.post("/api/gauge", json={"station": "R1", "line": "chord", "shown_deg": 2.1})
    client.post("/api/glue", json={"now": True})
    state = settled(client)
    assert client.post("/api/keep", json={"note": "outer bay"}).json() == {"kept": "0001"}
    record = load_record(desk.bench.folder.parent / "trainer-surveys" / "0001.json")
    assert record.survey().verdict == state["verdict"] == record.result["verdict"]
    assert record.note.startswith("outer bay (glue mixed at ")
    assert [p.path for p in record.materials.photos] == [f"trainer-shop/photos/{state['photos'][0]['id']}.png"]
    pair = next(p for p in record.survey().station("R1").gauge if p.line == "chord")
    assert pair.shown_deg == 2.1
    assert keep_survey(desk).stem == "0002"


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
        assert client.post("/api/glue", json={"now": True}, headers=headers).status_code == 403
    assert client.get("/api/state", headers={"host": "elsewhere.example"}).status_code == 421
    assert client.post("/api/glue", content='{"now": true}', headers={"content-type": "text/plain"}).status_code == 415
    assert client.get("/api/state").json()["glue"]["left_s"] is None


def test_every_answer_carries_the_strict_policy_and_the_page_has_nothing_inline(client: TestClient):
    for path in ("/", "/enter", "/api/state", "/nothing", "/static/page.js"):
        policy = client.get(path).headers["content-security-policy"]
        assert policy.startswith("default-src 'self';") and "unsafe" not in policy
    for name in ("page.html", "enter.html"):
        html = (SAMPLE.parent.parent / "rigging" / "page" / "static" / name).read_text()
        assert not re.search(r"<script(?![^>]*src=)|<style|\son\w+=|\sstyle=|https?://", html)


def test_the_code_works_once_and_the_door_locks_after_few_tries(desk: Desk):
    codes: list[str] = []
    gate = Gate(True, codes.append)
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
        assert "locked" in other.post("/api/enter", json={"code": codes[1]}).json()["error"]
        assert other.get("/api/state").status_code == 401


def test_a_watched_folder_feeds_the_same_bench(client: TestClient, desk: Desk, tmp_path: Path):
    folder = tmp_path / "in"
    folder.mkdir()
    watcher = Watcher(desk, folder)
    (folder / "a.png").write_bytes(photo(R1)[:300])
    assert list(watcher.look()) == []
    (folder / "a.png").write_bytes(photo(R1))  # still growing at the first look
    assert list(watcher.look()) == []
    (folder / "b.txt").write_text("no photo")
    (folder / "c.png").write_text("no photo either")
    took = dict([*watcher.look(), *watcher.look()])
    assert took["a.png"].startswith("photo ") and took["c.png"].startswith("not taken") and len(took) == 2
    assert list(watcher.look()) == []
    assert send(client, photo(R1)).json()["new"] is False
    assert station(settled(client), "R1")["photos"] == 1


def test_glue_is_left_out_where_the_job_has_none():
    now = datetime(2024, 5, 4, 10, 30)
    assert glue_tree(None, Notes(), now) is None
    tree = glue_tree(Glue(35, 60), Notes(mixed_at="2024-05-04T10:00:00"), now)
    assert tree is not None and tree["left_s"] == 300 and abs(tree["share"] - 5 / 35) < 1e-9
