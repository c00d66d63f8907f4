"""What the reader says about photos meant to mislead it.

    python benchmarks/decoys.py --per-kind 9 --out docs/decoys.md

Every kind says what is right: a photo whose angle can be told must give it within 3 u, a flag or a refusal;
one whose angle cannot be told must give a refusal or a flag. Anything else counts as wrong.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import click
import numpy as np
from joblib import Parallel, delayed
from rich.console import Console
from rich.markdown import Markdown
from shop import draw
from shop.decoys import Decoy, decoys, makers
from shop.jobs import job_for, lens_for
from tables import environment, markdown

from shared.files import write_whole
from vision.reader import read_photo

OUTCOMES = ("wrong", "right", "flagged", "refused")


@dataclass(frozen=True)
class Outcome:
    """What came of one decoy. said : one of OUTCOMES. error, u : degrees, NaN without a value."""

    kind: str
    number: int
    right: str
    said: str
    error: float
    u: float
    text: str


def judge(decoy: Decoy) -> Outcome:
    """Draw a decoy, read it, judge what was said."""
    bgr, truth = draw(decoy.scene)
    known = "unknown lean" not in decoy.kind
    job = job_for(decoy.scene, decoy.job_cards, lean_known=known)
    seed = np.random.default_rng([decoy.scene.seed, 5])
    reading = read_photo(bgr, job, lens=lens_for(decoy.scene.camera, seed))
    chord = reading.chord
    if chord.quantity is None:
        return Outcome(decoy.kind, decoy.number, decoy.right, "refused", math.nan, math.nan, chord.reason or "")
    error, u = chord.quantity.value - truth.chord_deg, chord.quantity.u
    flags = sorted({f.code for f in (*reading.flags, *chord.flags)})
    good = decoy.right == "angle" and abs(error) <= 3 * u
    said = "flagged" if flags else "right" if good else "wrong"
    return Outcome(decoy.kind, decoy.number, decoy.right, said, error, u, ", ".join(flags))


@click.command(help=__doc__)
@click.option("--per-kind", default=9, show_default=True)
@click.option("--seed", default=50_000, show_default=True, help="First seed; other seeds give other photos.")
@click.option("--kind", "kinds", multiple=True, help="Only these kinds.")
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="Markdown file to write.")
@click.option("--workers", default=1, show_default=True)
def main(per_kind: int, seed: int, kinds: tuple[str, ...], out: Path | None, workers: int) -> None:
    """Draw, read, judge, print, write."""
    console = Console(width=140)
    unknown = set(kinds) - set(makers())
    if unknown:
        raise click.UsageError(f"no such kind: {', '.join(sorted(unknown))}; kinds: {', '.join(makers())}")
    todo = [d for d in decoys(per_kind, seed) if not kinds or d.kind in kinds]
    found: list[Outcome] = []
    for o in Parallel(n_jobs=workers, return_as="generator")(delayed(judge)(d) for d in todo):
        found.append(o)
        value = "" if math.isnan(o.error) else f"e {o.error:+.3f} u {o.u:.3f} "
        console.print(f"{o.kind} {o.number}: {o.said} {value}{o.text}", highlight=False)
    text = _report(found)
    console.print(Markdown(text))
    if out:
        write_whole(out, text)


def _report(found: list[Outcome]) -> str:
    rows = []
    for kind in dict.fromkeys(o.kind for o in found):
        some = [o for o in found if o.kind == kind]
        counts = Counter(o.said for o in some)
        rows.append((kind, some[0].right, str(len(some)), *(str(counts[c]) for c in OUTCOMES)))
    total = Counter(o.said for o in found)
    rows.append(("all", "", str(len(found)), *(str(total[c]) for c in OUTCOMES)))
    wrong = [f"- {o.kind} {o.number}: error {o.error:+.3f}, u {o.u:.3f}" for o in found if o.said == "wrong"]
    return "\n".join(
        [
            "# Decoys",
            "",
            f"Made by `python benchmarks/decoys.py`; {environment()}.",
            "",
            'Photos drawn to mislead. "angle": the angle can be told, and an unflagged value must be '
            'within 3 u of it; "refuse": it cannot, and an unflagged value is wrong whatever it is.',
            "",
            markdown(("kind", "what is right", "n", *OUTCOMES), rows),
            "",
            f"Wrong: {len(wrong) or 'none'}.",
            *wrong,
            "",
        ]
    )


if __name__ == "__main__":
    main()
