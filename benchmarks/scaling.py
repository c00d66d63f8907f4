"""The batch: start-up, two workers against one, a second run, time and memory from few photos to many."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import psutil
from tables import markdown

from rigging.batch.find import find_photos
from rigging.batch.pool import available_cores
from rigging.batch.run import BatchResult, Options, measure_batch
from shared.job.model import Job

OPTIONS = Options()

COMMAND = (sys.executable, "-m", "rigging.cli.main")


@dataclass(frozen=True)
class Run:
    """One batch: seconds on the clock and of processor time of all its processes, the largest worker and the parent
    at their peak, MB; photos with an angle, and photos taken over from an earlier run."""

    photos: int
    workers: int
    seconds: float
    processor: float
    worker_mb: float
    parent_mb: float
    measured: int
    known: int


def linked(photos: Sequence[Path], count: int, folder: Path) -> Path:
    """A folder of `count` names for the same few photos."""
    folder.mkdir(parents=True)
    for number in range(count):
        real = photos[number % len(photos)].resolve()
        link = folder / f"{number:05d}-{real.name}"
        try:
            link.hardlink_to(real)
        except OSError:  # another file system
            link.symlink_to(real)
    return folder


def timed_batch(job: Job, photos: Path, out: Path, options: Options) -> Run:
    """Run a batch and watch its processes."""
    watch = _Watch()
    sources = find_photos([photos], follow_links=True)
    start = time.perf_counter()
    with watch:
        result: BatchResult = measure_batch(job, sources, out, options)
    workers = options.workers or available_cores()
    return Run(
        len(sources),
        workers,
        time.perf_counter() - start,
        watch.processor,
        watch.worker_mb,
        watch.parent_mb,
        result.measured,
        result.known,
    )


class _Watch:
    """Samples the resident memory and the processor time of this process and of all it started."""

    def __init__(self) -> None:
        self.worker_mb = self.parent_mb = 0.0
        self._before = time.process_time()
        self._children: dict[int, float] = {}
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> _Watch:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._end.set()
        self._thread.join()

    @property
    def processor(self) -> float:
        """Seconds of processor time, as last seen."""
        return time.process_time() - self._before + sum(self._children.values())

    def _run(self) -> None:
        me = psutil.Process()
        while not self._end.wait(0.1):
            self.parent_mb = max(self.parent_mb, me.memory_info().rss / 1e6)
            for child in me.children(recursive=True):
                try:
                    self.worker_mb = max(self.worker_mb, child.memory_info().rss / 1e6)
                    times = child.cpu_times()
                    self._children[child.pid] = times.user + times.system
                except psutil.Error:
                    continue


def scaling(job: Job, photos: Sequence[Path], counts: Sequence[int], options: Options = OPTIONS) -> list[Run]:
    """Batches of growing size, each from nothing."""
    runs = []
    for count in counts:
        with tempfile.TemporaryDirectory() as scratch:
            room = Path(scratch)
            runs.append(timed_batch(job, linked(photos, count, room / "photos"), room / "out", options))
    return runs


def workers_compared(job: Job, photos: Sequence[Path], count: int, rounds: int = 3) -> list[Run]:
    """The same batch with one worker and with one for each core, in turn, several times; the quickest of each."""
    kinds = list(dict.fromkeys((1, available_cores())))
    runs = [
        run
        for _ in range(rounds)
        for workers in kinds
        for run in scaling(job, photos, (count,), replace(OPTIONS, workers=workers))
    ]
    return [min((r for r in runs if r.workers == workers), key=lambda r: r.seconds) for workers in kinds]


def second_run(job: Job, job_file: Path, photos: Sequence[Path], count: int) -> tuple[Run, float]:
    """A batch, and the seconds that the whole command takes over the same folder unchanged."""
    with tempfile.TemporaryDirectory() as scratch:
        room = Path(scratch)
        folder = linked(photos, count, room / "photos")
        first = timed_batch(job, folder, room / "out", OPTIONS)
        command = [*COMMAND, "measure", str(job_file), str(folder), "--follow-links", "--out", str(room / "out")]
        return first, min(_seconds(command) for _ in range(2))


def start_up(runs: int = 9) -> dict[str, float]:
    """Seconds of an interpreter that does nothing, of `--help`, and of an error in a job file."""
    commands = {
        "`python -c pass`": [sys.executable, "-c", "pass"],
        "`ribangle --help`": [*COMMAND, "--help"],
        "an error in a job file": [*COMMAND, "measure", __file__, "photos"],
    }
    return {name: min(_seconds(command) for _ in range(runs)) for name, command in commands.items()}


def _seconds(command: Sequence[str]) -> float:
    start = time.perf_counter()
    subprocess.run(command, capture_output=True, check=False, cwd=Path(__file__).parent.parent)
    return time.perf_counter() - start


def table(runs: Sequence[Run]) -> str:
    """Runs as Markdown."""
    rows = [
        (
            str(r.photos),
            str(r.workers),
            f"{r.seconds:.1f}",
            f"{1e3 * r.seconds / r.photos:.0f}",
            f"{1e3 * r.processor / r.photos:.0f}",
            f"{r.worker_mb:.0f}",
            f"{r.parent_mb:.0f}",
            str(r.measured),
            str(r.known),
        )
        for r in runs
    ]
    head = (
        "photos",
        "workers",
        "s",
        "ms a photo",
        "of processor",
        "largest worker, MB",
        "parent, MB",
        "measured",
        "taken over",
    )
    return markdown(head, rows)
