"""A lens from station cards alone beside one from a lens board: the same drawn wings read with both.

    python benchmarks/lens_cards.py --wings 24 --out docs/lens-cards.md

Each wing has a camera of its own, drawn from what EXIF leaves open (`calibration.lens.match.guess_lens`), a print of its
own, stations with one panel card each, or two on every other one. The lens is solved from the wing's photos as a batch does
it (`rigging.batch.lenses`), and from twelve drawn photos of a chessboard; the true lens is never used.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import click
import numpy as np
from joblib import Parallel, delayed
from measured import BOARD
from numpy.typing import NDArray
from shop import Camera, draw
from shop.board_photo import board_photo
from shop.chance import good_scene, with_shop_errors
from shop.jobs import job_for
from shop.photo_file import save_jpeg
from shop.scene import Scene
from tables import environment, markdown

from calibration.lens.calibrate import calibrate_lens
from calibration.lens.match import guess_lens
from calibration.lens.profiles import LensProfile, load_lens
from calibration.print.profile import U_SKEW_DEG, U_STRETCH
from rigging.batch.find import find_photos
from rigging.batch.lenses import keep_lenses
from shared.files import write_whole
from shared.flags import in_doubt
from shared.job.model import Job, Wing
from vision.image.photo import open_photo
from vision.reader import read_photo

F64 = NDArray[np.float64]
BOARDS = 12
"""Photos of the lens board."""
STATIONS = 12
"""Photos of a wing, one a station."""
U_LEAN_DEG = 0.3
CARDS = ("one panel a rib", "two panels on every other rib")
LENSES = ("station cards", "lens board")


@dataclass(frozen=True)
class Chord:
    """A chord angle of one photo read with one lens, degrees. doubtful : it carries a doubt."""

    wing: int
    cards: str
    lens: str
    photo: str
    error: float
    u: float
    doubtful: bool


@dataclass(frozen=True)
class Focal:
    """The focal length that a wing's cards tell: error and u, parts of the truth."""

    wing: int
    cards: str
    error: float
    u: float


@dataclass(frozen=True)
class _Exif:
    focal35_mm: float
    make: str = "Shopcam"
    model: str = "S1"
    lens_model: str | None = None
    focal_mm: float = 4.6
    digital_zoom: float | None = None
    taken: str | None = None
    orientation: int = 1


def camera_of(rng: np.random.Generator) -> Camera:
    """A camera as EXIF leaves it open: focal length, middle and distortion off the guess by a draw of its covariance."""
    f35, size = int(rng.integers(24, 31)), (4000, 3000)
    guess = guess_lens(_Exif(f35), size)
    theta = guess.theta + rng.normal(size=len(guess.axes())) @ guess.axes()
    return Camera(*size, tuple(float(v) for v in theta), focal35_mm=f35)


def wing_scenes(seed: int, camera: Camera, two: bool) -> Iterator[Scene]:
    """One scene a station: string, seats and print off as a job's defaults state them; one print for the wing."""
    rng = np.random.default_rng([seed, 41])
    stretch, skew = float(rng.normal(0, U_STRETCH)), float(rng.normal(0, U_SKEW_DEG))
    for k in range(STATIONS):
        plain = good_scene(seed * 100 + k, "panels" if two and k % 2 else "panel", "plumb", camera, True)
        cards = tuple(replace(c, number=k + 15 * n, stretch=stretch, skew_deg=skew) for n, c in enumerate(plain.cards))
        yield replace(with_shop_errors(plain, rng), cards=cards, label=f"S{k + 1}")


def wing_job(scenes: list[Scene], rng: np.random.Generator, folder: Path) -> Job:
    """The job of all stations, each lean stated with an error of its own."""
    told = [replace(s, lean_deg=s.lean_deg + float(rng.normal(0, U_LEAN_DEG))) for s in scenes]
    stations = tuple(job_for(s, u_lean_deg=U_LEAN_DEG).stations[0] for s in told)
    return Job(Wing("drawn", stations[0].name), stations, folder=folder)


def measure_wing(wing: int, seed: int) -> tuple[list[Chord], Focal | None]:
    """Draw a wing, solve its lens both ways, read every photo with both. None where the cards told no lens."""
    rng = np.random.default_rng([seed + wing, 43])
    camera, two = camera_of(rng), wing % 2 == 1
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "photos").mkdir()
        scenes = list(wing_scenes(seed + wing, camera, two))
        truth = {}
        for k, s in enumerate(scenes):
            bgr, true = draw(s)
            truth[s.label] = true.chord_deg
            taken = f"2026:05:16 09:{k:02d}:00"
            save_jpeg(folder / "photos" / f"{s.label}.jpg", bgr, camera, taken=taken)
        job = wing_job(scenes, rng, folder)
        written = keep_lenses(job, find_photos([folder / "photos"]))
        if not written:
            return [], None
        cards = load_lens(written[0])
        lenses = dict(zip(LENSES, (cards, board_lens(camera, seed + wing, folder)), strict=True))
        found = [
            c
            for path in sorted((folder / "photos").iterdir())
            for c in read_with(path, job, lenses, wing, CARDS[two], truth)
        ]
    f = camera.focal
    u = float(np.sqrt(cards.covariance[0][0]))
    return found, Focal(wing, CARDS[two], (cards.theta[0] - f) / f, u / f)


def read_with(
    path: Path, job: Job, lenses: dict[str, LensProfile], wing: int, cards: str, truth: dict[str, float]
) -> Iterator[Chord]:
    """The chord angle of a photo by each lens, where both give one."""
    readings = {name: read_photo(path, job, lens=lens) for name, lens in lenses.items()}
    for name, r in readings.items():
        q = r.chord.quantity
        if q is None or any(o.chord.quantity is None for o in readings.values()):
            continue
        doubtful = bool(in_doubt((*r.flags, *r.chord.flags)))
        yield Chord(wing, cards, name, path.stem, q.value - truth[path.stem], q.u, doubtful)


def board_lens(camera: Camera, seed: int, folder: Path) -> LensProfile:
    """The profile that twelve drawn photos of the printed chessboard give."""
    place = folder / "boards"
    place.mkdir()
    for k in range(BOARDS):
        save_jpeg(place / f"b{k:02d}.jpg", board_photo(camera, BOARD, seed * 100 + k), camera)
    return calibrate_lens((open_photo(p) for p in sorted(place.iterdir())), BOARD).profile


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
        f"{wings} wings of {STATIONS} photos of 12 megapixels, a camera each; of {wings - len(focals)} the cards told no lens. "
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


@click.command(help=__doc__)
@click.option("--wings", default=24, show_default=True)
@click.option("--seed", default=8_000, show_default=True)
@click.option("--workers", default=1, show_default=True)
@click.option("--keep", type=click.Path(dir_okay=False, path_type=Path), help="Every angle, as JSON.")
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="Markdown.")
def main(wings: int, seed: int, workers: int, keep: Path | None, out: Path | None) -> None:
    """Draw, solve, read, compare, write."""
    import json

    begun = time.perf_counter()
    chords: list[Chord] = []
    focals: list[Focal] = []
    tasks = (delayed(measure_wing)(w, seed) for w in range(wings))
    for k, (found, focal) in enumerate(Parallel(workers, return_as="generator")(tasks)):
        chords += found
        focals += [focal] if focal else []
        click.echo(f"wing {k}: {len(found)} angles, focal length {focal}", err=True)
        if keep is not None:
            write_whole(keep, json.dumps([asdict(c) for c in chords]))
    text = report(chords, focals, wings, (time.perf_counter() - begun) / 60)
    click.echo(text)
    if out is not None:
        write_whole(out, text)


if __name__ == "__main__":
    main()
