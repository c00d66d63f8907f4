"""The order on the page: steps said, checks typed, photos from before a turn that no longer count."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from page_reader import OFF, photo
from starlette.testclient import TestClient
from test_page import HOSTS, R1, SAMPLE, desk_of, moved, send, settled, station

from rigging.page.app import make_app
from rigging.page.desk import Desk
from rigging.page.gate import Gate
from rigging.page.keeping import keep_survey
from rigging.record.chain import find_record
from rigging.record.verify import verify
from tests.order_steps import STEPS

R2, R3 = 1, 2


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    text = (SAMPLE / "trainer.toml").read_text("utf-8").replace('readings = "gauge.csv"', "")
    (tmp_path / "trainer.toml").write_text(text + STEPS, "utf-8")
    made = desk_of(tmp_path)
    yield made
    made.close()


@pytest.fixture
def client(desk: Desk) -> Iterator[TestClient]:
    with TestClient(make_app(desk, Gate(False), HOSTS)) as made:
        yield made


def say(client: TestClient, name: str, value: float | None = None, ident: str = "said00001") -> int:
    return client.post("/api/step", json={"id": ident, "name": name, "value": value}).status_code


def states(client: TestClient) -> dict[str, str]:
    return {s["name"]: s["state"] for s in settled(client)["setup"]["steps"]}


def test_the_page_leads_through_the_steps(client: TestClient, desk: Desk):
    state = settled(client)
    assert state["next"] == "R1" and state["setup"]["next"] == "root" and state["setup"]["stated"]
    send(client, photo(R1))
    state = settled(client)
    assert state["next"] is None and "read level on the root" in state["setup"]["words"]
    assert station(state, "R1")["todo"]["words"] == "Leave it. Next: root"
    assert say(client, "level on the root", 0.05) == 200
    assert settled(client)["next"] == "R2"
    for level in (R2, R3):
        send(client, photo(level))
    assert states(client) == {"root": "right", "washout": "right", "clamped": "to do"}
    assert say(client, "clamped", ident="said00002") == 200
    assert settled(client)["setup"]["words"] == "Every step is right."
    assert find_record(desk.job_file, str(int(keep_survey(desk).path.stem))).survey().setup.next is None
    assert verify(desk.job_file) == ()
    assert client.post("/api/undo", json={"id": "said00002"}).status_code == 200
    assert states(client)["clamped"] == "to do"


def test_a_moved_root_opens_what_hangs_on_it_whatever_the_files_times(client: TestClient, desk: Desk):
    for level in (R1, R2, R3):
        send(client, photo(level))
    say(client, "level on the root", 0.0)
    settled(client)
    say(client, "clamped", ident="said00002")
    moved(client, "R1")
    for entry in desk.bench.entries():
        os.utime(entry.path, (4e9, 4e9))
    assert states(client) == {"root": "open again", "washout": "open again", "clamped": "open again"}
    assert station(settled(client), "R2")["state"] == "conforming"  # the order changes no angle and no decision
    send(client, photo(R1, seed=5))
    state = settled(client)
    assert states(client)["root"] == "right" and state["next"] in ("R2", "R3")
    assert "photograph again R2 and R3" in state["setup"]["words"]


def test_a_new_photo_of_what_is_open_again_takes_the_place_of_those_from_before(client: TestClient):
    for level in (R1, R2, R3):
        send(client, photo(level))
    settled(client)
    moved(client, "R1")
    send(client, photo(R1, seed=5))
    settled(client)
    send(client, photo(OFF))  # R2, a degree off: the root's turn has taken it along
    state = settled(client)
    assert station(state, "R2")["state"] == "nonconforming" and station(state, "R2")["photos"] == 1
    (old,) = [p for p in state["photos"] if p["station"] == "R2" and p["status"] == "set aside"]
    assert "hangs on was turned" in old["why"]
    assert states(client)["washout"] == "wrong"
    assert client.post("/api/undo", json={"id": "moved0001"}).status_code == 200
    assert all(p["status"] != "set aside" for p in settled(client)["photos"])


@pytest.mark.parametrize(
    ("name", "value"),
    [("root", None), ("nothing", None), ("level on the root", None), ("level on the root", 500.0), ("clamped", 1.0)],
)
def test_only_what_can_be_said_is_taken(client: TestClient, name: str, value: float | None):
    told = client.post("/api/step", json={"id": "said00001", "name": name, "value": value})
    assert told.status_code == 422 and told.json()["error"]
    assert not settled(client)["notes"]


def test_a_typed_reading_that_was_mended_opens_what_hangs_on_it(client: TestClient):
    for level in (R1, R2, R3):
        send(client, photo(level))
    settled(client)
    say(client, "level on the root", 0.6)
    assert (states(client)["root"], states(client)["washout"]) == ("wrong", "right")
    say(client, "level on the root", 0.0, "said00003")
    assert (states(client)["root"], states(client)["washout"]) == ("right", "open again")
    notes: list[dict[str, Any]] = settled(client)["notes"]
    assert notes[0]["words"].endswith("level on the root: reads 0.00")
