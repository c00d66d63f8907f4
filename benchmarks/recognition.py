"""How often the reader recognises the lines of photos from another hand, and how often it is wrong.

    python benchmarks/recognition.py --wings FOLDER --drawn 500000 100 --out recognition.md

FOLDER holds wings as `python -m training.scenes` makes them (with `--judge`: effects never trained on). `--drawn` draws good
scenes of the drawn simulator. Every angle given is held against the truth: refused, flagged, clean; beyond 3 u in silence.
"""

from __future__ import annotations

import json
import math
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click
import cv2
import numpy as np
from joblib import Parallel, delayed
from measured import Measured, measured_of
from rich.console import Console
from shop import PHONE_12, draw
from shop.chance import good_scene, with_shop_errors
from shop.jobs import job_for, lens_for
from tables import by_class, environment, faults, markdown

from shared.files import write_whole
from shared.flags import FlagCode, Severity
from shared.job.file import load_job
from vision.reader import read_photo

CARDS = ("panel", "strip", "panels", "strips")


@dataclass(frozen=True)
class Case:
    """A photo to read. kind : "wing" with a folder and a name, or "drawn" with a seed."""

    kind: str
    folder: Path | None = None
    name: str = ""
    record: dict[str, Any] | None = None
    seed: int = 0


def read(case: Case) -> list[Measured]:
    """Read one photo and compare; one at which the reader fails counts as refused, with the fault as its reason."""
    try:
        return _read(case)
    except Exception as error:
        name = f"{case.folder.name}/{case.name}" if case.folder else f"drawn {case.seed}"
        reason = f"FAULT of the reader, {type(error).__name__}: {error}"
        return [
            Measured(name, "faults", line, math.nan, math.nan, (), reason, math.nan, {}) for line in ("chord", "spar")
        ]


def _read(case: Case) -> list[Measured]:
    cv2.setNumThreads(1)
    start = time.process_time()
    if case.kind == "wing":
        assert case.folder is not None
        assert case.record is not None
        job = load_job(case.folder / "job.toml")
        reading = read_photo(case.folder / "stations" / f"{case.name}.jpg", job)
        truth: dict[str, float | None] = {"chord": case.record["chord_deg"], "spar": case.record["spar_deg"]}
        group = "traced, ribs behind" if case.record.get("behind") else "traced, alone"
        name = f"{case.folder.name}/{case.name}"
    else:
        rng = np.random.default_rng([case.seed, 31])
        kind = CARDS[case.seed % len(CARDS)]
        scene = with_shop_errors(good_scene(case.seed, kind, "laser" if case.seed % 9 == 4 else "plumb", PHONE_12), rng)  # type: ignore[arg-type]
        bgr, true = draw(scene)
        start = time.process_time()
        reading = read_photo(bgr, job_for(scene), lens=lens_for(scene.camera, rng))
        truth = {"chord": true.chord_deg, "spar": true.spar_deg}
        group, name = "drawn", f"drawn {case.seed}"
    return [_without_notes(m) for m in measured_of(reading, name, group, truth, time.process_time() - start)]


def _without_notes(m: Measured) -> Measured:
    flags = tuple(f for f in m.flags if FlagCode.of(f).severity is Severity.DOUBT)
    return Measured(m.photo, m.group, m.line, m.error, m.u, flags, m.reason, m.seconds, m.budget)


def cases(wings: tuple[Path, ...], drawn: tuple[int, int]) -> Iterator[Case]:
    """All photos to read."""
    for base in wings:
        for truth in sorted(base.glob("*/truth.json")):
            for name, record in json.loads(truth.read_text("utf-8")).items():
                yield Case("wing", truth.parent, name, record)
    for seed in range(drawn[0], drawn[0] + drawn[1]):
        yield Case("drawn", seed=seed)


def shares(found: list[Measured]) -> str:
    """Refused, flagged, clean, wrong in silence, by class and line."""
    rows = []
    for line in ("chord", "spar"):
        for group in (*sorted({m.group for m in found}), "all"):
            some = [m for m in found if m.line == line and group in ("all", m.group)]
            if not some:
                continue
            given = [m for m in some if not m.refused]
            flagged = [m for m in given if m.flags]
            counts = (
                len(some) - len(given),
                len(flagged),
                len(given) - len(flagged),
                sum(m.wrong for m in some),
            )
            rows.append((group, line, str(len(some)), *(f"{c} ({100 * c / len(some):.0f} %)" for c in counts)))
    return markdown(("class", "line", "n", "refused", "flagged", "clean", "beyond 3 u in silence"), rows)


def report(found: list[Measured]) -> str:
    """The whole page."""
    seconds = [m.seconds for m in found if math.isfinite(m.seconds)]
    why = Counter((m.reason or "").split(":")[0][:70] for m in found if m.refused)
    reasons = "\n".join(f"- {n} times: {text}" for text, n in why.most_common())
    return (
        f"{environment()}; {len({m.photo for m in found})} photos, median {np.median(seconds):.2f} s of one core each.\n\n"
        f"{shares(found)}\n\n{by_class(found)}\n\nReasons for refusing:\n\n{reasons}\n\n{faults(found)}\n"
    )


@click.command(help=__doc__)
@click.option("--wings", multiple=True, type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("--drawn", nargs=2, type=int, default=(0, 0), help="First seed and number of drawn photos.")
@click.option("--workers", default=1, show_default=True)
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path))
def main(wings: tuple[Path, ...], drawn: tuple[int, int], workers: int, out: Path | None) -> None:
    """Read, compare, print, write."""
    console = Console(width=150)
    found: list[Measured] = []
    for some in Parallel(n_jobs=workers, return_as="generator")(delayed(read)(c) for c in cases(wings, drawn)):
        found += some
        for m in some:
            state = f"refused: {m.reason}" if m.refused else f"e {m.error:+.3f} u {m.u:.3f} {' '.join(m.flags)}"
            console.print(f"{m.photo:20} {m.line:6} {state}{'  WRONG' if m.wrong else ''}", highlight=False)
    if not found:
        raise click.UsageError("nothing to read: give --wings FOLDER or --drawn FIRST COUNT")
    text = report(found)
    console.print(text, markup=False, highlight=False)
    if out:
        write_whole(out, text)


if __name__ == "__main__":
    main()
