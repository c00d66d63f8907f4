"""Lines by name on drawn photos: error, coverage of U, what is flagged, refused, or wrong in silence; by case.

python benchmarks/named_lines.py --photos 20 --seed 700000 --out docs/named-lines-accuracy.md
"""

from __future__ import annotations

import json
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

import click
import numpy as np
from joblib import Parallel, delayed
from shop import draw
from shop.jobs import lens_for
from shop.named import CASES, Case, named_scene
from tables import environment, markdown

from shared.files import write_whole
from shared.flags import in_doubt
from vision.reader import read_photo

FAR = 3.0
"""Standard uncertainties beyond which an angle without a flag is wrong in silence."""


@dataclass(frozen=True)
class Shot:
    """One named line in one photo. error, u : degrees, NaN where it was refused. drawn : the error against the line as the
    pen drew it. flagged : in doubt."""

    case: str
    seed: int
    line: str
    error: float
    u: float
    flagged: bool
    reason: str | None
    seconds: float


@click.command(help=__doc__)
@click.option("--photos", default=8, show_default=True, help="Photos of each case.")
@click.option("--seed", default=1, show_default=True, help="First seed.")
@click.option("--only", multiple=True, type=click.Choice(CASES), help="Cases; all by default.")
@click.option("--workers", default=1, show_default=True)
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="Markdown.")
@click.option("--keep", type=click.Path(dir_okay=False, path_type=Path), help="Every line, as JSON.")
def main(photos: int, seed: int, only: tuple[Case, ...], workers: int, out: Path | None, keep: Path | None) -> None:
    """Draw, read, compare, write."""
    start = time.perf_counter()
    jobs = [
        (case, seed + 1000 * n + k) for n, case in enumerate(CASES) if case in (only or CASES) for k in range(photos)
    ]
    found = [s for shots in Parallel(workers)(delayed(shots_of)(case, k) for case, k in jobs) for s in shots]
    text = page(found, len(jobs), time.perf_counter() - start)
    click.echo(text)
    if keep is not None:
        write_whole(keep, json.dumps([asdict(s) for s in found]))
    if out is not None:
        write_whole(out, text)


def shots_of(case: Case, seed: int) -> list[Shot]:
    """Draw one photo and read its lines. Lens profile, string, card's seat, lean and the place in the job are each off by a draw
    from what is stated of them."""
    named = named_scene(case, seed)
    bgr, _ = draw(named.scene)
    lens = lens_for(named.scene.camera, np.random.default_rng([seed, 31]))
    start = time.perf_counter()
    reading = read_photo(bgr, named.job, lens=lens)
    seconds = time.perf_counter() - start
    angles = {line.name: line.angle for line in reading.lines}
    out = []
    for name, true in named.truth.items():
        angle = angles.get(name)
        q = None if angle is None else angle.quantity
        reason = (reading.chord.reason if angle is None else angle.reason) if q is None else None
        doubts = () if angle is None else in_doubt((*reading.flags, *angle.flags))
        error, u = (float("nan"), float("nan")) if q is None else (q.value - true, q.u)
        out.append(Shot(case, seed, name, error, u, bool(doubts), reason, seconds))
    return out


def page(shots: Sequence[Shot], photos: int, seconds: float) -> str:
    """The page, in Markdown."""
    groups = list(dict.fromkeys((s.case, s.line) for s in shots))
    rows = [_row(f"{case}: {line}", [s for s in shots if (s.case, s.line) == (case, line)]) for case, line in groups]
    panel = [s for s in shots if "panel" in s.case]
    strip = [s for s in shots if "panel" not in s.case]
    rows += [_row("**panels**", panel), _row("**strips**", strip), _row("**all**", list(shots))]
    head = (
        "case",
        "n",
        "refused",
        "flagged",
        "median error",
        "95 % within",
        "median U",
        "within U",
        "silent beyond 3 u",
    )
    silent = [s for s in shots if _silent(s)]
    said = "\n".join(
        f"- {s.case}, seed {s.seed}, {s.line}: off by {s.error:+.3f}, u {s.u:.3f}" for s in silent
    )  # fmt: skip
    parts = [INTRODUCTION, markdown(head, rows), f"Beyond 3 u without a flag:\n\n{said}" if said else ""]
    parts.append(f"{photos} photos, made in {seconds / 60:.0f} min. {environment()}.")
    return "\n\n".join(p for p in parts if p) + "\n"


def _silent(s: Shot) -> bool:
    return not s.flagged and abs(s.error) > FAR * s.u


def _row(name: str, shots: Sequence[Shot]) -> tuple[str, ...]:
    got = [s for s in shots if s.reason is None]
    sound = [s for s in got if not s.flagged]
    off = np.abs([s.error for s in sound])
    if not sound:
        return (name, str(len(shots)), str(len(shots) - len(got)), str(len(got)), "-", "-", "-", "-", "0")
    covered = float(np.mean([abs(s.error) <= 2 * s.u for s in sound]))
    return (
        name,
        str(len(shots)),
        str(len(shots) - len(got)),
        str(len(got) - len(sound)),
        f"{np.median(off):.3f}",
        f"{np.quantile(off, 0.95):.3f}",
        f"{np.median([2 * s.u for s in sound]):.3f}",
        f"{100 * covered:.0f} %",
        str(sum(_silent(s) for s in sound)),
    )


INTRODUCTION = """\
# Lines by name: how well they are read

Drawn photos (`benchmarks/shop`, `shop/named.py`): a rib with a level line and a second upright one, a spar web with a line
along its flange and a strut, the same with two quartered marks, a tip fitting with a bolt seen by its two edges and a ledge.
Lens profile, string (0.02 degrees), card's seat (0.1), lean of the face (0.2) and the place of each line in the job
(4 mm each way) are off by draws from what is stated of them; the pen wanders by 0.02 to 0.1 mm, which counts as error. Degrees;
errors and U of the lines without a flag.

Written by `python benchmarks/named_lines.py`."""


if __name__ == "__main__":
    main()
