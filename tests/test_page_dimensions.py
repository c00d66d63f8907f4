"""Dimensions on the page: what may be pointed at in which photo, what is told of each, what is turned away."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import browser
import pytest
from page_reader import photo
from starlette.testclient import TestClient
from test_page import HOSTS, SAMPLE, send, settled

from rigging.page.app import make_app
from rigging.page.desk import Desk
from rigging.page.gate import Gate

OFFSET = """
[[dimension]]
name = "hinge line"
kind = "offset"
at = "aileron"
between = ["edge cove", "mark hinge"]
design_mm = 0
tolerance_mm = 0.8
[[place]]
name = "aileron"
side = "right"
span_mm = 3000
cards = [30]
"""


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    text = (SAMPLE / "trainer.toml").read_text("utf-8").replace('readings = "gauge.csv"', "")
    (tmp_path / "trainer.toml").write_text(text + OFFSET, "utf-8")
    made = Desk(
        tmp_path / "trainer.toml", reader="dimension_reader:read_photo", drawer="dimension_reader:draw", workers=1
    )
    yield made
    made.close()


@pytest.fixture
def client(desk: Desk) -> Iterator[TestClient]:
    with TestClient(make_app(desk, Gate(False), HOSTS)) as made:
        yield made


def feature(client: TestClient, ident: str, name: str, *points: tuple[float, float]) -> Any:
    return client.post(f"/api/photos/{ident}/feature", json={"feature": name, "points": points})


def test_pointing_at_both_features_gives_the_dimension(client: TestClient, desk: Desk) -> None:
    ident = send(client, photo(1)).json()["id"]
    state = settled(client)
    (shown,) = state["photos"]
    assert shown["status"] == "no value"
    assert shown["refused"]["cure"] == "Point at what its dimensions stand on" and shown["refused"]["seen"] == [
        "aileron"
    ]
    assert shown["features"] == [
        {"feature": "edge cove", "points": 2, "done": False},
        {"feature": "mark hinge", "points": 1, "done": False},
    ]
    assert state["dimensions"][0]["state"] == "not measured"
    assert feature(client, ident, "edge cove", (5, 5), (60, 8)).status_code == 200
    assert feature(client, ident, "mark hinge", (30, 40)).status_code == 200
    state = settled(client)
    (shown,) = state["photos"]
    assert (shown["status"], shown["refused"], shown["dimensions"]) == ("read", None, ["hinge line 0.30 ± 0.10 mm"])
    assert [f["done"] for f in shown["features"]] == [True, True]
    (told,) = state["dimensions"]
    assert (told["state"], told["name"]) == ("conforming", "aileron: hinge line")
    assert "+0.30 ± 0.10 mm, design 0 mm ± 0.8 mm" in told["words"]
    (entry,) = desk.bench.entries()
    assert entry.hints == ("edge cove 5.0,5.0 60.0,8.0", "mark hinge 30.0,40.0")


def test_pointing_again_takes_the_place_of_what_was_pointed_at_before(client: TestClient, desk: Desk) -> None:
    ident = send(client, photo(1)).json()["id"]
    for x in (10, 20):
        assert feature(client, ident, "mark hinge", (x, 40)).status_code == 200
    (entry,) = desk.bench.entries()
    assert entry.hints == ("mark hinge 20.0,40.0",)


@pytest.mark.parametrize(
    ("name", "points", "words"),
    [
        ("mark other", [(1, 1)], "no dimension of the job stands on that"),
        ("mark hinge", [(1, 1), (50, 50)], "needs one point of a mark"),
        ("edge cove", [(1, 1)], "two of a line or edge"),
        ("edge cove", [(1, 1), (2, 2)], "within 20 pixels"),
        ("mark hinge", [(-5, 1)], "must lie in the photo"),
        ("mark hinge\nchord 1,1 2,2", [(1, 1)], "no dimension of the job stands on that"),
    ],
)
def test_what_cannot_be_pointed_at_is_turned_away(
    client: TestClient, desk: Desk, name: str, points: list[tuple[float, float]], words: str
) -> None:
    ident = send(client, photo(1)).json()["id"]
    answer = feature(client, ident, name, *points)
    assert answer.status_code == 422 and words in answer.json()["error"]
    assert desk.bench.entries()[0].hints == ()
    assert feature(client, "0" * 16, "mark hinge", (1, 1)).status_code == 422


@pytest.mark.skipif(bool(browser.why_not()), reason=browser.why_not())
def test_a_finger_points_at_a_mark_and_an_edge(desk: Desk) -> None:
    """In a real browser: one point of a mark is enough, an edge needs two; the list of dimensions follows."""
    from playwright.sync_api import sync_playwright

    with (
        browser.served(lambda host: make_app(desk, Gate(False), frozenset({host}))) as host,
        sync_playwright() as p,
    ):
        started = p.chromium.launch(executable_path=browser.executable(), args=browser.FLAGS)
        page = started.new_context(**browser.PHONE).new_page()
        page.set_default_timeout(120_000)
        page.goto(f"http://{host}/")
        page.locator("#camera").set_input_files({"name": "p.png", "mimeType": "image/png", "buffer": photo(1)})
        page.get_by_role("button", name="Point at mark hinge").first.tap()
        page.locator("#view[data-ready]").wait_for()
        assert page.locator("#role").is_hidden() and page.locator("#use").is_disabled()
        _tap(page, 0.4, 0.5)
        _shot(page, "feature")
        assert page.locator("#use").is_enabled()
        page.locator("#use").tap()
        page.get_by_role("button", name="Point again at mark hinge").first.wait_for()
        page.get_by_role("button", name="Point at edge cove").first.tap()
        page.locator("#view[data-ready]").wait_for()
        _tap(page, 0.1, 0.3)
        assert page.locator("#use").is_disabled()
        _tap(page, 0.9, 0.3)
        page.locator("#use").tap()
        page.locator("#now").get_by_text("hinge line: conforming: +0.30 ± 0.10 mm").wait_for()
        page.locator("#dimensionsaid").tap()
        page.locator("#dims .verdict").get_by_text("aileron: hinge line: conforming").wait_for()
        _shot(page, "dimensions")
        started.close()


def _tap(page: Any, x: float, y: float) -> None:
    box = page.locator("#view").bounding_box()
    page.locator("#view").evaluate(
        """(e, [x, y]) => { e.setPointerCapture = () => {}; for (const kind of ["pointerdown", "pointerup"])
            e.dispatchEvent(new PointerEvent(kind, { bubbles: true, pointerId: 1, clientX: x, clientY: y })); }""",
        [box["x"] + x * box["width"], box["y"] + y * box["height"]],
    )


def _shot(page: Any, name: str) -> None:
    folder = os.environ.get("RIBANGLE_SCREENSHOTS")
    if folder:
        page.screenshot(path=str(Path(folder) / f"{name}.png"), full_page=True)
