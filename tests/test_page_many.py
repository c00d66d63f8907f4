"""Many uploads from several clients, bad files among them, and a kill in the middle: nothing lost, nothing doubled.

Reduced to 24 uploads from 4 clients with a stand-in reader; benchmarks/page.py does 200 from 8 with the real one
(docs/page-load.md).
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import httpx2
import pytest
from page_reader import photo

HERE = Path(__file__).parent
SAMPLE = HERE.parent / "samples" / "trainer"


def started(job: Path, port: int) -> tuple[subprocess.Popen[str], int]:
    path = os.pathsep.join((str(HERE), str(HERE.parent), *filter(None, [os.environ.get("PYTHONPATH")])))
    server = subprocess.Popen(
        [sys.executable, str(HERE / "run_page.py"), str(job), str(port)],
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": path},
    )
    assert server.stdout is not None
    told = server.stdout.readline()
    assert told
    return server, int(told.rpartition(":")[2])


@pytest.mark.skipif(sys.platform == "win32", reason="kills by signal")
def test_uploads_from_many_clients_outlive_a_kill(tmp_path: Path):
    for name in ("trainer.toml", "gauge.csv"):
        shutil.copy(SAMPLE / name, tmp_path / name)
    good = [photo(n % 12, seed=n) for n in range(20)]
    bad = [good[0][:300], good[1][:400], b"not a photo", b""]
    work = [x for n in range(4) for x in (*good[5 * n : 5 * n + 5], bad[n])]
    server, port = started(tmp_path / "trainer.toml", 0)
    base, client = f"http://127.0.0.1:{port}", httpx2.Client(timeout=60, verify=False)
    told: dict[int, tuple[int, Any]] = {}
    broken: list[int] = []
    half = threading.Event()

    def send(k: int) -> None:
        while True:
            try:
                answer = client.post(f"{base}/api/photos", content=work[k])
            except httpx2.HTTPError:
                broken.append(k)
                time.sleep(0.5)
                continue
            told[k] = answer.status_code, answer.json()
            if len(told) >= 9:
                half.set()
            return

    def kill() -> None:
        nonlocal server
        half.wait(60)
        server.kill()
        server.wait()
        assert server.stdout is not None
        server.stdout.close()
        server, _ = started(tmp_path / "trainer.toml", port)

    killer = threading.Thread(target=kill)
    killer.start()
    try:
        with ThreadPoolExecutor(4) as clients:
            list(clients.map(send, range(len(work))))
        killer.join(60)
        photos: list[Any] = []
        for _ in range(300):
            state = client.get(f"{base}/api/state").json()
            photos = state["photos"]
            if all(p["status"] != "waiting" for p in photos):
                break
            time.sleep(0.8)
        assert not client.post(f"{base}/api/photos", content=good[3]).json()["new"]
    finally:
        client.close()
        server.kill()
        server.wait()
        assert server.stdout is not None
        server.stdout.close()
    assert broken, "the kill met no connection: nothing was shown"
    taken = {answer["id"] for code, answer in told.values() if code in (200, 201)}
    assert len(told) == 24 and sum(code == 422 for code, _ in told.values()) == 2
    assert sorted(p["id"] for p in photos) == sorted(taken) and len(taken) == 22
    assert sum(bool(p.get("measured")) for p in photos) == 20
    assert sum(s["photos"] for s in state["stations"]) == 20
    kept = [p for p in (tmp_path / "trainer-shop" / "photos").iterdir() if not p.name.startswith(".")]
    assert len(kept) == 22
