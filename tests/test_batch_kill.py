"""A batch killed at random points ends, taken up again, with the same bytes as one that was left alone."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.batch_help import content, small_folder

PHOTOS, CHAINS, KILLS = 32, 4, 5
HOME = Path(__file__).parent.parent


def start(photos: Path, out: Path, workers: int = 2) -> subprocess.Popen[str]:
    environment = {**os.environ, "FAKE_READER_SECONDS": "0.01"}
    command = [sys.executable, "-m", "tests.run_batch", str(photos), str(out), str(workers)]
    return subprocess.Popen(
        command,
        cwd=HOME,
        env=environment,
        text=True,
        start_new_session=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


def finish(process: subprocess.Popen[str]) -> str:
    """Wait for the end of the process and of every worker that holds its pipes: none may outlive it."""
    return process.communicate(timeout=60)[1]


def read_photos(process: subprocess.Popen[str], count: int) -> int:
    """Read progress until `count` more photos were measured in this run; how many are done in all."""
    assert process.stdout is not None
    first = None
    for line in process.stdout:
        done = int(line.split()[0])
        first = done if first is None else first
        if done - first >= count or done == PHOTOS:
            return done
    return PHOTOS


def test_killed_at_twenty_random_points(tmp_path: Path) -> None:
    photos = small_folder(tmp_path / "photos", PHOTOS)
    whole = start(photos, tmp_path / "whole")
    assert finish(whole) == ""
    expected = content(tmp_path / "whole")
    assert len(expected) == 2 * PHOTOS + 2
    dice = random.Random(8)
    killed = 0
    for chain in range(CHAINS):
        out = tmp_path / f"out{chain}"
        for number in range(KILLS):
            process = start(photos, out)
            last = number == KILLS - 1  # once in each chain: at the end, while the results are written
            read_photos(process, PHOTOS if last else dice.randint(0, 9))
            time.sleep(dice.uniform(0.0, 0.004 if last else 0.03))
            process.kill()
            finish(process)
            killed += process.returncode not in (0, None)
            assert not any(".part-" in name and not name.endswith(".tmp") for name in content(out))
        assert finish(start(photos, out)) == ""
        assert content(out) == expected
    assert killed >= CHAINS * (KILLS - 1), "most of the kills must hit a batch at work"


@pytest.mark.skipif(os.name != "posix", reason="Ctrl-C cannot be sent to a group of processes on Windows")
@pytest.mark.parametrize("count", [0, 6])  # while the workers are being started, and at work
def test_ctrl_c_is_quiet_and_keeps_what_was_finished(tmp_path: Path, count: int) -> None:
    photos = small_folder(tmp_path / "photos", PHOTOS)
    process = start(photos, tmp_path / "out")
    done = read_photos(process, count)
    os.killpg(process.pid, signal.SIGINT)  # as a terminal does: everyone hears it
    assert finish(process) == ""
    assert process.returncode == 130
    kept = len(list((tmp_path / "out").glob(".kept/*/*.json")))
    assert done <= kept < PHOTOS
    assert not (tmp_path / "out/readings.json").exists()
    assert finish(start(photos, tmp_path / "out")) == ""
    assert finish(start(photos, tmp_path / "whole", workers=0)) == ""
    assert content(tmp_path / "out") == content(tmp_path / "whole")
