"""The chord line among what general line detectors offer, and by this project, on the same photos.

    python benchmarks/detectors.py samples/trainer --drawn 30 --out docs/detectors.md

A detector offers the chord line if one of its ten longest segments has both ends within 4 px of the true line
and turns from it by less than 1 degree; the longest that does counts. Its angle is taken as ours is: the lens
undone, on the rib plane that the photo's cards give, so that only the line differs.

What was done to be fair to them: three settings each, of which the one that did best over all photos (most
offers, then the least median error) stands in the table. Their segments are taken as they come, and once more
with the pieces along one line joined and laid anew through all their ends, work that no detector does by itself.
They look at the whole picture first, as general detectors do; then they are told what the reader knows from
card and job: the strip of the rib plane about the card, the design angle within 18 degrees, and where the
cards' paper lies. Ours has one line to offer, not ten.

Two errors: against the ideal chord line, and (drawn photos only, whose pen is known) against the straight line
that fits the drawn, slowly wavy stroke best. The pen's waviness is in the first, the same for all, and hides
much of what the finders differ by; the second is the finder's own.
"""

from __future__ import annotations

import json
import math
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import click
import numpy as np
from measured import job_of, profile_of
from rich.console import Console
from rich.markdown import Markdown
from segments import DETECTORS, joined, lengths
from shop import PHONE_12, draw
from shop.chance import good_scene
from shop.jobs import job_for, lens_for
from tables import environment, markdown

from calibration.lens.model import Lens
from shared.files import write_whole
from shared.job.model import Job, Station
from shared.numerics.arrays import F64
from vision.cards.detect import Card, find_cards
from vision.cards.stations import name_station
from vision.evidence.views import LEVEL_DEG
from vision.image.photo import Picture, open_photo
from vision.image.rectified import Plane
from vision.lines.chord_line import sheet_plane
from vision.reader import read_photo
from vision.solution.scene import Scene
from vision.solution.solve import Solution, solve, starts

View = Literal["whole picture", "area told"]
VIEWS: tuple[View, ...] = ("whole picture", "area told")
LONGEST = 10
NEAR_PX, NEAR_DEG = 4.0, 1.0
FIRST_SEED = 771_000
OURS = "ribangle"
JOINED = ", joined"
TARGET_FOUND, TARGET_SHARE = 0.97, 1 / 3


@dataclass(frozen=True)
class Case:
    """One photo. ends : (2, 2) true ends of the chord line, trailing edge first, pixels. drawn : what the pen's
    waviness turns the line by, degrees, down to the photo's right positive; NaN where it is not known."""

    name: str
    picture: Picture
    ends: F64
    lens: Lens
    job: Job
    drawn: float = math.nan


@dataclass(frozen=True)
class Try:
    """One way of one detector on one photo. error : degrees on the rib plane, NaN where the chord line was not
    offered. own : against the line as drawn, NaN where that is not known. length : of the offered segment, as a
    part of the true line. seconds : of processor time."""

    detector: str
    way: str
    view: View
    photo: str
    error: float
    own: float
    length: float
    seconds: float
    note: str = ""

    @property
    def offered(self) -> bool:
        """Whether the chord line was among the longest."""
        return not math.isnan(self.error)


@dataclass(frozen=True)
class Ground:
    """The rib plane of a photo, and what card and job tell of where the chord line may be.

    area : (u0, v0, u1, v1) sheet mm. slope_deg : expected slope in the sheet, down to the right. papers :
    (4, 2) sheet mm of each card's sheet.
    """

    plane: Plane
    area: tuple[float, float, float, float]
    slope_deg: float
    papers: tuple[F64, ...]

    def possible(self, segments: F64) -> F64:
        """The segments that lie in the area, not on a card, about as steep as expected."""
        if not len(segments):
            return segments
        uv = self.plane.to_sheet(segments.reshape(-1, 2)).reshape(-1, 2, 2)
        d = uv[:, 1] - uv[:, 0]
        slope = (np.degrees(np.arctan2(d[:, 1], d[:, 0])) + 90) % 180 - 90
        inside = ((uv > self.area[:2]) & (uv < self.area[2:])).all((1, 2))
        middle = uv.mean(1)
        for ring in self.papers:
            lo, hi = ring.min(0), ring.max(0)
            inside &= ~((middle > lo) & (middle < hi)).all(1)
        return segments[inside & (np.abs(slope - self.slope_deg) < LEVEL_DEG)]


def ground_of(case: Case) -> Ground | None:
    """From the cards alone; None when they are not found."""
    cards = find_cards(case.picture.gray)
    named = name_station(cards, case.job)
    if not isinstance(named.station, Station):
        return None
    scene = Scene(case.lens, named.cards, (), None, "detectors", 2.5e-3, "print", 0.1)
    solution = min((solve(scene, s) for s in starts(scene)), key=lambda s: s.cost)
    return _ground(solution, named.cards, named.station)


def _ground(solution: Solution, cards: Sequence[Card], station: Station) -> Ground:
    plane = sheet_plane(solution, tuple(cards))
    papers = tuple(plane.to_sheet(c.at(c.spec.paper())) for c in cards)
    points = np.concatenate(papers)
    (u0, v0), (u1, v1) = points.min(0), points.max(0)
    c = station.chord_mm
    right = float(solution.state.rotation[:, 0] @ plane.along_u) > 0
    area = (float(u0 - c), float(v0 - 0.12 * c), float(u1 + c), float(v1 + 0.12 * c))
    return Ground(plane, area, -station.chord_deg if right else station.chord_deg, papers)


def best_offer(segments: F64, ends: F64, lens: Lens, plane: Plane) -> tuple[float, float]:
    """Angle error (degrees, on the plane) and relative length of the longest segment that offers the true line.

    segments : (n, 4) x1 y1 x2 y2, pixels. ends : (2, 2) of the line, pixels. NaN, NaN where none does.
    """
    true = lens.rays(ends)
    d = true[1] - true[0]
    normal = np.array([-d[1], d[0]]) / np.hypot(*d)
    way = np.diff(plane.to_sheet(ends), axis=0)[0]
    for s in segments[np.argsort(-lengths(segments))[:LONGEST]]:
        off = (lens.rays(s.reshape(2, 2)) - true[0]) @ normal * lens.theta[0]
        seen = np.diff(plane.to_sheet(s.reshape(2, 2)), axis=0)[0]
        turn = math.degrees(math.atan2(way[0] * seen[1] - way[1] * seen[0], float(way @ seen)))
        turn = (turn + 90) % 180 - 90
        if np.abs(off).max() <= NEAR_PX and abs(turn) <= NEAR_DEG:
            return turn, float(np.hypot(*seen) / np.hypot(*way))
    return math.nan, math.nan


def try_photo(case: Case) -> Iterator[Try]:
    """All detectors in all their ways, and this project, on one photo."""
    ground = ground_of(case)
    if ground is None:
        raise click.ClickException(f"{case.name}: its cards were not found; nothing can be compared on it")
    gray = case.picture.gray
    for detector, settings in DETECTORS.items():
        for setting, find in settings.items():
            start = time.process_time()
            pieces = find(gray)
            spent = time.process_time() - start
            for view in VIEWS:
                some = pieces if view == "whole picture" else ground.possible(pieces)
                start = time.process_time()
                whole = joined(some, gray.shape[1])
                more = time.process_time() - start
                for way, segments, seconds in (
                    (setting, some, spent),
                    (setting + JOINED, whole, spent + more),
                ):
                    error, length = best_offer(segments, case.ends, case.lens, ground.plane)
                    yield Try(detector, way, view, case.name, error, error - case.drawn, length, seconds)
    start = time.process_time()
    reading = read_photo(case.picture, case.job, lens=case.lens)
    seconds = time.process_time() - start
    lines = reading.evidence.lines if reading.evidence else ()
    paths = [[*s.path[0], *s.path[-1]] for s in lines if s.role == "chord" and s.used]
    ours = np.array(paths, np.float64).reshape(-1, 4)
    error, length = best_offer(ours, case.ends, case.lens, ground.plane)
    note = reading.chord.reason or ", ".join(sorted({f.code for f in (*reading.flags, *reading.chord.flags)}))
    if len(ours) and math.isnan(error):
        note = f"another line was measured; {note}"
    for view in VIEWS:
        yield Try(OURS, "", view, case.name, error, error - case.drawn, length, seconds, note)


def photos(folders: tuple[Path, ...], drawn: int, seed: int) -> Iterator[Case]:
    """Every photo with what is true of it. Drawn ones take turns between cards and level references."""
    for folder in folders:
        profile, job = profile_of(folder), job_of(folder)
        truths = json.loads((folder / "truth.json").read_text())
        place = folder / ("photos" if (folder / "photos").is_dir() else "stations")
        for name, t in truths.get("photos", truths).items():
            path = place / f"{name}.jpg"
            if path.exists():
                ends = np.array([t["te_px"], t["le_px"]])
                yield Case(f"{folder.name}/{name}", open_photo(path), ends, profile.lens, job)
    kinds = (("panel", "plumb"), ("strip", "plumb"), ("panels", "plumb"), ("strips", "plumb"), ("panel", "laser"))
    for k in range(drawn):
        cards, level = kinds[k % len(kinds)]
        scene = good_scene(seed + k, cards, level, PHONE_12)  # type: ignore[arg-type]
        bgr, truth = draw(scene)
        turn = truth.drawn_turn_deg if truth.forward == "left" else -truth.drawn_turn_deg
        yield Case(
            f"drawn {seed + k}", Picture.from_array(bgr), truth.chord_px, lens_for(PHONE_12), job_for(scene), turn
        )


def best_way(found: Sequence[Try], detector: str, view: View, join: bool = False) -> list[Try]:
    """The tries of the way that offers the line most often, then with the least median error."""
    mine = [t for t in found if t.detector == detector and t.view == view and t.way.endswith(JOINED) == join]
    by_way = [[t for t in mine if t.way == w] for w in dict.fromkeys(t.way for t in mine)]

    def merit(tries: list[Try]) -> tuple[int, float]:
        errors = [abs(t.error) for t in tries if t.offered]
        return len(errors), -float(np.median(errors)) if errors else -math.inf

    return max(by_way, key=merit)


def _share(theirs: Sequence[Try], ours: dict[str, Try], own: bool) -> float:
    """Our median error over theirs, on the photos where both have one; NaN where there is none."""

    def value(t: Try) -> float:
        return abs(t.own if own else t.error)

    both = [t for t in theirs if math.isfinite(value(t)) and math.isfinite(value(ours[t.photo]))]
    if not both:
        return math.nan
    return float(np.median([value(ours[t.photo]) for t in both]) / np.median([value(t) for t in both]))


def _number(values: Sequence[float], quantile: float = 0.5, digits: int = 4) -> str:
    seen = [abs(v) for v in values if math.isfinite(v)]
    return f"{np.quantile(seen, quantile):.{digits}f}" if seen else "-"


def table(found: Sequence[Try], view: View) -> str:
    """One row a detector, as it comes and joined. The last columns hold our median error against its own, on the
    photos where both offer the line."""
    ours = {t.photo: t for t in found if t.detector == OURS and t.view == view}
    rows = []
    for detector, join in (*((d, j) for j in (False, True) for d in DETECTORS), (OURS, False)):
        some = best_way(found, detector, view, join)
        hit = [t for t in some if t.offered]
        shares = ["-", "-"] if detector == OURS else [f"{_share(hit, ours, own):.2f}" for own in (False, True)]
        rows.append(
            (
                detector,
                some[0].way or "as it is",
                f"{len(hit)} of {len(some)}",
                f"{100 * len(hit) / len(some):.0f} %",
                _number([t.error for t in hit]),
                _number([t.error for t in hit], 0.95),
                _number([t.own for t in hit]),
                _number([t.own for t in hit], 0.95),
                _number([t.length for t in hit], digits=2),
                *shares,
                _number([t.seconds for t in some], digits=1),
            )
        )
    head = (
        "detector",
        "best way",
        "offers the chord line",
        "share",
        "median \\|e\\|",
        "95 % \\|e\\|",
        "median \\|own e\\|",
        "95 % \\|own e\\|",
        "length",
        "ours / its",
        "own: ours / its",
        "seconds",
    )
    return markdown(head, rows)


def all_ways(found: Sequence[Try]) -> str:
    """How often each way of each detector offered the line, and its median error."""
    rows = []
    for detector in DETECTORS:
        for way in dict.fromkeys(t.way for t in found if t.detector == detector):
            cells = []
            for view in VIEWS:
                tries = [t for t in found if (t.detector, t.way, t.view) == (detector, way, view)]
                hit = [t.error for t in tries if t.offered]
                cells += [str(len(hit)), _number(hit)]
            rows.append((detector, way, *cells))
    return markdown(("detector", "way", "whole picture", "median \\|e\\|", "area told", "median \\|e\\|"), rows)


def verdict(found: Sequence[Try]) -> str:
    """Both targets, each way they can be taken, and the photos that were missed."""
    ours = {t.photo: t for t in found if t.detector == OURS and t.view == VIEWS[0]}
    hit = [t for t in ours.values() if t.offered]
    lines = [
        f"- Found in at least 97 % of these photos: {_said(len(hit) >= TARGET_FOUND * len(ours))}, "
        f"{100 * len(hit) / len(ours):.1f} %."
    ]
    for join in (False, True):
        for own in (False, True):
            shares = [
                _share([t for t in best_way(found, d, v, join) if t.offered], ours, own)
                for d in DETECTORS
                for v in VIEWS
            ]
            shares = [s for s in shares if math.isfinite(s)]
            if shares:
                lines.append(
                    f"- At most a third of every detector's median error, segments "
                    f"{'joined' if join else 'as they come'}, {'own errors' if own else 'all errors'}: "
                    f"{_said(max(shares) <= TARGET_SHARE)}, {min(shares):.2f} to {max(shares):.2f}."
                )
    missed = [f"- {t.photo}: {t.note or 'no line'}" for t in ours.values() if not t.offered]
    return "\n".join(
        [*lines, "", f"Photos in which ribangle does not measure the true line: {len(missed) or 'none'}.", "", *missed]
    )


def _said(reached: bool) -> str:
    return "reached" if reached else "not reached"


def report(found: Sequence[Try], command: str) -> str:
    """The page."""
    doc = (__doc__ or "").split("\n\n", 2)
    names = dict.fromkeys(t.photo for t in found)
    sets: dict[str, int] = {}
    for n in names:
        key = n.split("/")[0] if "/" in n else "drawn"
        sets[key] = sets.get(key, 0) + 1
    return "\n".join(
        [
            "# Line detectors",
            "",
            doc[0],
            "",
            f"Made by `{command}`; {environment()}.",
            "",
            f"{len(names)} photos: "
            + ", ".join(f"{k} {v}" for k, v in sets.items())
            + " (drawn: by `benchmarks/shop`, seeds "
            "used for nothing else; the rest ray-traced).",
            "",
            doc[2].strip(),
            "",
            "Errors in degrees. Length: of the offered segment, as a part of the true line. Seconds: processor time of all "
            "threads, median a photo; for ribangle the whole reading, card to angle.",
            "",
            "## Looking at the whole picture",
            "",
            table(found, "whole picture"),
            "",
            "## Told where to look",
            "",
            table(found, "area told"),
            "",
            "## What was asked",
            "",
            verdict(found),
            "",
            "## Every way that was tried",
            "",
            f"How many of the {len(names)} photos, and the median error.",
            "",
            all_ways(found),
            "",
        ]
    )


@click.command(help=__doc__)
@click.argument("folders", nargs=-1, type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("--drawn", default=0, show_default=True, help="Drawn photos beside the folders.")
@click.option("--seed", default=FIRST_SEED, show_default=True, help="First seed of the drawn photos.")
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="Markdown file to write.")
def main(folders: tuple[Path, ...], drawn: int, seed: int, out: Path | None) -> None:
    """Try, print, write."""
    console = Console(width=150)
    found: list[Try] = []
    for case in photos(folders, drawn, seed):
        some = list(try_photo(case))
        found += some
        us = some[-1]
        counts = {d: sum(t.offered for t in some if t.detector == d and t.view == VIEWS[0]) for d in DETECTORS}
        console.print(
            f"{case.name:16} ours {us.error:+.4f} deg; ways that offer it: {list(counts.values())} {us.note}",
            highlight=False,
        )
    if not found:
        raise click.UsageError("nothing to look at: give folders with truth.json, or --drawn N")
    command = " ".join(["python benchmarks/detectors.py", *(f.name for f in folders), f"--drawn {drawn} --seed {seed}"])
    text = report(found, command)
    console.print(Markdown(text))
    if out:
        write_whole(out, text)


if __name__ == "__main__":
    main()
