"""Speed, parallel work, memory, second runs and start-up, side by side in one run.

    python benchmarks/performance.py samples/trainer --counts 10,100,1000,5000 --page docs/performance.md

FOLDER holds a job (`*.toml`) and `photos/` or `stations/`. The thousands are links to these few photos.
Nothing else should run on the machine meanwhile.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import click
import scaling
import speed
from rich.console import Console
from rich.markdown import Markdown
from tables import environment, markdown

from rigging.cli.main import ONE_THREAD
from shared.files import write_whole
from shared.job_file import load_job

START, END = "<!-- measured: made by benchmarks/performance.py -->\n", "<!-- end of measured -->\n"


@click.command(help=__doc__)
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("--counts", default="10,50,200", show_default=True, help="Batch sizes of the scaling table.")
@click.option("--second", default=200, show_default=True, help="Photos of the batch that is run twice.")
@click.option("--repeats", default=3, show_default=True, help="Runs of each photo; the quickest counts.")
@click.option("--page", type=click.Path(exists=True, path_type=Path),
              help="Page to put the tables into, between its marks.")
@click.option("--note", default="", help="A remark on the circumstances, put above the tables.")
def main(folder: Path, counts: str, second: int, repeats: int, page: Path | None,
         note: str) -> None:
    if any(os.environ.get(name) != "1" for name in ONE_THREAD):  # must be set before NumPy is loaded
        environment_of_one = {**os.environ, **dict.fromkeys(ONE_THREAD, "1")}
        sys.exit(subprocess.run([sys.executable, *sys.argv], env=environment_of_one, check=False).returncode)
    job_file = next(iter(sorted(folder.glob("*.toml"))))
    job = load_job(job_file)
    photos = sorted(path for name in ("photos", "stations") for path in (folder / name).glob("*.jpg"))
    one = speed.measure_speed(job, photos, repeats)
    with tempfile.TemporaryDirectory() as scratch:
        baseline = speed.measure_speed(job, speed.as_cameras_write(photos, Path(scratch) / "baseline"), repeats)
    pair = scaling.workers_compared(job, photos, 2 * len(photos))
    first, again = scaling.second_run(job, job_file, photos, second)
    starts = scaling.start_up()
    bare = starts["`python -c pass`"]
    fixed = "\n\n".join((
        f"### One photo on one core\n\nMeans over {one.photos} photos of 12 megapixels, processor time, the least of "
        f"{repeats} runs each.\n\nAs shipped, progressive JPEG of about 0.8 MB:\n\n{speed.table(one)}\n\n"
        f"The same photos as cameras write them, baseline JPEG of quality 95, where the bare decode is the quicker "
        f"one:\n\n{speed.table(baseline)}",
        f"### Workers\n\n{scaling.table(pair)}\n\n"
        f"The quickest of three runs of each, taken in turn. All cores against one: "
        f"{pair[0].seconds / pair[-1].seconds:.2f} times as fast on the clock, at "
        f"{pair[-1].processor / pair[0].processor:.2f} times the processor time.",
        f"### Second run\n\n{first.photos} photos: {first.seconds:.1f} s; the whole command again over the "
        f"same folder, nothing changed: {again:.2f} s.",
        "### Start-up\n\n" + markdown(("command", "", "ms", "times bare"), [
            (name, "", f"{1e3 * t:.0f}", f"{t / bare:.1f}") for name, t in starts.items()])))
    grown: list[scaling.Run] = []
    text = ""
    for count in map(int, counts.split(",")):  # the page after each, so that a run that is stopped leaves its figures
        grown += scaling.scaling(job, photos, [count])
        done = ",".join(str(run.photos) for run in grown)
        text = (f"Made by `python benchmarks/performance.py {folder} --counts {done}`; {environment()}. {note}\n\n{fixed}"
                f"\n\n### From few to thousands\n\n{scaling.table(grown)}")
        if page is not None:
            before, _, rest = page.read_text("utf-8").partition(START)
            write_whole(page, before + START + text + "\n" + END + rest.partition(END)[2])
    Console(width=120).print(Markdown(text))


if __name__ == "__main__":
    main()
