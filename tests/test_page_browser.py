"""The page as a phone's browser shows it: touch, upload, a line pointed at, verdict, correction, large type, speech.

Headless Chromium with a phone's screen and fingers; every state is held against axe-core's rules of accessibility
(WCAG 2.2 A and AA, enhanced contrast of 7:1, and best practice), at 390 and 320 px, light and dark, lying on its side and
with letters twice as large. RIBANGLE_SCREENSHOTS=FOLDER keeps a picture of each state to look at.
"""

from __future__ import annotations

import asyncio
import os
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import browser
import cv2
import msgspec
import pytest
from page_reader import CARDLESS, DOUBT, LINELESS, NEAR, OFF, RIB, photo
from test_gauge_command import panel

from rigging.page.app import make_app
from rigging.page.desk import Desk
from rigging.page.gate import Gate
from rigging.page.notes import Mixed, Notes
from rigging.record.chain import numbers, record_folder

SAMPLE = Path(__file__).parent.parent / "samples" / "trainer"
pytestmark = pytest.mark.skipif(bool(browser.why_not()), reason=browser.why_not())
PATIENCE_MS = 120_000
"""Ends what would never come; nothing here depends on how fast a machine is."""
FINGER = 46
"""12 mm of a phone's screen in CSS pixels (96 to the inch): the least that is pressed."""
LISTEN = """
window.utterances = [];
window.SpeechSynthesisUtterance = function (text) { this.text = text; };
Object.defineProperty(window, "speechSynthesis", { value: { cancel() {}, speak(u) { window.utterances.push(u.text); } } });
"""
SHAPES = [
    ("", {"width": 390, "height": 844}, "light", 100),
    ("-dark", {"width": 390, "height": 844}, "dark", 100),
    ("-320", {"width": 320, "height": 640}, "light", 100),
    ("-320-dark", {"width": 320, "height": 640}, "dark", 100),
    ("-320-twice", {"width": 320, "height": 640}, "light", 200),
    ("-lying", {"width": 740, "height": 360}, "light", 100),
]
STEPS = """
[[step]]
name = "root level"
checks = ["R1/chord", "level on the root"]
[[step]]
name = "washout"
checks = ["R2/chord", "R3/chord", "R4/chord", "R5/chord", "R6/chord"]
[[step]]
name = "locked and clamped"
[[typed]]
name = "level on the root"
deg = 0.0
tolerance_deg = 0.2
u_deg = 0.05
"""

Bench = tuple[str, list[str], Desk]


SILENT = threading.Event()
"""Set: what the server pushes is held back, as by a computer that hangs or a network that swallows everything. A browser
taken offline keeps the connections that it has."""


class Silent:
    """The application, its pushed states held back while SILENT is set."""

    def __init__(self, app: Any) -> None:
        self.app = app

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        async def held(message: Any) -> None:
            while SILENT.is_set():
                await asyncio.sleep(0.05)
            await send(message)

        await self.app(scope, receive, held if scope.get("path") == "/api/events" else send)


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    home = tmp_path_factory.mktemp("bench")
    text = (SAMPLE / "trainer.toml").read_text("utf-8")
    (home / "trainer.toml").write_text(text.replace('readings = "gauge.csv"', "") + STEPS, "utf-8")
    desk = Desk(home / "trainer.toml", reader="page_reader:read_photo", drawer="page_reader:draw", workers=1)
    codes: list[str] = []
    gate = Gate(True, codes.append)
    SILENT.clear()
    with browser.served(lambda host: Silent(make_app(desk, gate, frozenset({host})))) as host:
        yield host, codes, desk
    desk.close()


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as p:
        started = p.chromium.launch(executable_path=browser.executable(), args=browser.FLAGS)
        yield started
        started.close()


def phone(chromium: Any, bench: Bench) -> tuple[Any, list[str]]:
    """A phone that has come in by the QR code's address, and the faults that its console tells of."""
    host, codes, _ = bench
    context = chromium.new_context(**browser.PHONE)
    context.add_init_script(LISTEN)
    shown = context.new_page()
    shown.set_default_timeout(PATIENCE_MS)
    faults: list[str] = []
    quiet = ("ERR_FAILED", "ERR_CONNECTION", "ERR_INTERNET", "ERR_INCOMPLETE", "408", "413", "422", "500", "507")
    # put in by these tests
    shown.on(
        "console",
        lambda m: faults.append(m.text) if m.type == "error" and not any(q in m.text for q in quiet) else None,
    )
    shown.on("pageerror", lambda e: faults.append(str(e)))
    shown.goto(f"http://{host}/enter#{codes[-1]}")
    shown.wait_for_url(f"http://{host}/")
    shown.locator("#wing button").first.wait_for()
    return shown, faults


@pytest.fixture(scope="module")
def page(chromium: Any, bench: Bench) -> Iterator[Any]:
    """Phone A."""
    shown, faults = phone(chromium, bench)
    yield shown
    assert not faults, faults
    shown.context.close()


@pytest.fixture(scope="module")
def other(chromium: Any, bench: Bench) -> Iterator[Any]:
    """Phone B."""
    shown, faults = phone(chromium, bench)
    yield shown
    assert not faults, faults
    shown.context.close()


def clean(page: Any, name: str, *, every: bool = False) -> None:
    """No rule of accessibility is broken, nothing sticks out sideways, and what is pressed is large enough: at 390 px, light,
    and at 320 px, dark; in every shape of the screen where `every`."""
    for ending, size, scheme, percent in SHAPES:
        shown = (
            every or ending in ("", "-320-dark") or (bool(os.environ.get("RIBANGLE_SCREENSHOTS")) and percent == 100)
        )
        if not shown:
            continue
        page.set_viewport_size(size)
        page.emulate_media(color_scheme=scheme)
        page.evaluate(f"document.documentElement.style.fontSize = '{percent}%'")
        _clean(page, name + ending, axe=ending == "-320-dark" or (every and not ending))
    page.set_viewport_size(browser.PHONE["viewport"])
    page.emulate_media(color_scheme="light")
    page.evaluate("document.documentElement.style.fontSize = ''")


def _clean(page: Any, name: str, *, axe: bool) -> None:
    from axe_playwright_python.sync_playwright import Axe

    folder = os.environ.get("RIBANGLE_SCREENSHOTS")
    if folder:
        page.screenshot(path=str(Path(folder) / f"{name}.png"))
    if axe:
        found = Axe().run(page, options={"rules": {"color-contrast-enhanced": {"enabled": True}}})
        assert found.violations_count == 0, f"{name}: {found.generate_report()}"
    wide = page.evaluate("document.documentElement.scrollWidth")  # innerWidth grows with what is too wide for a phone
    assert wide <= page.viewport_size["width"], f"{name}: wider than the phone"
    small = page.evaluate(
        """(least) => [...document.querySelectorAll(
            "button, footer label, label.button, select, summary, form input:not(.hidden), .typed input")].filter((e) => {
            const box = e.getBoundingClientRect();
            return box.width && (box.height < least || box.width < least); }).map((e) => e.textContent || e.id)""",
        FINGER - 0.5,
    )
    assert not small, f"{name}: {small}"


def send(page: Any, *photos: bytes) -> None:
    page.locator("#pick").set_input_files(
        [{"name": f"{k}.png", "mimeType": "image/png", "buffer": p} for k, p in enumerate(photos)]
    )


def station(page: Any, name: str) -> Any:
    """The button of a station in the picture of the wing."""
    return page.locator("#wing button").filter(has_text=name)


def gone(shown: Any) -> None:
    """Wait until nothing of it is shown. The page's own rules let no text be run as a script, so no function waits there."""
    from playwright.sync_api import expect

    expect(shown).to_have_count(0, timeout=PATIENCE_MS)


def unfolded(page: Any, title: str) -> None:
    page.locator("summary").filter(has_text=title).first.tap()


def point(page: Any, ends: list[tuple[float, float]]) -> None:
    """Point at a line's two ends: the finger comes down 6 mm off, and slides until the cross is where it should be."""
    view = page.locator("#view[data-ready]")
    view.wait_for()
    for x, y in ends:
        box = view.bounding_box()
        at_x, at_y = box["x"] + x * box["width"], box["y"] + y * box["height"]
        off_x, off_y = (20.0 if x < 0.5 else -20.0), 11.0  # 23 px: 6 mm
        slide = [(at_x + off_x - off_x / 0.3 * k / 8, at_y + off_y - off_y / 0.3 * k / 8) for k in range(9)]
        view.evaluate(
            """(e, way) => { const fire = (kind, [x, y]) => e.dispatchEvent(new PointerEvent(kind, { bubbles: true,
                pointerId: 1, pointerType: "touch", isPrimary: true, clientX: x, clientY: y }));
                e.setPointerCapture = () => {};
                fire("pointerdown", way[0]); for (const at of way) fire("pointermove", at); fire("pointerup", way.at(-1)); }""",
            slide,
        )
        moved = view.bounding_box()
        assert (moved["x"], moved["y"]) == (box["x"], box["y"]), "the photo moved under the finger"


def test_the_code_page_is_clean(chromium: Any, bench: Bench):
    context = chromium.new_context(**browser.PHONE)
    shown = context.new_page()
    shown.goto(f"http://{bench[0]}/")
    assert shown.url.endswith("/enter")
    clean(shown, "code")
    context.close()


def test_two_phones_do_a_whole_job_with_fingers_that_miss_and_slide(page: Any, other: Any, bench: Bench):
    """Photo, refusal, pointing, turn, photo, gauge, record, on two phones at once, each at its own station."""
    clean(page, "empty")
    send(other, photo(2))
    other.locator("#now h2").get_by_text("R3").wait_for()  # phone B looks at R3 from now on

    send(page, photo(LINELESS))
    page.get_by_text("Point at the chord line").first.wait_for()
    clean(page, "refused", every=True)
    assert page.locator("#now .value").count() == 0  # no older value beside a refused photo
    page.get_by_role("button", name="Point at the chord line").tap()
    page.locator("#view[data-ready]").wait_for()
    assert page.locator("#use").is_disabled()
    point(page, [(0.1, 0.5), (0.9, 0.5)])
    clean(page, "pointing", every=True)
    page.locator("#use").tap()
    page.locator("#now .verdict").get_by_text("conforming").wait_for()
    desk = bench[2]
    (helped,) = (e for e in desk.bench.entries() if e.hints)
    (ax, ay), (bx, by) = (tuple(map(float, w.split(","))) for w in helped.hints[0].split()[1:])
    assert max(abs(ax - 7.5), abs(bx - 71.5), abs(ay - 31.5), abs(by - 31.5)) < 1.5  # of 80 x 64 pixels

    page.locator("#more summary").tap()
    page.locator("#speak").tap()
    page.locator("#more summary").tap()
    send(page, photo(OFF))
    page.locator("#now .verdict").get_by_text("nonconforming").wait_for()
    page.locator("#now .do").get_by_text("Turn the screw").wait_for()
    card = page.locator("#now .card")
    assert "nose up" in card.locator(".value").inner_text()
    box = card.locator(".do").bounding_box()
    assert box["y"] + box["height"] < 844 - 80  # on the first screen, above the one button
    clean(page, "turn", every=True)
    (said,) = page.evaluate("window.utterances")
    assert said.startswith("Station R2. ") and "degrees nose up" in said
    assert "nonconforming. Turn the screw" in said and "\N{MINUS SIGN}" not in said and "°" not in said

    assert other.locator("#now h2").inner_text() == "R3"  # A's doings are a mark on B's wing
    station(other, "R2").locator(".news").wait_for()
    clean(other, "news")

    with page.expect_file_chooser() as chooser:
        page.get_by_role("button", name="Turned: photograph R2 again").tap()
    chooser.value.set_files([{"name": "t.png", "mimeType": "image/png", "buffer": photo(1, seed=9)}])
    page.locator("#now .left").get_by_text("Nothing is left to turn. 3 of 12 stations conform.").wait_for()
    assert page.locator("#now .verdict").inner_text().split() == ["\N{BLACK CIRCLE}", "conforming"]
    clean(page, "turned")
    page.get_by_role("button", name="I moved R2").tap()
    page.locator("#now .do").get_by_text("Photograph R2 again").wait_for()
    clean(page, "moved")
    assert page.locator("#now .value").inner_text() == "no angle"
    send(page, photo(1, seed=10))
    page.locator("#now .verdict").get_by_text("conforming", exact=True).wait_for()
    clean(page, "conforming")

    station(page, "R1").tap()
    page.locator("#more summary").tap()
    assert page.locator("#gs").input_value() == "R1"
    page.locator("#gs").select_option("R2")
    page.locator("#gv").fill("1,6")
    send(other, photo(5))  # phone B photographs R6: what a person chose stays chosen
    other.locator("#now h2").get_by_text("R6").wait_for()
    station(page, "R6").locator(".news").wait_for()
    assert page.locator("#gs").input_value() == "R2"
    assert page.get_by_role("button", name="Note it for R2, chord line").is_visible()
    clean(page, "gauge", every=True)
    page.locator("#gauge button[type=submit]").tap()
    told = page.locator("#gd")
    told.get_by_text("Noted: 1.6° at R2, chord line").wait_for()
    assert told.evaluate("e => { const b = e.getBoundingClientRect(); return b.bottom > 0 && b.top < innerHeight; }")
    assert [(t.station, t.shown_deg) for t in desk.bench.notes().typed] == [("R2", 1.6)]
    page.get_by_role("button", name="Take back: ").first.tap()
    gone(page.locator("#notes li").filter(has_text="1.6"))
    assert desk.bench.notes().typed == ()

    # a doubtful display: its crop, and a number to confirm with one tap
    ok, shown = cv2.imencode(".png", panel("34"))
    assert ok
    page.locator("#gp").set_input_files({"name": "display.png", "mimeType": "image/png", "buffer": shown.tobytes()})
    confirm = page.get_by_role("button", name="It shows 34° at R2, chord line")
    confirm.wait_for()
    assert "no decimal point seen" in told.inner_text()
    assert page.locator("#gv").input_value() == "" and desk.bench.notes().typed == ()
    assert page.locator("#gc").evaluate("e => e.complete && e.naturalWidth > 40")
    clean(page, "display", every=True)
    confirm.tap()
    told.get_by_text("Noted: 34° at R2, chord line").wait_for()
    assert [(t.station, t.line, t.shown_deg) for t in desk.bench.notes().typed] == [("R2", "chord", 34.0)]
    assert not page.locator("#gc").is_visible() and page.locator("#go button").count() == 0
    page.get_by_role("button", name="Take back: ").first.tap()
    gone(page.locator("#notes li").filter(has_text="34"))

    page.locator("#keep button").dblclick()  # two taps
    page.get_by_text("Kept as survey 0001.").wait_for()
    page.locator("#keep button").tap()
    page.get_by_text("Nothing has changed since survey 0001.").wait_for()
    assert list(numbers(record_folder(desk.job_file))) == [1]
    page.locator("#more summary").tap()


def test_nothing_leaves_the_queue_until_the_server_has_it(page: Any, bench: Bench):
    answers = iter([(500, "a fault"), (507, "no room"), (408, "too slow"), "no connection"])

    def refuse(route: Any) -> None:
        answer = next(answers, None)
        if answer is None:
            route.continue_()
        elif isinstance(answer, str):
            route.abort()
        else:
            route.fulfill(status=answer[0], json={"error": answer[1]})

    before = len(bench[2].bench.entries())
    page.evaluate("""window.told = []; new MutationObserver(() => window.told.push(document.querySelector("#queue").textContent))
        .observe(document.querySelector("#queue"), { childList: true });""")
    page.route("**/api/photos", refuse)
    send(page, photo(3, seed=5))
    page.locator("#now h2").get_by_text("R4").wait_for()
    told = "; ".join(page.evaluate("window.told"))
    for words in ("a fault", "no room", "too slow", "no connection"):
        assert f"{words}: kept here, sent again" in told
    assert len(bench[2].bench.entries()) == before + 1 and page.locator("#queue li").count() == 0
    page.unroute("**/api/photos")
    send(page, b"no photo at all")
    page.locator("#queue").get_by_text("NOT taken: not a photo of a known kind").wait_for()
    clean(page, "not-taken")
    page.reload()  # a page that is thrown out of memory loses nothing, and no refusal goes unseen
    page.locator("#queue").get_by_text("NOT taken: not a photo of a known kind").wait_for()
    page.get_by_role("button", name="Throw away").tap()
    gone(page.locator("#queue li"))


@pytest.mark.parametrize(
    ("level", "name", "do"),
    [
        (RIB, "rib", "Leave the screw: the rib sits wrong on its spar"),
        (NEAR, "undecided", "To decide it: 3 more photos from other places"),
        (DOUBT, "doubt", "Photograph it again: a doubt"),
        (CARDLESS, "no-card", "Lay the station card flat on the rib"),
    ],
)
def test_what_is_not_to_be_turned_says_what_to_do_instead(page: Any, level: int, name: str, do: str):
    send(page, photo(level, seed=21))
    page.locator("#now .do").get_by_text(do).wait_for()
    page.evaluate("scrollTo(0, 0)")
    assert page.locator("#now .do").count() == 1 and "Turn the screw" not in page.locator("#now .card").inner_text()
    clean(page, name)


def test_a_photo_on_its_way_is_no_answer_yet(page: Any):
    held: list[Any] = []
    page.route("**/api/photos", held.append)  # neither answered nor broken
    station(page, "R2").tap()
    send(page, photo(1, seed=22))
    page.locator("#now").get_by_text("Nothing is judged before it is read.").wait_for()
    assert page.locator("#now .value").count() == 0
    clean(page, "sending")
    page.unroute("**/api/photos")
    page.reload()
    gone(page.locator("#queue li"))


def test_large_type_shows_the_same_three_things_and_stays(page: Any):
    station(page, "R2").tap()
    value = page.locator("#now .value strong")
    small = float(value.evaluate("e => parseFloat(getComputedStyle(e).fontSize)"))
    assert small >= 60  # read from a metre as it is
    page.locator("#more summary").tap()
    page.locator("#large").tap()
    page.locator("#more summary").tap()
    page.evaluate("scrollTo(0, 0)")
    assert float(value.evaluate("e => parseFloat(getComputedStyle(e).fontSize)")) > 1.3 * small
    clean(page, "large")
    page.reload()
    page.locator("#now .card").wait_for()
    assert page.locator("body.large").count() == 1 and page.locator("#now h2").inner_text() == "R2"
    page.locator("#more summary").tap()
    page.locator("#large").tap()
    page.locator("#more summary").tap()


def test_what_is_folded_away_can_be_opened_and_stays_open(page: Any, other: Any):
    station(page, "R3").tap()
    for title in ("Why", "Inclinometer", "The photo", "The whole wing", "All photos"):
        unfolded(page, title)
    clean(page, "unfolded")
    send(other, photo(7))
    station(page, "L2").locator(".news").wait_for()
    assert page.locator("#behind details[open]").count() == 3 and page.locator("#now h2").inner_text() == "R3"
    page.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = false; })")


def test_glue_takes_one_tap_and_one_line(page: Any, bench: Bench):
    page.get_by_role("button", name="Mixed now").tap()
    page.locator("#left").get_by_text("left, next: ").wait_for()
    assert page.locator("#bar").evaluate("e => e.getBoundingClientRect().height") < 60
    clean(page, "glue")
    station(page, "R2").tap()
    page.get_by_role("button", name="I moved R2").tap()
    page.locator("#now .do").get_by_text("Photograph R2 again").wait_for()

    def earlier(notes: Notes) -> Notes:
        aged = (msgspec.structs.replace(n, at=n.at - 50 * 60) if isinstance(n, Mixed) else n for n in notes.journal)
        return msgspec.structs.replace(notes, journal=tuple(aged))

    bench[2].bench.note(earlier)
    send(page, photo(OFF, seed=11))
    page.locator("#now .do").get_by_text("Working time is over: move nothing").wait_for()
    clean(page, "late")


def live_tree() -> dict[str, Any]:
    return {
        "station": "R2",
        "watching": True,
        "ended": False,
        "every_s": 60.0,
        "at": "2024-05-04T10:12:00",
        "written": time.time(),
        "fault": "",
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
        "alarms": [],
        "curve": [[60.0 * k, 0.004 * k, 0.002] for k in range(12)],
        "caution": "",
    }


def test_the_order_is_led_through_with_fingers(page: Any, bench: Bench):
    page.evaluate("scrollTo(0, 0)")
    unfolded(page, "The set-up")
    steps = page.locator("#steps > ol > li")
    assert steps.count() == 3 and "root level" in (page.locator("#steps li[aria-current=step]").inner_text())
    page.locator("#steps input").fill("0,6")
    page.get_by_role("button", name="Note level on the root").tap()
    steps.first.get_by_text("root level: wrong").wait_for()
    unfolded(page, "2 checks of root level")
    clean(page, "order", every=True)
    page.locator("#steps input").fill("-0.05")
    page.get_by_role("button", name="Note level on the root").tap()
    steps.first.get_by_text("level on the root: right").wait_for()
    assert [n.value for n in bench[2].bench.notes().standing[-2:]] == [0.6, -0.05]  # type: ignore[union-attr]
    steps.nth(1).locator("summary").tap()
    page.get_by_role("button", name="Go to R4").tap()
    page.locator("#now h2").get_by_text("R4").wait_for()
    page.get_by_role("button", name="locked and clamped: done").tap()
    steps.nth(2).get_by_text("locked and clamped: right").wait_for()
    clean(page, "order-done")
    page.locator("#more summary").tap()
    page.get_by_role("button", name="Take back: ").first.tap()
    steps.nth(2).get_by_text("locked and clamped: to do").wait_for()
    page.locator("#more summary").tap()
    unfolded(page, "The set-up")


def test_a_live_run_is_shown_whole_at_its_station_and_its_alarms_everywhere(page: Any, other: Any, bench: Bench):
    place = bench[2].bench.folder / "live.json"
    station(page, "R2").tap()
    station(other, "R3").tap()
    place.write_bytes(msgspec.json.encode(live_tree()))
    page.locator("#live").get_by_text("+0.0412° ± 0.0021° since p00.jpg").wait_for()
    assert page.locator("#live canvas").count() == 1
    other.locator("#live .line").wait_for()
    alarm = "The rib has turned: +0.0412° ± 0.0021° since the first photo. (photo 12, 10:12:00)"
    place.write_bytes(msgspec.json.encode({**live_tree(), "alarms": [alarm]}))
    for shown, name in ((page, "live"), (other, "live-elsewhere")):
        shown.locator("#live .alarm").get_by_text("The rib has turned").wait_for()
        shown.evaluate("scrollTo(0, 0)")
        clean(shown, name)
    place.write_bytes(msgspec.json.encode({**live_tree(), "written": time.time() - 600}))
    other.locator("#live .alarm").get_by_text("No word from the watch for 10 min: nothing is watched").wait_for()
    clean(other, "live-silent")
    place.write_bytes(
        msgspec.json.encode({**live_tree(), "state": "camera moved", "reason": "bumped", "angle": None, "change": None})
    )
    page.locator("#live").get_by_text("The camera was moved: bumped").wait_for()
    clean(page, "live-moved")
    place.unlink()
    page.locator("#live").wait_for(state="hidden")


def test_a_server_that_says_nothing_is_told_of_and_nothing_old_is_taken_for_new(page: Any):
    assert " ago" in page.locator("#age").inner_text()
    SILENT.set()
    page.context.set_offline(True)
    page.locator("#old").get_by_text("No word from the computer for").wait_for()
    clean(page, "offline")
    send(page, photo(4, seed=5))
    page.locator("#queue").get_by_text("kept here, sent again").wait_for()
    SILENT.clear()
    page.context.set_offline(False)
    page.locator("#now h2").get_by_text("R5").wait_for()
    page.locator("#old").wait_for(state="hidden")
