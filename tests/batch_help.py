"""Small photos, a job and the fake reader, for tests of the batch."""

from __future__ import annotations

from pathlib import Path

from rigging.batch.find import find_photos
from rigging.batch.run import BatchResult, Options, measure_batch
from rigging.planning.new_job import DraftWing, starting_job
from shared.job.file import parse_job
from shared.job.model import Job

FAKE = Options(workers=0, reader="tests.fake_reader:read_photo", drawer="tests.fake_reader:draw")

# What the fake reader makes of a photo's first pixel.
PLAIN, NO_VALUE, FAULT, CRASH, MISTAKE, HANG = 40, 249, 250, 251, 252, 253


def small_photo(path: Path, seed: int, kind: int = PLAIN) -> Path:
    """A small PNG unlike any of another seed."""
    import cv2
    import numpy as np

    pixels = np.random.default_rng(seed).integers(0, 240, (70, 80), dtype=np.uint8)
    pixels[0, 0] = kind
    done, data = cv2.imencode(".png", pixels)
    assert done
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data.tobytes())
    return path


def small_folder(folder: Path, count: int) -> Path:
    """A folder of small photos."""
    for number in range(count):
        small_photo(folder / f"a{number}.png", number)
    return folder


def job(folder: Path = Path()) -> Job:
    """A job of six stations a side."""
    return parse_job(starting_job(DraftWing()), "wing.toml", folder)


def run(photos: Path, out: Path, options: Options = FAKE, the_job: Job | None = None) -> BatchResult:
    """Measure a folder with the fake reader."""
    return measure_batch(the_job or job(photos), find_photos([photos]), out, options)


def content(folder: Path) -> dict[str, bytes]:
    """Every file under a folder but the lock, by its relative path."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != "lock"
    }
