"""Speed, parallel work, memory, second runs and start-up, side by side.

    python benchmarks/performance.py samples/trainer --counts 10,100,1000,5000 --page docs/performance.md

FOLDER holds a job (`*.toml`) and `photos/` or `stations/`. The thousands are links to these few photos. Each part of
the page tells when it was made, and can be made anew alone (`--parts`); the last is written after each batch, so that
a run that is stopped leaves its figures. Nothing else should run on the machine meanwhile.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import click
import scaling
import speed
from rich.console import Console
from rich.markdown import Markdown
from tables import environment, markdown

from rigging.cli.main import ONE_THREAD
from shared.files import write_whole
from shared.job.file import load_job
from shared.job.model import Job

PARTS = ("one", "start", "workers", "second", "counts")


@click.command(help=__doc__)
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("--parts", default=",".join(PARTS), show_default=True, help="Which parts of the page to make.")
@click.option("--counts", default="10,50,200", show_default=True, help="Batch sizes of the scaling table.")
@click.option("--second", default=200, show_default=True, help="Photos of the batch that is run twice.")
@click.option("--repeats", default=3, show_default=True, help="Runs of each photo or batch; the quickest counts.")
@click.option("--every", default=1, show_default=True, help="Time every so many of the photos singly.")
@click.option(
    "--page",
    type=click.Path(exists=True, path_type=Path),
    help="Page to put the tables into, between the marks of each part.",
)
@click.option("--note", default="", help="A remark on the circumstances, put above the tables.")
def main(
    folder: Path, parts: str, counts: str, second: int, repeats: int, every: int, page: Path | None, note: str
) -> None:
    if any(os.environ.get(name) != "1" for name in ONE_THREAD):  # must be set before NumPy is loaded
        environment_of_one = {**os.environ, **dict.fromkeys(ONE_THREAD, "1")}
        sys.exit(subprocess.run([sys.executable, *sys.argv], env=environment_of_one, check=False).returncode)
    wanted = parts.split(",")
    if unknown := set(wanted) - set(PARTS):
        raise click.BadParameter(f"{', '.join(sorted(unknown))}; known are {', '.join(PARTS)}", param_hint="--parts")
    job_file = next(iter(sorted(folder.glob("*.toml"))))
    job = load_job(job_file)
    photos = sorted(path for name in ("photos", "stations") for path in (folder / name).glob("*.jpg"))
    made: dict[str, Callable[[], Iterator[str]]] = {
        "one": lambda: one_photo(job, photos[::every], repeats),
        "start": start_up,
        "workers": lambda: workers(job, photos, repeats),
        "second": lambda: second_run(job, job_file, photos, second),
        "counts": lambda: growing(job, photos, [int(count) for count in counts.split(",")]),
    }
    for part in wanted:
        text = ""
        for text in made[part]():
            stamp = f"By `python benchmarks/performance.py {folder} --parts {part}`; {environment()}. {note}".rstrip()
            if page is not None:
                put(page, part, f"{text}\n\n{stamp}")
        Console(width=120).print(Markdown(text))


def put(page: Path, part: str, text: str) -> None:
    """Write a text between the part's marks."""
    start, end = f"<!-- measured: {part} -->\n", f"<!-- end of {part} -->\n"
    before, found, rest = page.read_text("utf-8").partition(start)
    after = rest.partition(end)[2]
    if not found:
        raise click.ClickException(f"{page} has no mark {start.strip()}")
    write_whole(page, before + start + text + "\n" + end + after)


def one_photo(job: Job, photos: Sequence[Path], repeats: int) -> Iterator[str]:
    """The whole reading beside a bare decode and the general line finders, of two kinds of JPEG."""
    shipped = speed.measure_speed(job, photos, repeats)
    with tempfile.TemporaryDirectory() as scratch:
        plain = speed.measure_speed(job, speed.as_cameras_write(photos, Path(scratch) / "baseline"), repeats)
    yield (
        f"Means over {shipped.photos} photos of 12 megapixels, processor time, the least of {repeats} runs each "
        f"(two of the line finders).\n\nAs shipped, progressive JPEG:\n\n{speed.table(shipped)}\n\nThe same photos as "
        "cameras write them, baseline JPEG of quality 95, which is decoded more quickly:\n\n"
        f"{speed.table(plain)}"
    )


def start_up() -> Iterator[str]:
    """What it takes to say anything at all."""
    starts = scaling.start_up()
    bare = starts["`python -c pass`"]
    yield markdown(
        ("command", "", "ms", "times bare"),
        [(name, "", f"{1e3 * t:.0f}", f"{t / bare:.1f}") for name, t in starts.items()],
    )


def workers(job: Job, photos: Sequence[Path], repeats: int) -> Iterator[str]:
    """One worker against one for each core."""
    pair = scaling.workers_compared(job, photos, 2 * len(photos), repeats)
    yield (
        f"{scaling.table(pair)}\n\nThe quickest of {repeats} runs of each, taken in turn. All cores against one: "
        f"{pair[0].seconds / pair[-1].seconds:.2f} times as fast on the clock, at "
        f"{pair[-1].processor / pair[0].processor:.2f} times the processor time."
    )


def second_run(job: Job, job_file: Path, photos: Sequence[Path], count: int) -> Iterator[str]:
    """The same folder twice."""
    first, again = scaling.second_run(job, job_file, photos, count)
    yield (
        f"{first.photos} photos: {first.seconds:.1f} s; the whole command again over the same folder, nothing "
        f"changed: {again:.2f} s."
    )


def growing(job: Job, photos: Sequence[Path], counts: Sequence[int]) -> Iterator[str]:
    """Batches of growing size; the table after each."""
    runs: list[scaling.Run] = []
    for count in counts:
        runs += scaling.scaling(job, photos, [count])
        yield scaling.table(runs)


if __name__ == "__main__":
    main()
