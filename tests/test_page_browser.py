"""The page as a phone's browser shows it: touch, upload, a line pointed at, verdict, correction, large type, speech.

Headless Chromium with a phone's screen and fingers; every state is held against axe-core's rules of accessibility
(WCAG 2.2 A and AA and best practice). RIBANGLE_SCREENSHOTS=FOLDER keeps a picture of each state to look at.
"""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import browser
import msgspec
import pytest
from page_reader import LINELESS, OFF, photo

from rigging.page.app import make_app
from rigging.page.desk import Desk
from rigging.page.gate import Gate

SAMPLE = Path(__file__).parent.parent / "samples" / "trainer"
pytestmark = pytest.mark.skipif(bool(browser.why_not()), reason=browser.why_not())
LISTEN = """
window.utterances = [];
window.SpeechSynthesisUtterance = function (text) { this.text = text; };
Object.defineProperty(window, "speechSynthesis", { value: { cancel() {}, speak(u) { window.utterances.push(u.text); } } });
"""


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, list[str], Desk]]:
    home = tmp_path_factory.mktemp("bench")
    for name in ("trainer.toml", "gauge.csv"):
        shutil.copy(SAMPLE / name, home / name)
    desk = Desk(home / "trainer.toml", reader="page_reader:read_photo", drawer="page_reader:draw", workers=1)
    codes: list[str] = []
    gate = Gate(True, codes.append)
    with browser.served(lambda host: make_app(desk, gate, frozenset({host}))) as host:
        yield host, codes, desk
    desk.close()


@pytest.fixture(scope="module")
def page(bench: tuple[str, list[str], Desk]) -> Iterator[Any]:
    """The page, come in by the QR code's address, on a phone."""
    from playwright.sync_api import sync_playwright

    host, codes, _ = bench
    with sync_playwright() as p:
        chromium = p.chromium.launch(executable_path=browser.executable(), args=["--no-sandbox"])
        context = chromium.new_context(**browser.PHONE)
        context.add_init_script(LISTEN)
        shown = context.new_page()
        shown.set_default_timeout(20_000)
        faults: list[str] = []
        shown.on(
            "console", lambda m: faults.append(m.text) if m.type == "error" and "ERR_FAILED" not in m.text else None
        )
        shown.on("pageerror", lambda e: faults.append(str(e)))
        shown.goto(f"http://{host}/")
        assert shown.url.endswith("/enter")
        clean(shown, "code")
        shown.goto(f"http://{host}/enter#{codes[-1]}")
        shown.wait_for_url(f"http://{host}/")
        shown.get_by_text("Photograph a station").wait_for()
        yield shown
        assert not faults, faults
        context.close()
        chromium.close()


def clean(page: Any, name: str) -> None:
    """No rule of accessibility is broken, nothing sticks out sideways, and what is pressed is large enough."""
    from axe_playwright_python.sync_playwright import Axe

    folder = os.environ.get("RIBANGLE_SCREENSHOTS")
    if folder:
        page.screenshot(path=str(Path(folder) / f"{name}.png"))
        page.screenshot(path=str(Path(folder) / f"{name}-whole.png"), full_page=True)
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), (
        f"{name}: the page is wider than the phone"
    )
    small = page.evaluate("""[...document.querySelectorAll("button, footer label, select")].filter((e) => {
        const box = e.getBoundingClientRect();
        return box.width && (box.height < 44 || box.width < 44); }).map((e) => e.textContent)""")
    assert not small, small


def send(page: Any, *photos: bytes) -> None:
    page.locator("#pick").set_input_files(
        [{"name": f"{k}.png", "mimeType": "image/png", "buffer": p} for k, p in enumerate(photos)]
    )


def test_a_doubtful_line_is_repaired_by_two_taps(page: Any):
    clean(page, "empty")
    send(page, photo(LINELESS))
    page.get_by_text("has no chord angle: not measured: no chord line was found").wait_for()
    clean(page, "no-line")
    page.get_by_role("button", name="Wrong or missing line? Point at it").first.tap()
    view = page.locator("#view")
    while view.evaluate("e => e.width") == 300:  # a canvas before the photo is in it
        page.wait_for_timeout(50)
    assert page.locator("#use").is_disabled()
    view.scroll_into_view_if_needed()
    for share in (0.1, 0.9):
        box = view.bounding_box()
        page.touchscreen.tap(box["x"] + share * box["width"], box["y"] + 0.5 * box["height"])
    assert page.locator("#use").is_enabled()
    clean(page, "pointing")
    page.locator("#use").tap()
    page.get_by_text("read (helped)").wait_for()
    assert page.locator("#tap").is_hidden()
    clean(page, "helped")


def test_a_photo_is_answered_with_verdict_and_correction(page: Any):
    page.locator("#speak").tap()
    send(page, photo(OFF))
    card = page.locator("#now .card")
    card.get_by_text("R2: nonconforming").wait_for()
    turn = card.locator(".turn").first.inner_text()
    assert turn.startswith("jig of R2: turn the screw") and "turns" in turn
    clean(page, "verdict")
    said = page.evaluate("window.utterances")
    assert len(said) == 1 and said[0].startswith("Station R2, nonconforming. Chord +") and "degrees" in said[0]
    assert "turn the screw" in said[0] and "\N{MINUS SIGN}" not in said[0] and "°" not in said[0]
    page.locator("#strip button").first.tap()
    page.locator("#now .card").get_by_text("R1:").first.wait_for()


def test_large_type_is_read_from_across_the_bench_and_stays(page: Any):
    page.locator("#strip button").nth(1).tap()
    value = page.locator("#now .value")
    small = float(value.evaluate("e => parseFloat(getComputedStyle(e).fontSize)"))
    page.locator("#large").tap()
    large = float(value.evaluate("e => parseFloat(getComputedStyle(e).fontSize)"))
    assert large > 1.5 * small and large >= 60
    clean(page, "large")
    page.reload()
    page.locator("#now .card").wait_for()
    assert page.locator("#large").get_attribute("aria-pressed") == "true"
    page.locator("#large").tap()


def test_the_gauge_is_typed_in_and_the_glue_noted(page: Any):
    page.locator("#more summary").tap()
    page.locator("#gs").select_option("R2")
    page.locator("#gv").fill("1,9")
    clean(page, "more")
    page.locator("#gauge button[type=submit]").tap()
    page.locator("#now .card").get_by_text("disagree on the chord line").first.wait_for()
    page.get_by_role("button", name="Mixed just now").tap()
    page.get_by_text("to work.").wait_for()
    page.locator("#more summary").tap()
    clean(page, "glue")


def test_a_live_run_is_shown_above_all_else(page: Any, bench: tuple[str, list[str], Desk]):
    tree = {
        "station": "R2",
        "watching": True,
        "ended": False,
        "every_s": 60.0,
        "at": "2024-05-04T10:12:00",
        "written": time.time(),
        "photo": 12,
        "state": "seen",
        "reason": "",
        "standing": "nonconforming",
        "turn": "jig of R2: turn the screw anticlockwise 1/4 turn",
        "doubts": [],
        "angle": "\N{MINUS SIGN}0.731° ± 0.054°",
        "off": "\N{MINUS SIGN}0.43° ± 0.05°",
        "change": "+0.0412° ± 0.0021°",
        "since": "p00.jpg",
        "design": "+1.50°",
        "alarms": ["The rib has turned: +0.0412° ± 0.0021° since the first photo. (photo 12, 10:12:00)"],
        "curve": [[60.0 * k, 0.004 * k, 0.002] for k in range(12)],
        "caution": "",
    }
    place = bench[2].bench.folder / "live.json"
    place.write_bytes(msgspec.json.encode(tree))
    live = page.locator("#live")
    live.get_by_text("+0.0412° ± 0.0021° since p00.jpg").wait_for()
    assert live.locator(".alarm").count() == 1 and live.locator("canvas").count() == 1
    page.evaluate("scrollTo(0, 0)")
    clean(page, "live")
    place.write_bytes(
        msgspec.json.encode({**tree, "state": "camera moved", "reason": "bumped", "angle": None, "change": None})
    )
    live.get_by_text("The camera was moved: bumped").wait_for()
    clean(page, "live-moved")
    place.unlink()
    live.wait_for(state="hidden")


def test_a_server_that_is_away_is_told_of_and_the_photo_kept(page: Any):
    page.route("**/api/**", lambda route: route.abort())
    send(page, photo(3, seed=5))
    page.get_by_text("No connection: the photo is kept here and sent again").wait_for()
    page.locator("#offline").wait_for()
    clean(page, "offline")
    page.unroute("**/api/**")
    page.locator("#now .card").get_by_text("R4: conforming").wait_for()
    assert page.locator("#offline").is_hidden()
