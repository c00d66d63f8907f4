"""`ribangle serve` as a process of its own, with the real reader: killed in the middle, started again."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

import psutil
import pytest

SAMPLE = Path(__file__).parent.parent / "samples" / "trainer"
TRUTH = json.loads((SAMPLE / "truth.json").read_text())["photos"]


def started(home: Path) -> tuple[subprocess.Popen[str], str]:
    server = subprocess.Popen(
        [sys.executable, "-m", "rigging.cli.main", "serve", str(home / "trainer.toml"), "--port", "0"],
        cwd=SAMPLE.parent.parent,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert server.stdout is not None
    found = re.search(r"http://\S+/", server.stdout.readline())
    assert found
    return server, found[0]


def killed(server: subprocess.Popen[str]) -> None:
    """Kill it without a word, and wait until its workers have left by themselves."""
    children = psutil.Process(server.pid).children(recursive=True)
    server.kill()
    server.wait()
    if server.stdout is not None:
        server.stdout.close()
    _, alive = psutil.wait_procs(children, timeout=20)
    assert not alive


def call(url: str, data: bytes | None = None) -> Any:
    for _ in range(100):
        try:
            with urllib.request.urlopen(urllib.request.Request(url, data), timeout=30) as answer:
                return json.loads(answer.read())
        except ConnectionError:
            time.sleep(0.1)
        except urllib.error.URLError as error:
            if isinstance(error, urllib.error.HTTPError):
                raise
            time.sleep(0.1)
    raise AssertionError("no answer")


def settled(url: str) -> Any:
    for _ in range(600):
        state = call(url + "api/state")
        if all(p["status"] != "waiting" for p in state["photos"]):
            return state
        time.sleep(0.1)
    raise AssertionError("still waiting")


@pytest.mark.skipif(sys.platform == "win32", reason="kills by signal")
def test_killed_while_reading_and_started_again_the_photo_is_read_and_counted_once(tmp_path: Path):
    for name in ("trainer.toml", "gauge.csv"):
        shutil.copy(SAMPLE / name, tmp_path / name)
    shutil.copytree(SAMPLE / "lens", tmp_path / "lens")
    data = (SAMPLE / "photos" / "R5.jpg").read_bytes()
    server, url = started(tmp_path)
    try:
        assert call(url + "api/photos", data)["new"]
    finally:
        killed(server)
    assert not list((tmp_path / "trainer-shop" / "readings").rglob("*.json"))  # it had not been read yet
    server, url = started(tmp_path)
    try:
        assert not call(url + "api/photos", data)["new"]  # the phone was not sure, and sends it again
        state = settled(url)
        call_again = settled(url)
    finally:
        killed(server)
    assert state == call_again
    (photo,) = state["photos"]
    assert photo["station"] == "R5" and photo["overlay"]
    shown = next(s for s in state["stations"] if s["name"] == "R5")
    value, U = (float(v.replace("\u2212", "-")) for v in re.findall(r"[+\u2212]?[\d.]+", shown["chord"])[:2])
    assert abs(value - TRUTH["R5"]["chord_deg"]) <= U < 0.4
    assert shown["photos"] == 1
