"""How soon the verdict stands: a survey of unchanged photos, and one new photo after a turn, as the builder runs them.

    python benchmarks/verdict.py

Commands in processes of their own, on the sample wing of 17 photos; the time counts from the command's start to the first
line of its answer, imports and all. CPU time is that of the command and its processes, whatever else the machine does.
"""

from __future__ import annotations

import os
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import click
from tables import environment, markdown

from shared.job.file import load_job
from vision.reader import read_photo

SAMPLE = Path(__file__).parent.parent / "samples" / "trainer"


def timed(home: Path, *command: str) -> tuple[float, float]:
    """Seconds to the first line of the answer, and CPU seconds of the whole command."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    begun = time.perf_counter()
    words = [sys.executable, "-m", "rigging.cli.main", *command]
    with subprocess.Popen(words, cwd=home, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as running:
        assert running.stdout is not None
        running.stdout.readline()
        first = time.perf_counter() - begun
        running.stdout.read()
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return first, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def noted(path: Path, out: Path, words: str) -> None:
    """The same picture as another file: a comment segment after the first marker."""
    data, note = path.read_bytes(), words.encode()
    out.write_bytes(data[:2] + b"\xff\xfe" + (len(note) + 2).to_bytes(2, "big") + note + data[2:])


@click.command(help=__doc__)
@click.option("--tries", default=7, show_default=True)
def main(tries: int) -> None:
    """Time and print."""
    job, rows = load_job(SAMPLE / "trainer.toml"), []
    with tempfile.TemporaryDirectory() as name:
        home = Path(name)
        for part in ("trainer.toml", "gauge.csv"):
            shutil.copy(SAMPLE / part, home / part)
        for part in ("photos", "lens"):
            shutil.copytree(SAMPLE / part, home / part)
        timed(home, "survey", "trainer.toml", "photos", "--no-report")
        same = [timed(home, "survey", "trainer.toml", "photos", "--no-report") for _ in range(tries)]
        new, own = [], []
        for k in range(tries):
            # another file of the same picture: what is timed is the road to its line, not what the line says
            noted(SAMPLE / "photos" / "R2.jpg", home / f"again{k}.jpg", f"again {k}")
            new.append(timed(home, "turned", "trainer.toml", f"again{k}.jpg"))
            begun = time.perf_counter()
            read_photo(str(home / f"again{k}.jpg"), job)
            own.append(time.perf_counter() - begun)
    rows.append(["verdict of 17 unchanged photos", *_figures(same), "", "1.5 s"])
    beyond = statistics.median(t for t, _ in new) - statistics.median(own)
    rows.append(["line of one new photo (`turned`)", *_figures(new), f"{beyond:.2f} s", "2 s beyond its reading"])
    head = ("what", "first line, median", "longest", "CPU of the command", "beyond its reading", "asked")
    click.echo(markdown(head, rows))
    click.echo(f"\nLoad {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores; {environment()}.")


def _figures(found: list[tuple[float, float]]) -> list[str]:
    firsts = [t for t, _ in found]
    return [
        f"{statistics.median(firsts):.2f} s",
        f"{max(firsts):.2f} s",
        f"{statistics.median(c for _, c in found):.2f} s",
    ]


if __name__ == "__main__":
    main()
