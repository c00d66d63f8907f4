"""The page under load: how long an answer takes, and what is left of many uploads after a kill in their middle.

    python benchmarks/page.py --out docs/page-load.md
    python benchmarks/page.py --uploads 40 --clients 4

The server runs as a process of its own with the real reader, on the sample wing. Answers are timed as a phone sees them,
from the upload's beginning to the pushed state that shows the photo read, with 10 and with 200 photos kept on the bench
(copies of the sample's, their readings copied with them), and once more through a browser on a phone's screen
(Playwright and Chromium), from the file's choice to the shown verdict. Then photos are sent by
several clients at once, one in ten of them damaged, and the server is killed (SIGKILL) half-way and started again;
a client whose connection broke sends again, as the page does.
"""

from __future__ import annotations

import http.client
import json
import os
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import click
import numpy as np
from tables import environment, markdown

from shared.files import write_whole
from shared.job.file import load_job

ROOT = Path(__file__).parent.parent
SAMPLE = ROOT / "samples" / "trainer"
TIMED = ("R1", "R3", "R5", "L2", "L5", "L6")


class Server:
    """`ribangle serve` as a process of its own, on a port that stays the same over restarts."""

    def __init__(self, home: Path) -> None:
        self.home, self.port = home, 0
        self.start()

    def start(self) -> None:
        """Start it (again)."""
        words = [
            sys.executable,
            "-m",
            "rigging.cli.main",
            "serve",
            str(self.home / "trainer.toml"),
            "--port",
            str(self.port),
        ]
        self.process = subprocess.Popen(words, cwd=ROOT, stdout=subprocess.PIPE, text=True)
        assert self.process.stdout is not None
        found = re.search(r"127\.0\.0\.1:(\d+)", self.process.stdout.readline())
        assert found is not None
        self.port = int(found[1])

    def kill(self) -> None:
        """Kill it without a word."""
        self.process.kill()
        self.process.wait()

    def ask(self, method: str, path: str, body: bytes | None = None) -> tuple[int, Any]:
        """One request; raises OSError or HTTPException where the connection breaks."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=120)
        try:
            connection.request(method, path, body)
            answer = connection.getresponse()
            return answer.status, json.loads(answer.read())
        finally:
            connection.close()


def bench_home() -> Path:
    """A copy of the sample's job in a folder of its own."""
    home = Path(tempfile.mkdtemp(prefix="ribangle-page-"))
    for name in ("trainer.toml", "gauge.csv"):
        shutil.copy(SAMPLE / name, home / name)
    shutil.copytree(SAMPLE / "lens", home / "lens")
    return home


def settled(server: Server, seconds: float = 3600.0) -> dict[str, Any]:
    """The state once nothing waits."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        try:
            state: dict[str, Any] = server.ask("GET", "/api/state")[1]
            if all(p["status"] != "waiting" for p in state["photos"]):
                return state
        except (OSError, http.client.HTTPException):
            pass
        time.sleep(0.5)
    raise SystemExit("the server never came to rest")


def answers() -> list[tuple[str, float, float]]:
    """Photo, seconds from its choice in the browser to its verdict, and the reading's own seconds."""
    import browser
    from playwright.sync_api import sync_playwright

    from vision.reader import read_photo

    why = browser.why_not()
    if why:
        raise click.ClickException(why)
    job = load_job(SAMPLE / "trainer.toml")
    read_photo(str(SAMPLE / "photos" / "R2.jpg"), job)
    home = bench_home()
    server = Server(home)
    found = []
    try:
        with sync_playwright() as p:
            chromium = p.chromium.launch(executable_path=browser.executable(), args=browser.FLAGS)
            page = chromium.new_context(**browser.PHONE).new_page()
            page.set_default_timeout(60_000)
            page.goto(f"http://127.0.0.1:{server.port}/")
            page.locator("#wing button").first.wait_for()
            page.locator("#pick").set_input_files(str(SAMPLE / "photos" / "R2.jpg"))  # the workers' imports, once
            page.locator("#now .value strong").wait_for()
            for name in TIMED:
                begun = time.perf_counter()
                page.locator("#pick").set_input_files(str(SAMPLE / "photos" / f"{name}.jpg"))
                page.locator("#now h2").get_by_text(name).wait_for()
                page.locator("#now .value strong").wait_for()
                whole = time.perf_counter() - begun
                own = []
                for _ in range(3):
                    begun = time.perf_counter()
                    read_photo(str(SAMPLE / "photos" / f"{name}.jpg"), job)
                    own.append(time.perf_counter() - begun)
                found.append((name, whole, statistics.median(own)))
            chromium.close()
    finally:
        server.kill()
        shutil.rmtree(home, ignore_errors=True)
    return found


def noted(data: bytes, words: str) -> bytes:
    """The same picture as another file: a comment segment after the first marker changes the bytes alone."""
    note = words.encode()
    return data[:2] + b"\xff\xfe" + (len(note) + 2).to_bytes(2, "big") + note + data[2:]


def filled(kept: int) -> Path:
    """A bench that holds so many photos, all read: the sample's, then copies of them with copies of their readings."""
    import hashlib

    import msgspec

    from rigging.batch.store import overlay_path, reading_key
    from rigging.page.desk import Desk

    home = bench_home()
    desk = Desk(home / "trainer.toml")
    sources = sorted((SAMPLE / "photos").glob("*.jpg"))[:kept]
    for path in sources:
        desk.bench.add(path.read_bytes())
    desk.start()
    while any(s.tree is None for s in desk.seen()):
        time.sleep(0.2)
    seen = desk.seen()
    for k in range(kept - len(seen)):
        model = seen[k % len(seen)]
        assert model.tree is not None
        data = noted(model.entry.path.read_bytes(), f"kept {k}")
        sha256 = hashlib.sha256(data).hexdigest()
        name = sha256[:16] + ".jpg"
        key = reading_key(sha256, name, desk.plan.made_from)
        place = overlay_path(name, key)
        photo = {**model.tree["photo"], "name": name, "sha256": sha256}
        overlay = (desk.store.folder / model.tree["overlay"]).read_bytes()
        desk.store.put(key, msgspec.json.encode({**model.tree, "photo": photo, "overlay": place}), overlay, place)
        desk.bench.add(data)
    desk.close()
    return home


def pushed(port: int) -> Iterator[dict[str, Any]]:
    """The states that the server pushes."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=600)
    connection.request("GET", "/api/events")
    answer, name = connection.getresponse(), ""
    while line := answer.readline():
        word, _, rest = line.decode().strip().partition(": ")
        name = rest if word == "event" else name
        if word == "data" and name == "state":
            yield json.loads(rest)


def latency(kept: int, tries: int) -> list[float]:
    """Seconds beyond the reading's own time, from the upload's beginning to the pushed state, of so many photos."""
    from vision.reader import read_photo

    job, home = load_job(SAMPLE / "trainer.toml"), filled(kept)
    server, beyond = Server(home), []
    try:
        states = pushed(server.port)
        next(states)
        for k in range(-1, tries):  # the first waits for the workers' imports
            path = SAMPLE / "photos" / f"{TIMED[k % len(TIMED)]}.jpg"
            data = noted(path.read_bytes(), f"timed {k}")
            begun = time.perf_counter()
            ident = server.ask("POST", "/api/photos", data)[1]["id"]
            for state in states:
                if any(p["id"] == ident and p["status"] != "waiting" for p in state["photos"]):
                    break
            whole = time.perf_counter() - begun
            begun = time.perf_counter()
            read_photo(str(path), job)
            if k >= 0:
                beyond.append(whole - (time.perf_counter() - begun))
    finally:
        server.kill()
        shutil.rmtree(home, ignore_errors=True)
    return beyond


def uploads(count: int, clients: int, seed: int) -> dict[str, int]:
    """Send, kill in the middle, start again, and count what is there in the end."""
    import cv2

    rng = np.random.default_rng(seed)
    photos = sorted((SAMPLE / "photos").glob("*.jpg"))
    good, bad = [], []
    for k in range(count):
        data = photos[k % len(photos)].read_bytes()
        if k % 10 == 9:
            cut = data[: int(rng.integers(300, len(data) // 2))] + rng.bytes(8)
            bad.append(cut if k % 20 == 9 else b"no photo at all " + rng.bytes(200))
            continue
        good.append(noted(data, f"upload {k}"))
    assert cv2.imdecode(np.frombuffer(good[0], np.uint8), cv2.IMREAD_GRAYSCALE) is not None
    work = [*good, *bad]
    order = rng.permutation(len(work))
    home = bench_home()
    server = Server(home)
    told: dict[int, tuple[int, Any]] = {}
    broken, lock, half = 0, threading.Lock(), threading.Event()

    def send(k: int) -> None:
        nonlocal broken
        while True:
            try:
                answer = server.ask("POST", "/api/photos", work[k])
                with lock:
                    told[k] = answer
                    if len(told) >= len(work) // 2:
                        half.set()
                return
            except (OSError, http.client.HTTPException, ValueError):
                with lock:
                    broken += 1
                time.sleep(0.3)

    def killer() -> None:
        half.wait()
        server.kill()
        server.start()

    stopper = threading.Thread(target=killer)
    stopper.start()
    try:
        with ThreadPoolExecutor(clients) as pool:
            list(pool.map(send, order.tolist()))
        stopper.join()
        state = settled(server)
        again = [server.ask("POST", "/api/photos", work[k]) for k in range(min(20, len(good)))]
        state_after = settled(server)
    finally:
        server.kill()
    files = [p for p in (home / "trainer-shop" / "photos").iterdir() if not p.name.startswith(".")]
    idents = {a[1]["id"] for a in told.values() if a[0] in (200, 201)}
    shown = [p["id"] for p in state["photos"]]
    used = sum(s["photos"] for s in state["stations"])
    measured = sum(bool(p.get("measured")) for p in state["photos"])
    result = {
        "photos sent": len(work),
        "of them damaged or no photo": len(bad),
        "connections broken by the kill": broken,
        "taken (200 or 201)": sum(a[0] in (200, 201) for a in told.values()),
        "refused (422)": sum(a[0] == 422 for a in told.values()),
        "answers of the server's own fault (5xx)": sum(a[0] >= 500 for a in told.values()),
        "lost: taken, but not there in the end": len(idents - set(shown)),
        "doubled: shown twice, or two files": len(shown) - len(set(shown)) + len(files) - len({p.stem for p in files}),
        "whole photos not read": len(good) - measured,
        "photos used at the stations": used,
        "sent once more, counted as new": sum(bool(a[1]["new"]) for a in again),
        "state changed by that": int(state_after["photos"] != state["photos"]),
    }
    shutil.rmtree(home, ignore_errors=True)
    return result


@click.command(help=__doc__)
@click.option("--uploads", "count", default=200, show_default=True, help="0 leaves them out.")
@click.option("--clients", default=8, show_default=True)
@click.option("--seed", default=1, show_default=True)
@click.option(
    "--tries", default=20, show_default=True, help="Photos timed with 10 and with 200 kept; 0 leaves them out."
)
@click.option("--skip-answers", is_flag=True, help="Leave the browser out.")
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="Markdown.")
def main(count: int, clients: int, seed: int, tries: int, skip_answers: bool, out: Path | None) -> None:
    """Time, load, kill, count, write."""
    begun = time.perf_counter()
    parts = ["# The page: measured", "", "Made by `python benchmarks/page.py`.", ""]
    if tries:
        rows = []
        for kept in (10, 200):
            took = np.array(latency(kept, tries))
            p50, p95 = np.quantile(took, (0.5, 0.95))
            rows.append([str(kept), str(len(took)), f"{p50:.2f} s", f"{p95:.2f} s"])
        parts += [
            "## From the upload to the pushed state, beyond the reading's own time",
            "",
            "Upload, a process of its own with its imports, the annotated picture, all photos of the wing judged anew, and "
            "the push. The reading alone is timed right after, in this process, and taken off.",
            "",
            markdown(("photos kept", "timed", "p50", "p95"), rows),
            "",
            f"Load of the machine at the end: {os.getloadavg()[0]:.1f} processes on {os.cpu_count()} cores.",
            "",
        ]
    if not skip_answers:
        timed = answers()
        over = [whole - own for _, whole, own in timed]
        rows = [[n, "", f"{w:.2f} s", f"{o:.2f} s", f"{w - o:.2f} s"] for n, w, o in timed]
        parts += [
            "## From the photo's choice to the verdict shown",
            "",
            "The sample's photos of 12 megapixels in headless "
            "Chromium on a phone's screen, server and browser on one machine; beyond the reading's own time come the "
            "upload, a process of its own, the annotated picture, and the push to the page.",
            "",
            markdown(("photo", "", "chosen to shown", "the reading alone", "beyond"), rows),
            "",
            f"At most {max(over):.1f} s beyond the reading's own time; the aim is 1 s. (Load of the machine: "
            f"{os.getloadavg()[0]:.1f} processes on {os.cpu_count()} cores.)",
            "",
        ]
    result = uploads(count, clients, seed) if count else {}
    parts += (
        []
        if not count
        else [
            f"## {count} uploads from {clients} clients, killed in the middle",
            "",
            markdown(("what", "", "n"), [[name, "", str(n)] for name, n in result.items()]),
            "",
        ]
    )
    parts += [f"{environment()}; {(time.perf_counter() - begun) / 60:.0f} min.", ""]
    text = "\n".join(parts)
    click.echo(text)
    if out is not None:
        write_whole(out, text)


if __name__ == "__main__":
    main()
