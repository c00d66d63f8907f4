"""How well the planned U foretells the U of the photo then taken.

    python benchmarks/planned.py --drawn 12 --truth FOLDER --out docs/planning-accuracy.md

Three plans are held against each reading. "Known" is told all of the set-up, where the camera stood and
looked too. "Stated" is told what a builder can say, and what `ribangle plan` asks for: the camera, how much of the
picture the rib fills, the cards, where the string hangs and how far from it the lens stands. "Not told" does not know
where the lens stands (Enter to the question): it gives the middle of what hands do, and the range of nine hands in ten;
the last column says how often the photo's U lay in that range. Photos are taken by the plan's own rules in none of these
sets: drawn ones (`benchmarks/shop`) look up to 12 degrees askew with the string anywhere along the middle 60 % of the
chord, ray-traced ones up to 14 degrees. FOLDER holds `truth.json`, a job (`*.toml`) and photos of the same making, with
the shots' parameters in it.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import click
import numpy as np
from joblib import Parallel, delayed
from measured import job_of, profile_of
from rich.console import Console
from rich.markdown import Markdown
from shop import PHONE_12, draw
from shop.chance import good_scene
from shop.jobs import job_for, lens_for
from shop.scene import Scene
from tables import environment

from calibration.lens.model import Lens
from rigging.planning.plan import PhotoSetup, expect
from rigging.planning.scene import PlacedCard, SeeingNoise, SetUp, Viewpoint, imagine
from shared.cards import CardKind
from shared.files import write_whole
from shared.job.model import Job, Station
from vision.reader import read_photo
from vision.solution.propagate import angles
from vision.solution.solve import solve

CLASSES = ("panel", "strip", "panels", "strips", "laser")


@dataclass(frozen=True)
class Shot:
    """What is told of one photo, mirrored so that the leading edge points right."""

    cards: tuple[PlacedCard, ...]
    view: Viewpoint
    fill: float
    string_mm: float | None
    gap_mm: float
    level_mm: float | None


@dataclass(frozen=True)
class Held:
    """One plan against one reading: U in degrees, and the ratios planned over achieved."""

    photo: str
    achieved: float
    known: float
    stated: float
    beforehand: float
    low: float
    high: float

    @property
    def within(self) -> bool:
        """Whether the photo's U lies in the range of nine hands in ten."""
        return self.low <= self.achieved <= self.high


def hold(name: str, job: Job, station: Station, lens: Lens, shot: Shot, achieved: float) -> Held:
    """Both plans for a photo whose reading carried U `achieved`."""
    lean = station.u_lean_deg or job.wing.u_lean_deg or 0.5
    setup = SetUp(
        lens, station.chord_mm, shot.cards, shot.view, () if shot.string_mm is None else (shot.string_mm,),
        shot.gap_mm, shot.level_mm, 0.0, lean, job.level.u_deg, station.spar_at, station.chord_deg, SeeingNoise(),
    )  # fmt: skip
    known = angles(solve(*imagine(setup), max_rounds=0)).chord
    choice = PhotoSetup(
        fill=shot.fill, cards=len(shot.cards), level_line=shot.string_mm is None,
        string_at=abs(shot.string_mm or 0.0) / station.chord_mm,
    )  # fmt: skip
    rib = replace(station, card=shot.cards[0].kind)
    foot = shot.view.aim[0] + shot.view.distance_mm * math.sin(math.radians(shot.view.yaw_deg))
    aside = None if shot.string_mm is None else abs(foot - shot.string_mm) / station.chord_mm
    stated = expect(job, rib, lens, replace(choice, aside=aside), SeeingNoise())
    before = expect(job, rib, lens, choice, SeeingNoise())
    assert known is not None
    return Held(name, achieved, known.U, stated.chord, before.chord, *before.chord_range)


def drawn(kind: str, seed: int) -> list[Held]:
    """Draw a photo of a class, read it, hold the plans against it."""
    cards = "panel" if kind == "laser" else kind
    scene = good_scene(seed, cards, "laser" if kind == "laser" else "plumb", PHONE_12)  # type: ignore[arg-type]
    job = job_for(scene, u_lean_deg=0.5)
    lens = lens_for(scene.camera, np.random.default_rng(seed))
    got = read_photo(draw(scene)[0], job, lens=lens).chord.quantity
    return [] if got is None else [hold(f"{kind} {seed}", job, job.stations[0], lens, of_scene(scene), got.U)]


def of_scene(s: Scene) -> Shot:
    """What a drawn scene tells."""
    f, string = s.forward, s.strings[0] if s.strings else None
    return Shot(
        tuple(PlacedCard(CardKind.of(c.kind), c.at, c.turn_deg) for c in s.cards),
        Viewpoint(s.camera.focal * s.chord_mm / (s.fill * s.camera.width), f * s.yaw_deg, s.pitch_deg,
             f * s.roll_deg, (f * s.aim[0], s.aim[1])),
        s.fill, None if string is None else f * string.x_mm, 20.0 if string is None else string.gap_mm,
        s.laser.z_mm if s.laser else None,
    )  # fmt: skip


def of_truth(shot: dict[str, Any], focal: float, width: int) -> Shot:
    """What the truth of a rendered photo tells."""
    f, chord = shot["forward"], shot["chord_mm"]
    placed = [PlacedCard(CardKind.of(k), at, turn) for k, _, at, turn in shot.get("more_cards", ())]
    if shot.get("card", -1) >= 0:
        placed.append(PlacedCard(CardKind.of(shot["card_kind"]), 0.47, shot["card_turn_deg"]))
    view = Viewpoint(focal * chord / (shot["fill"] * width), f * shot["yaw_deg"], shot["pitch_deg"],
                f * shot["roll_deg"], (f * shot["aim"][0], shot["aim"][1]))  # fmt: skip
    plumb = shot["level"] == "plumb"
    return Shot(tuple(placed), view, shot["fill"], f * shot["plumb_x"] if plumb else None, shot["plumb_gap"],
                None if plumb else shot["laser_z"])  # fmt: skip


def rendered(folder: Path) -> Iterator[tuple[Job, Station, Lens, Shot, Path]]:
    """The photos of a folder with truth that stand plumb and carry a string or a level line."""
    job, profile = job_of(folder), profile_of(folder)
    truth = json.loads((folder / "truth.json").read_text("utf-8"))
    for entry in truth.values():
        if "shot" not in entry:
            continue
        shot = entry["shot"]
        path = folder / entry.get("file", f"stations/{shot['name']}.jpg")
        plain = shot["level"] in ("plumb", "laser") and not shot["lean_deg"] and not shot.get("card_bow_deg")
        if not plain or not path.exists():
            continue
        told = of_truth(shot, profile.theta[0], profile.width)
        yield job, job.station(entry["station"]), profile.lens, told, path


def one(job: Job, station: Station, lens: Lens, shot: Shot, path: Path) -> list[Held]:
    """Read a rendered photo and hold the plans against it."""
    got = read_photo(path, job, lens=profile_of(path.parents[1])).chord.quantity
    return [] if got is None else [hold(path.stem, job, station, lens, shot, got.U)]


def table(groups: dict[str, list[Held]]) -> str:
    """Median and 90th percentile of |planned U / achieved U - 1|, as Markdown."""
    plans = ("known", "stated", "beforehand")
    heads = " | ".join(f"{p}: median | 90 %" for p in ("known", "stated", "not told"))
    rows = [
        f"| photos | n | achieved U, median | {heads} | in range |",
        "|---|--:|--:|" + "--:|" * (2 * len(plans) + 1),
    ]
    for name, held in groups.items():
        if not held:
            continue
        off = [np.abs([getattr(h, p) / h.achieved - 1 for h in held]) for p in plans]
        cells = " | ".join(f"{np.median(o):.2f} | {np.quantile(o, 0.9):.2f}" for o in off)
        inside = sum(h.within for h in held)
        middle = np.median([h.achieved for h in held])
        rows.append(f"| {name} | {len(held)} | {middle:.3f}° | {cells} | {100 * inside / len(held):.0f} % |")
    return "\n".join(rows)


@click.command(help=__doc__)
@click.option("--drawn", "count", default=4, show_default=True, help="Drawn photos of each class.")
@click.option("--truth", "folders", multiple=True, type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("--workers", default=1, show_default=True)
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="Markdown file to write.")
def main(count: int, folders: tuple[Path, ...], workers: int, out: Path | None) -> None:
    pool = Parallel(n_jobs=workers)
    groups: dict[str, list[Held]] = {}
    for kind in CLASSES:
        got = pool(delayed(drawn)(kind, 500 + k) for k in range(count))
        groups[f"drawn: {kind}"] = [h for held in got for h in held]
    for folder in folders:
        got = pool(delayed(one)(*photo) for photo in rendered(folder))
        groups[f"ray-traced: {folder.name}"] = [h for held in got for h in held]
    traced = [h for name, held in groups.items() if name.startswith("ray-traced") for h in held]
    groups["**all ray-traced**"] = traced
    groups["**all**"] = [h for name, held in groups.items() if "*" not in name for h in held]
    what = (__doc__ or "").split("\n\n")[2]
    text = f"# Planned against achieved U\n\n{what}\n\n{table(groups)}\n\n{environment()}\n"
    Console().print(Markdown(text))
    for h in groups["**all**"]:
        print(
            f"{h.photo:16s} achieved {h.achieved:.3f} known {h.known:.3f} stated {h.stated:.3f} beforehand "
            f"{h.beforehand:.3f} ({h.low:.3f} to {h.high:.3f})"
        )
    if out:
        write_whole(out, text)


if __name__ == "__main__":
    main()
