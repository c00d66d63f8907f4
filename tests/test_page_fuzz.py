"""Requests drawn at random: never a fault of the server's own, whatever is sent."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from rigging.page.app import make_app
from rigging.page.desk import Desk
from rigging.page.gate import Gate

SAMPLE = Path(__file__).parent.parent / "samples" / "trainer"
PATHS = (
    "/api/state",
    "/api/photos",
    "/api/gauge",
    "/api/moved",
    "/api/glue",
    "/api/step",
    "/api/keep",
    "/api/enter",
    "/enter",
    "/",
    "/api/undo",
    "/api/photos/0123456789abcdef/hint",
    "/api/photos/0123456789abcdef/unhint",
    "/api/photos/0123456789abcdef/overlay",
    "/static/page.js",
)
NAMES = st.sampled_from(
    ["id", "station", "line", "shown_deg", "now", "note", "name", "value", "code", "role", "a", "b"]
)
VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=8)
    | st.sampled_from(["R1", "chord", "plumb", "note00001", "locked and clamped"]),
    lambda inner: st.lists(inner, max_size=3),
    max_leaves=4,
)


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    home = tmp_path_factory.mktemp("fuzz")
    for name in ("trainer.toml", "gauge.csv"):
        shutil.copy(SAMPLE / name, home / name)
    desk = Desk(home / "trainer.toml", reader="page_reader:read_photo", drawer="page_reader:draw", workers=1)
    with TestClient(make_app(desk, Gate(False), frozenset({"testserver"}))) as made:
        yield made
    desk.close()


@settings(
    max_examples=150, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(path=st.sampled_from(PATHS), body=st.dictionaries(NAMES, VALUES, max_size=4))
def test_any_json_is_taken_or_turned_away(client: TestClient, path: str, body: dict[str, Any]):
    import json

    told = client.post(path, content=json.dumps(body), headers={"content-type": "application/json"})
    assert told.status_code < 500
    assert client.get("/api/state").status_code == 200


@settings(
    max_examples=150, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    method=st.sampled_from(["GET", "POST", "PUT", "DELETE", "HEAD", "OPTIONS"]),
    body=st.binary(max_size=60),
    path=st.one_of(st.sampled_from(PATHS), st.text("/.%ab01\\:?", max_size=20).map(lambda t: "/" + t.lstrip("/"))),
    kind=st.sampled_from(["", "application/json", "text/plain", "multipart/form-data"]),
    cookie=st.text(st.characters(min_codepoint=33, max_codepoint=126), max_size=20),
)
def test_any_bytes_are_taken_or_turned_away(
    client: TestClient, method: str, body: bytes, path: str, kind: str, cookie: str
):
    told = client.request(method, path, content=body, headers={"content-type": kind, "cookie": cookie})
    assert told.status_code < 500
    assert "content-security-policy" in told.headers
