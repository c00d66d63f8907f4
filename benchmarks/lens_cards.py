"""A lens from station cards alone beside one from a lens board: the same drawn wings read with both.

    python benchmarks/lens_cards.py --wings 12 --out docs/lens-cards.md

Each wing has a camera of its own, drawn from what EXIF leaves open (`calibration.lens.match.guess_lens`), a print of its
own, stations with one panel card each, or two on every other one. The lens is solved from the wing's photos as a batch does
it (`rigging.batch.lenses`), and from twelve drawn photos of a chessboard; the true lens is never used.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path

import click
import msgspec
import numpy as np
from joblib import Parallel, delayed
from lens_wing import CARDS, LENSES, STATIONS, Chord, Focal, measure_wing
from tables import environment, markdown

from shared.files import write_whole


def rms(chords: list[Chord]) -> float:
    """Root mean square error, degrees."""
    return float(np.sqrt(np.mean([c.error**2 for c in chords])))


def ratio(chords: list[Chord]) -> tuple[float, float, float]:
    """Root mean square error by cards over that by the board, and its 95 % interval by wings drawn anew."""

    def of(some: list[Chord]) -> float:
        a, b = ([c for c in some if c.lens == lens] for lens in LENSES)
        return rms(a) / rms(b)

    rng = np.random.default_rng(7)
    wings = sorted({c.wing for c in chords})
    by = {w: [c for c in chords if c.wing == w] for w in wings}
    again = [of([c for w in rng.choice(wings, len(wings)) for c in by[w]]) for _ in range(1000)]
    low, high = np.quantile(again, (0.025, 0.975))
    return of(chords), float(low), float(high)


def rows(chords: list[Chord]) -> list[list[str]]:
    """A row of figures for each kind of wing and lens."""
    out = []
    for cards in (*CARDS, "all"):
        some = [c for c in chords if cards in (c.cards, "all")]
        if not some:
            continue
        for lens in LENSES:
            own = [c for c in some if c.lens == lens]
            e, u = np.abs([c.error for c in own]), np.array([c.u for c in own])
            out.append(
                [cards, lens, str(len(own)), f"{np.median(e):.4f}°", f"{rms(own):.4f}°", f"{np.quantile(e, 0.95):.3f}°",
                 f"{2 * np.median(u):.3f}°", f"{100 * np.mean(e <= 2 * u):.1f} %", f"{np.std([c.error / c.u for c in own]):.2f}",
                 f"{np.max(e / u):.1f}"]
            )  # fmt: skip
    return out


HEAD = ("cards", "lens from", "n", "median \\|e\\|", "rms e", "95 % \\|e\\|", "median U", "U covers", "sd of e/u",
        "worst \\|e\\|/u")  # fmt: skip


def report(chords: list[Chord], focals: list[Focal], wings: int, minutes: float) -> str:
    """The page, in Markdown."""
    clear = {(c.wing, c.photo) for c in chords} - {(c.wing, c.photo) for c in chords if c.doubtful}
    sure = [c for c in chords if (c.wing, c.photo) in clear]
    r, low, high = ratio(sure)
    own = [c for c in sure if c.lens == LENSES[0]]
    pulls = np.array([f.error / f.u for f in focals])
    covered = 100 * np.mean([abs(c.error) <= 2 * c.u for c in own])
    told = (
        f"{wings} wings of {STATIONS} photos of 12 megapixels, a camera each; the cards told a lens in {len(focals)} of them. "
        f"Chord angles that carry no doubt with either lens: errors with the lens from station cards are **{r:.2f} times** those "
        f"with the lens board (root mean square; 95 % interval {low:.2f} to {high:.2f}, by wings drawn anew); asked: at most "
        f"1.3. U covers **{covered:.1f} %** of them; asked: 93 to 97 %."
    )
    share = f"{100 * np.mean(np.abs(pulls) <= 2):.0f} %"
    spread = float(np.sqrt(np.mean([f.error**2 for f in focals])))
    focal = (
        f"The focal length by cards alone is off by {100 * spread:.2f} % (root mean square; EXIF alone: 3 %), its U "
        f"{200 * float(np.median([f.u for f in focals])):.2f} % in the median; U covers the truth in {share} of the wings."
    )
    return (
        "\n\n".join(
            (
                "# The lens from station cards alone",
                "Made by `python benchmarks/lens_cards.py`.",
                told,
                markdown(HEAD, rows(sure)),
                "With doubtful angles as well:",
                markdown(HEAD, rows(chords)),
                focal,
                f"{environment()}; {minutes:.0f} min.",
            )
        )
        + "\n"
    )


@dataclass
class Kept:
    """What was measured so far, kept in a file from wing to wing: a run that was stopped goes on where it was."""

    done: dict[int, tuple[list[Chord], Focal | None]]
    minutes: float = 0.0

    @staticmethod
    def of(path: Path | None) -> Kept:
        """What a file keeps; nothing where there is none."""
        if path is None or not path.is_file():
            return Kept({})
        return msgspec.json.decode(path.read_bytes(), type=Kept)


@click.command(help=__doc__)
@click.option("--wings", default=12, show_default=True)
@click.option("--seed", default=8_000, show_default=True)
@click.option("--workers", default=1, show_default=True)
@click.option("--keep", type=click.Path(dir_okay=False, path_type=Path), help="Every angle, as JSON; gone on from.")
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="Markdown.")
def main(wings: int, seed: int, workers: int, keep: Path | None, out: Path | None) -> None:
    """Draw, solve, read, compare, write."""
    kept, begun = Kept.of(keep), time.perf_counter()
    before = kept.minutes
    left = [w for w in range(wings) if w not in kept.done]
    tasks = (delayed(measure_wing)(w, seed) for w in left)
    for w, found in zip(left, Parallel(workers, return_as="generator")(tasks), strict=True):
        kept.done[w] = found
        kept.minutes = before + (time.perf_counter() - begun) / 60
        click.echo(f"wing {w}: {len(found[0])} angles, {found[1]}", err=True)
        if keep is not None:
            write_whole(keep, msgspec.json.encode(kept))
    chords = [c for each, _ in kept.done.values() for c in each]
    focals = [f for _, f in kept.done.values() if f is not None]
    text = report(chords, focals, len(kept.done), kept.minutes)
    click.echo(text)
    if out is not None:
        write_whole(out, text)


if __name__ == "__main__":
    main()
