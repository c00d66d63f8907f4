"""How well the reader does on photos with known truth.

    python benchmarks/accuracy.py samples/trainer samples/lean --out docs/accuracy.md

Each FOLDER holds `truth.json`, `stations/` or `photos/`, `lens/` or `boards/` and a job (`*.toml`). The lens
is calibrated from the folder's board photos; the true lens is never used. `--drawn N` adds N photos of each
class from `benchmarks/shop`.
"""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path

import click
from drawn import CLASSES, measure_drawn
from joblib import Parallel, delayed
from measured import Measured, job_of, measure_set, profile_of
from pull_plot import plot_pulls
from rich.console import Console
from rich.markdown import Markdown
from tables import by_class, environment, faults, pulls

from shared.files import write_whole
from shared.job.file import load_job


@click.command(help=__doc__)
@click.argument("folders", nargs=-1, type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option(
    "--job",
    "job_path",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Job for all folders.",
)
@click.option(
    "--boards-of",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="Folder whose board photos give the lens, for folders without.",
)
@click.option("--drawn", default=0, show_default=True, help="Drawn photos of each class.")
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="Markdown file to write.")
@click.option("--json", "json_path", type=click.Path(dir_okay=False, path_type=Path), help="Every angle, as JSON.")
@click.option(
    "--plot",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Picture (PNG) of errors against u and of pulls.",
)
@click.option("--only", multiple=True, help="Names of photos to read; all by default.")
@click.option("--recalibrate", is_flag=True, help="Calibrate the lens again.")
@click.option("--workers", default=1, show_default=True)
def main(
    folders: tuple[Path, ...],
    job_path: Path | None,
    boards_of: Path | None,
    drawn: int,
    out: Path | None,
    json_path: Path | None,
    plot: Path | None,
    only: tuple[str, ...],
    recalibrate: bool,
    workers: int,
) -> None:
    """Read, compare, print, write."""
    console = Console(width=140)
    start = time.perf_counter()
    found: list[Measured] = []
    for folder in folders:
        has_boards = (folder / "boards").is_dir() or (folder / "lens").is_dir()
        profile = profile_of(folder if has_boards or boards_of is None else boards_of, recalibrate)
        job = load_job(job_path) if job_path else job_of(folder)
        for m in measure_set(folder, job, profile, only):
            console.print(_line(m), highlight=False)
            found.append(m)
    jobs = [(group, 100_000 + 1000 * n + k) for n, group in enumerate(CLASSES) for k in range(drawn)]
    for batch in _batches(jobs, workers):
        for m in batch:
            console.print(_line(m), highlight=False)
            found.append(m)
    if not found:
        raise click.UsageError("nothing to read: give folders with truth.json, or --drawn N")
    text = _report(found, [f.name for f in folders], drawn, time.perf_counter() - start)
    console.print(Markdown(text))
    if out:
        write_whole(out, text)
    if plot:
        plot_pulls(found, plot)
    if json_path:
        write_whole(json_path, json.dumps([asdict(m) for m in found], indent=1))


def _batches(jobs: list[tuple[str, int]], workers: int) -> Iterator[list[Measured]]:
    if jobs:
        yield from Parallel(n_jobs=workers, return_as="generator")(delayed(measure_drawn)(g, s) for g, s in jobs)


def _line(m: Measured) -> str:
    if m.refused:
        return f"{m.photo:24} {m.line:6} refused: {m.reason}"
    mark = "  WRONG" if m.wrong else ""
    return (
        f"{m.photo:24} {m.line:6} e {m.error:+.4f}  u {m.u:.4f}  e/u {m.error / m.u:+.1f}  "
        f"{m.seconds:.1f} s  {' '.join(m.flags)}{mark}"
    )


def _report(found: list[Measured], names: list[str], drawn: int, seconds: float) -> str:
    photos = len({(m.photo, m.group) for m in found})
    sets = ", ".join([*names, *([f"{drawn} drawn photos a class"] if drawn else [])])
    typical = sorted(m.seconds for m in found)[len(found) // 2]
    return f"""# Accuracy

Made by `python benchmarks/accuracy.py`; {environment()}.

Sets: {sets}. {photos} readings in {seconds:.0f} s, median {typical:.1f} s a photo.

Errors in degrees against exact truth, the lens calibrated from each set's own board photos. U = 2 u. Flagged
values count in the columns of errors, refused ones do not. "Lean given": the job states the rib plane's lean,
u 0.1 degrees; "not given": it says nothing of it.

{by_class(found)}

## Pulls

Error over u: honest u gives mean 0, standard deviation 1, excess kurtosis 0, and U covers 95 %. The last
column is 1 where U is as large as 95 % of errors are, 2 where it is twice that.

{pulls(found)}

In ray-traced sets strings are plumb, cards flat and leans as stated to the last digit, so that errors there
are smaller than U allows for; drawn photos err in all three as the job says they may.

## Faults

{faults(found)}
"""


if __name__ == "__main__":
    main()
