"""The page's server as it listens: connections that say nothing, a state that is pushed, a server that has gone."""

from __future__ import annotations

import http.client
import json
import shutil
import socket
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from page_reader import photo

from rigging.page import connections
from rigging.page.app import make_app
from rigging.page.desk import Desk
from rigging.page.gate import Gate
from rigging.page.serve import LOCAL, listen_on, server_config

SAMPLE = Path(__file__).parent.parent / "samples" / "trainer"
PATIENCE_S = 120.0


@pytest.fixture
def server(tmp_path: Path) -> Iterator[tuple[str, int]]:
    for name in ("trainer.toml", "gauge.csv"):
        shutil.copy(SAMPLE / name, tmp_path / name)
    desk = Desk(tmp_path / "trainer.toml", reader="page_reader:read_photo", drawer="page_reader:draw", workers=1)
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    port = int(listening.getsockname()[1])
    made = uvicorn.Server(server_config(make_app(desk, Gate(False), frozenset({f"127.0.0.1:{port}"}))))
    thread = threading.Thread(target=made.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    while not made.started and thread.is_alive():
        time.sleep(0.02)
    yield "127.0.0.1", port
    made.should_exit = True
    thread.join(PATIENCE_S)
    listening.close()
    desk.close()


def ask(where: tuple[str, int], method: str, path: str, body: bytes | None = None) -> Any:
    with closing(http.client.HTTPConnection(*where, timeout=PATIENCE_S)) as connection:
        connection.request(method, path, body, {"content-type": "application/json"} if body else {})
        return json.loads(connection.getresponse().read())


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="the whole of 127/8 is this computer's on Linux alone")
def test_connections_that_say_nothing_shut_nobody_out_and_are_closed(
    server: tuple[str, int], monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(connections, "HEAD_S", 3600.0)  # nothing here depends on how fast the machine is
    idle = [socket.create_connection(server, PATIENCE_S, ("127.0.0.2", 0)) for _ in range(110)]
    try:
        assert ask(server, "GET", "/api/state")["wing"]  # another address
        closed = 0
        for held in idle[connections.MOST_OF_ONE :]:
            held.settimeout(PATIENCE_S)
            with suppress(ConnectionError):
                assert held.recv(1) == b""
            closed += 1
        assert closed == 110 - connections.MOST_OF_ONE
    finally:
        for held in idle:
            held.close()
    monkeypatch.setattr(connections, "HEAD_S", 0.2)
    with closing(socket.create_connection(server, PATIENCE_S)) as held, suppress(ConnectionError):
        assert held.recv(1) == b""


def test_a_phone_that_comes_before_the_server_has_started_waits():
    with (
        closing(listen_on(LOCAL, 0)) as listening,
        closing(socket.create_connection(listening.getsockname(), PATIENCE_S)),
    ):
        pass


def events(where: tuple[str, int]) -> Iterator[tuple[str, Any]]:
    """What the server pushes: (name, data)."""
    with closing(http.client.HTTPConnection(*where, timeout=PATIENCE_S)) as connection:
        connection.request("GET", "/api/events")
        answer, name = connection.getresponse(), ""
        while line := answer.readline():
            word, _, rest = line.decode().strip().partition(": ")
            if word == "event":
                name = rest
            elif word == "data":
                yield name, json.loads(rest)


def test_a_change_is_pushed_whoever_made_it_and_a_beat_tells_that_the_server_lives(
    server: tuple[str, int], tmp_path: Path
):
    heard = events(server)
    assert next(heard)[1]["photos"] == []
    name, data = next(heard)
    assert name == "beat" and abs(data["now"] - time.time()) < 3600
    ident = ask(server, "POST", "/api/photos", photo(0))["id"]
    for name, data in heard:
        if name == "state" and [p["status"] for p in data["photos"]] == ["read"]:
            break
    bench = tmp_path / "trainer-shop"
    (bench / "photos" / f"{ident}.png.hints").write_text("chord 2,30 70,31\n")  # a person with an editor
    for name, data in heard:
        if name == "state" and data["photos"][0].get("helped"):
            break
    (bench / "notes.json").write_text("{half")
    assert any(name == "state" and "notes.json" in (data["problem"] or "") for name, data in heard)


def test_a_state_that_has_not_changed_is_not_worked_out_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    from rigging.page import board as board_module

    shutil.copy(SAMPLE / "trainer.toml", tmp_path / "trainer.toml")
    desk = Desk(tmp_path / "trainer.toml", reader="page_reader:read_photo", drawer="page_reader:draw", workers=1)
    board = board_module.Board(desk)
    first = board.state()
    monkeypatch.setattr(board_module, "standing", lambda *_: pytest.fail("worked out again"))
    assert board.state() == first
    desk.close()
