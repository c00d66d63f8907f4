"""How right are lengths and angles in a plane? Drawn places with every error drawn as it is stated, read, by kind.

    python benchmarks/distances.py --photos 60 --seed 700000 --out docs/distances-accuracy.md

Each photo shows one of every kind: two printed marks and two pen crosses far apart, a mark beside a line, the joint of two skins
with a step and a gap, two lines, and, in views with the card's arrow up the photo, a sweep. Features are pointed at with a
hand's error of 4 pixels. What is drawn from its stated uncertainty: the lens profile, the print's scale, stretch and corners,
how flat the card lies, how far off its plane each mark and end of a line lies, the pen's waviness, the camera's tone curve.
"""

from __future__ import annotations

import math
import time
from pathlib import Path

import click
import numpy as np
from joblib import Parallel, delayed
from pulls import Pull, stats
from shop.flat import Flat, draw_flat
from shop.flat_chance import Place, PrintError, place_of
from shop.jobs import lens_for
from tables import environment, markdown

from calibration.print.profile import PAGE_TO_PAGE
from shared.dimensions import Dimension, Kind, parse_feature
from shared.files import write_whole
from shared.flags import in_doubt
from shared.job.model import CardPrint, Job, Station, Wing
from shared.job.named import Place as Face
from shared.reading import Measured
from vision.lines.hints import Pointed
from vision.reader import read_photo

U_SCALE, U_STRETCH, U_SKEW_DEG = 3e-4, 5e-4, 0.02
POINTING_PX = 4.0
ASKED = {
    "distance, printed marks": (Kind.DISTANCE, "mark a", "mark b"),
    "distance, pen crosses": (Kind.DISTANCE, "mark d", "mark e"),
    "offset": (Kind.OFFSET, "line datum", "mark c"),
    "step": (Kind.STEP, "edge fixed", "edge free"),
    "gap": (Kind.GAP, "edge fixed side", "edge free side"),
    "angle": (Kind.ANGLE, "line datum", "line other"),
    "sweep": (Kind.SWEEP, "mark a to mark b", "line datum"),
}


def job_of(place: Place) -> Job:
    """A job that asks for the place's dimensions."""
    cards = tuple(c.number for c in place.scene.look.cards)
    dimensions = tuple(
        Dimension(
            name,
            kind,
            "bench",
            cards,
            "centre",
            (parse_feature(a), parse_feature(b)),
            None,
            None,
            place.scene.u_depth_mm,
        )
        for name, (kind, a, b) in ASKED.items()
        if name in place.truth
    )
    root = Station("R1", "right", 0.0, 1000.0, (), 0.0, 0.25)
    prints = CardPrint(1.0, U_SCALE, 0.0, U_STRETCH, 0.0, U_SKEW_DEG)
    return Job(
        Wing("bench", "R1"),
        (root,),
        prints=prints,
        dimensions=dimensions,
        places=(Face("bench", "centre", 0.0, cards),),
    )


def hints_of(place: Place, photo: Flat, rng: np.random.Generator) -> tuple[Pointed, ...]:
    """What a person points at, by a hand that errs."""
    out = []
    for text, points in place.pointed.items():
        what, _, name = text.partition(" ")
        px = photo.pixels(points, place.scene.look) + POINTING_PX * rng.standard_normal((len(points), 2))
        out.append(Pointed(what, name, tuple((float(x), float(y)) for x, y in px)))
    return tuple(out)


def read_one(seed: int) -> tuple[Place, Flat, tuple[Measured, ...], float]:
    """A place drawn and read, with every error drawn from its stated uncertainty."""
    rng = np.random.default_rng([seed, 79])
    scale = math.hypot(U_SCALE, PAGE_TO_PAGE) * rng.standard_normal()
    stretch = math.hypot(U_STRETCH, PAGE_TO_PAGE) * rng.standard_normal()
    skew = math.hypot(U_SKEW_DEG, math.degrees(PAGE_TO_PAGE)) * rng.standard_normal()
    place = place_of(seed, PrintError(scale, stretch, skew), 0.1 * rng.standard_normal(), strip=seed % 4 == 3)
    photo = draw_flat(place.scene)
    start = time.perf_counter()
    reading = read_photo(
        photo.bgr, job_of(place), lens=lens_for(place.scene.look.camera, rng), hints=hints_of(place, photo, rng)
    )
    return place, photo, reading.dimensions, time.perf_counter() - start


def pulls_of(seed: int) -> list[Pull]:
    """Every dimension's error beside its u."""
    place, _, measured, _ = read_one(seed)
    card = place.scene.look.cards[0].kind
    out = []
    seen = {m.name: m for m in measured}
    for name, true in place.truth.items():
        m = seen.get(name)
        if m is None or m.quantity is None:
            out.append(Pull(name, (card, str(seed)), 0.0, 1.0, (), m.reason if m else "the card was not found"))
            continue
        flags = tuple(f.code for f in in_doubt(m.flags))
        out.append(Pull(name, (card, str(seed), f"{true:.3f}"), m.quantity.value - true, m.quantity.u, flags))
    return out


def row(name: str, pulls: list[Pull]) -> tuple[str, ...]:
    """One kind's figures."""
    given = [p for p in pulls if not p.refused]
    plain = [p for p in given if not p.flags]
    unit = "deg" if name in ("angle", "sweep") else "mm"
    if len(plain) < 2:
        return (name, str(len(pulls)), str(len(pulls) - len(given)), str(len(given) - len(plain)), *["-"] * 6)
    s = stats(plain)
    size = [abs(p.error) for p in plain]
    part = [abs(p.error) / max(abs(float(p.classes[2])), 1e-9) for p in plain]
    worst = max(plain, key=lambda p: abs(p.pull))
    return (
        f"{name}, {unit}",
        str(len(pulls)),
        str(len(pulls) - len(given)),
        str(len(given) - len(plain)),
        f"{np.median(size):.3f}",
        f"{100 * np.median(part):.3f} %" if name.startswith("distance") else "-",
        f"{np.quantile(size, 0.95):.3f}",
        f"{np.median([2 * p.u for p in plain]):.3f}",
        f"{100 * s.coverage:.0f} % ({100 * s.low:.0f} to {100 * s.high:.0f})",
        f"{s.sd:.2f}",
        f"{abs(worst.pull):.1f} u",
        str(sum(p.wrong for p in plain)),
    )


HEAD = (
    "kind", "n", "refused", "flagged", "median error", "of the length", "95 % within", "median U", "U covers", "sd of error / u",
    "worst", "beyond 3 u unflagged",
)  # fmt: skip


@click.command(help=__doc__)
@click.option("--photos", default=60, show_default=True)
@click.option("--seed", default=700_000, show_default=True)
@click.option("--workers", default=1, show_default=True)
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--worst", default=0, show_default=True, help="Show so many of the worst.")
def main(photos: int, seed: int, workers: int, out: Path | None, worst: int) -> None:
    """Draw, read, compare, print, write."""
    found = [p for each in Parallel(workers)(delayed(pulls_of)(seed + k) for k in range(photos)) for p in each]
    rows = [row(name, [p for p in found if p.what == name]) for name in ASKED]
    text = "\n".join(
        (
            "# Distances: how right they are",
            "",
            f"{photos} drawn photos, seeds from {seed}; `python benchmarks/distances.py --photos {photos} --seed {seed}`. Every "
            "error is drawn as it is stated; see [distances](distances.md).",
            "",
            markdown(HEAD, rows),
            "",
            environment(),
            "",
        )
    )
    click.echo(text)
    for p in sorted((p for p in found if not p.refused), key=lambda p: -abs(p.pull))[:worst]:
        click.echo(f"{p.what} {p.classes} error {p.error:.3f} u {p.u:.3f} pull {p.pull:.2f} {p.flags}")
    reasons: dict[str, int] = {}
    for p in found:
        if p.reason:
            reasons[f"{p.what}: {p.reason}"] = reasons.get(f"{p.what}: {p.reason}", 0) + 1
    for reason, count in sorted(reasons.items(), key=lambda r: -r[1]):
        click.echo(f"{count} x {reason}")
    if out is not None:
        write_whole(out, text)


if __name__ == "__main__":
    main()
