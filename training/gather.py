"""Harvest labelled strips: python -m training.gather OUT [--wings FOLDER...] [--again N] [--drawn FIRST COUNT] [--processes P]

From ray-traced wings (`training.scenes`), each photo as it is and developed again N times (`redeveloped`), and from photos of
the drawn simulator, drawn here by chance: two good scenes to one of the decoys. Each photo becomes one .npz; what is there
already is left alone.
"""

from __future__ import annotations

import argparse
import json
import os
import zlib
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

import cv2
import numpy as np

from calibration.lens.model import Lens
from calibration.print.profile import KnownPrint
from shared.job.file import load_job
from shared.job.model import Job
from shared.numerics.arrays import F64
from shared.reading import Photo
from training.harvest import Harvest, harvest, harvest_behind, together
from training.labels import TrueLine
from training.redeveloped import by_chance, developed, scaled_lens, scaled_lines
from vision.cards.detect import find_cards
from vision.cards.print_choice import print_of
from vision.image.photo import Picture, open_photo
from vision.image.rectified import Plane
from vision.lines.chord_line import sheet_plane
from vision.rib_scene import plane_only
from vision.solution.lens_choice import choose_lens

SMALL = (0.6, 1.3)
"""Sizes of small photos, 1 being three megapixels, and the longest chord in one of that size."""
LONGEST_MM = 1300.0
LASERS = 0.3
"""Share of the drawn photos with a laser instead of a string."""
DRAWN_PHONES = 900
"""Numbers of the drawn photos' phones begin here: one for each last two digits of the seed."""
CARDS: tuple[Literal["panel", "strip", "panels", "strips"], ...] = ("panel", "panel", "strip", "panels", "strips")


def taken(
    picture: Picture, job: Job, station: str, lens: Lens | None, lines: list[TrueLine], forward_right: bool, seed: int
) -> Harvest | None:
    """The strips of one photo's foremost rib; None where its cards or lens are of no use."""
    at = placed(picture, job, station, lens)
    if at is None:
        return None
    rng = np.random.default_rng(seed)
    return harvest(picture, *at, job.station(station).chord_mm, forward_right, lines, rng)


def taken_behind(
    picture: Picture, job: Job, station: str, lens: Lens | None, lines: list[TrueLine], forward_right: bool
) -> Harvest | None:
    """The same of a rib behind. lines : as they are to that rib."""
    at = placed(picture, job, station, lens)
    return None if at is None else harvest_behind(picture, *at, job.station(station).chord_mm, forward_right, lines)


def placed(
    picture: Picture, job: Job, station: str, lens: Lens | None
) -> tuple[Plane, list[F64], list[F64], float] | None:
    """A station's plane, the paper (4, 2) sheet mm of its cards and of all others, pixels a mm."""
    found = find_cards(picture.gray, picture.half())
    cards = tuple(c for c in found if c.number in job.station(station).cards)
    lens = lens or choose_lens(None, job, picture).lens
    if not cards or lens is None:
        return None
    photo = Photo(picture.name, picture.sha256, picture.width, picture.height, None, None)
    prints: KnownPrint = print_of(job)
    solved = plane_only(cards, lens, prints, photo)
    if not solved:
        return None
    plane = sheet_plane(solved[0], cards)
    papers = [plane.to_sheet(c.at(c.spec.paper())) for c in cards]
    others = [plane.to_sheet(c.at(c.spec.paper())) for c in found if c not in cards]
    return plane, papers, others, float(np.median([c.px_per_mm for c in cards]))


@lru_cache(maxsize=4)
def wing_job(folder: Path) -> Job:
    """A wing's job file."""
    return load_job(folder / "job.toml")


@dataclass(frozen=True)
class RibThere:
    """A rib in a photo. number : of the lines' records, 0 the foremost. right : whether its leading edge points right."""

    number: int
    station: str
    right: bool


def ribs_of(record: dict[str, Any], job: Job) -> list[RibThere]:
    """The ribs of a photo that are stations of the job, the foremost first."""
    ribs = [RibThere(0, str(record["station"]), record["forward"] == "right")]
    ribs += [RibThere(int(b["rib"]), str(b["station"]), b["forward"] == "right") for b in record.get("behind") or ()]
    return [r for r in ribs if r.number == 0 or any(s.name == r.station for s in job.stations)]


def traced(out: Path, folder: Path, name: str, record: dict[str, Any], again: int) -> str:
    """Harvest one ray-traced photo. again : 0 as it is, else the number of its development."""
    target = out / f"{folder.parent.name}-{folder.name}-{name}{f'-{again}' if again else ''}.npz"
    if target.exists():
        return ""
    try:
        path, job = folder / "stations" / f"{name}.jpg", wing_job(folder)
        picture, lens = open_photo(path), None
        ribs = ribs_of(record, job)
        known = [[TrueLine.of(r, rib.number) for r in record["lines"]] for rib in ribs]
        if again:
            picture, lens, known = another(picture, path, job, known, again)
        got = taken(picture, job, ribs[0].station, lens, known[0], ribs[0].right, len(name) + again)
        if got is not None:
            further = [
                taken_behind(picture, job, rib.station, lens, lines, rib.right)
                for rib, lines in zip(ribs[1:], known[1:], strict=True)
            ]
            got = together([got, *(f for f in further if f is not None)])
    except Exception as error:
        return f"{target.name}: {type(error).__name__}: {error}"
    if got is None:
        return f"{target.name}: no cards"
    keep(target, got, f"{folder.name}/{name}", int("".join(c for c in str(record["phone"]) if c.isdigit()) or 0))
    return ""


def another(
    picture: Picture, path: Path, job: Job, known: list[list[TrueLine]], again: int
) -> tuple[Picture, Lens | None, list[list[TrueLine]]]:
    """The photo developed again, its lens and its lines as they are to each rib."""
    rng = np.random.default_rng([zlib.crc32(str(path.relative_to(path.parents[2])).encode()), again])
    lens = choose_lens(None, job, picture).lens
    bgr = cv2.imread(str(path), cv2.IMREAD_COLOR)
    assert bgr is not None
    how = by_chance(rng, picture.width)
    kept = developed(np.asarray(bgr, np.uint8), how, rng)
    factor = kept.shape[1] / bgr.shape[1]
    if lens is not None:
        lens = scaled_lens(lens, (kept.shape[1], kept.shape[0]), factor)
    return Picture.from_array(kept, path.stem), lens, [scaled_lines(lines, factor) for lines in known]


def drawn(out: Path, seed: int) -> str:
    """Draw and harvest one photo of the drawn simulator."""
    from shop import PHONE, PHONE_12, draw
    from shop.chance import good_scene, with_shop_errors
    from shop.decoys import makers
    from shop.jobs import job_for, lens_for

    from training.drawn import lines_of

    target = out / f"drawn-{seed}.npz"
    if target.exists():
        return ""
    rng = np.random.default_rng([seed, 41])
    kind = CARDS[seed % len(CARDS)]
    level: Literal["laser", "plumb"] = "laser" if rng.random() < LASERS else "plumb"
    small = seed % 5 >= 3
    size = float(rng.uniform(*SMALL)) if small else 1.0
    camera = PHONE.scaled(size) if small else PHONE_12
    tries = (good_scene(seed + 1_000_003 * k, kind, level, camera, bool(seed % 3 == 1)) for k in range(1000))
    scene = next(s for s in tries if not small or s.chord_mm < size * LONGEST_MM)
    if seed % 3 == 2:
        kinds = makers()
        name = sorted(kinds)[int(rng.integers(len(kinds)))]
        scene = kinds[name][1](good_scene(seed, "panel", camera=PHONE_12), rng)
    scene = with_shop_errors(replace(scene, blur_px=float(rng.uniform(0.5, 1.4))), rng)
    try:
        bgr, truth = draw(scene)
        job = job_for(scene)
        picture = Picture.from_array(bgr)
        lines = [TrueLine.of(r) for r in lines_of(scene)]
        got = taken(picture, job, scene.label, lens_for(scene.camera, rng), lines, truth.forward == "right", seed)
    except Exception as error:
        return f"{target.name}: {type(error).__name__}: {error}"
    if got is None:
        return f"{target.name}: no cards"
    keep(target, got, f"drawn/{seed}", DRAWN_PHONES + seed % 100)
    return ""


def keep(target: Path, got: Harvest, name: str, phone: int) -> None:
    """Write one photo's strips, whole or not at all."""
    part = target.with_suffix(".part")
    with part.open("wb") as file:
        np.savez(
            file,
            strips=got.strips,
            family=got.family,
            kinds=got.kinds,
            seen=got.seen,
            gain=got.gain,
            rank=got.rank,
            name=np.array(name),
            phone=np.array(phone),
        )
    part.replace(target)


def tasks(a: argparse.Namespace) -> Iterator[tuple[object, ...]]:
    """What there is to do."""
    for base in a.wings or []:
        for truth in sorted(base.glob("*/truth.json")):
            for name, record in json.loads(truth.read_text()).items():
                for again in range(a.again + 1):
                    yield traced, a.out, truth.parent, name, record, again
    first, count = a.drawn
    for seed in range(first, first + count):
        yield drawn, a.out, seed


def run(task: tuple[object, ...]) -> str:
    """Do one task."""
    return str(task[0](*task[1:]))  # type: ignore[operator]


def main() -> None:
    """Command line."""
    p = argparse.ArgumentParser(description=__doc__)
    p.add_argument("out", type=Path)
    p.add_argument("--wings", type=Path, nargs="*")
    p.add_argument("--again", type=int, default=0, help="times that a ray-traced photo is developed anew")
    p.add_argument("--drawn", type=int, nargs=2, default=(0, 0), metavar=("FIRST", "COUNT"))
    p.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    a = p.parse_args()
    a.out.mkdir(parents=True, exist_ok=True)
    done = 0
    with ProcessPoolExecutor(a.processes, initializer=cv2.setNumThreads, initargs=(1,)) as pool:
        for said in pool.map(run, tasks(a), chunksize=2):
            done += 1
            if said:
                print(said, flush=True)
    print(f"{done} photos, {len(list(a.out.glob('*.npz')))} harvested", flush=True)


if __name__ == "__main__":
    main()
