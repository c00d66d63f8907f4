"""Named lines on ray-traced photos: lines that builders drew on the foremost rib, given names in the job.

    python -m training.scenes OUT --seed 990000 --wings 3 --only waterlines,... && python benchmarks/named_traced.py OUT/w00 ...

Each spar line and each pencilled waterline or second line is named in turn, its place in the job off by 4 mm each way; the true
angle follows from the made camera and the rib's made plane.
"""

from __future__ import annotations

import json
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import click
import numpy as np
from named_lines import Shot, page

from calibration.lens.model import undistort
from shared.flags import in_doubt
from shared.job.file import load_job
from shared.job.model import Job
from shared.job.named import NamedLine
from shared.numerics.arrays import F64
from vision.cards.detect import find_cards
from vision.image.photo import open_photo
from vision.reader import read_photo

PLACED_MM = 4.0
NOTES = {"spar": "spar line, named", "waterline": "waterline", "second line": "second line"}


@click.command(help=__doc__)
@click.argument("folders", nargs=-1, type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("--keep", type=click.Path(dir_okay=False, path_type=Path), help="Every line, as JSON lines, as it comes.")
def main(folders: tuple[Path, ...], keep: Path | None) -> None:
    """Name, read, compare, print."""
    start, found, photos = time.perf_counter(), [], 0
    for folder in (f for f in folders if (f / "job.toml").is_file() and (f / "truth.json").is_file()):
        job = load_job(folder / "job.toml")
        for name, truth in json.loads((folder / "truth.json").read_text("utf-8")).items():
            shots = shots_of(folder, name, truth, job)
            photos += bool(shots)
            found += shots
            if keep is not None:
                with keep.open("a") as stream:
                    stream.writelines(json.dumps(vars(s)) + "\n" for s in shots)
    click.echo(page(found, photos, time.perf_counter() - start))


def shots_of(folder: Path, name: str, truth: dict[str, Any], job: Job) -> list[Shot]:
    """The named lines of one photo."""
    if not isinstance(truth, dict) or "geo" not in truth or truth["station"] not in {s.name for s in job.stations}:
        return []
    path = next((p for p in folder.rglob(f"{name}.*") if p.suffix.lower() in (".jpg", ".jpeg", ".png")), None)
    if path is None:
        return []
    picture = open_photo(path)
    seen = _Seen(truth)
    station = job.station(truth["station"])
    cards = {c.number: c for c in find_cards(picture.gray) if c.number in station.cards}
    if not cards:
        return []
    card = cards[next(n for n in station.cards if n in cards)]
    w, h = card.spec.size_mm
    middle, ahead = seen.plane(card.at(np.array([[w / 2, h / 2], [w / 2 + 10, h / 2]])))
    arrow = (ahead - middle) / np.linalg.norm(ahead - middle)
    up = np.array([-arrow[1], arrow[0]])
    up = up if up[1] > 0 else -up
    rng = np.random.default_rng([int(truth["wing_seed"]), len(name)])
    lines, true = [], {}
    for k, line in enumerate(truth["lines"]):
        kind = "spar" if line["kind"] == "spar" else line["note"]
        if line["rib"] != 0 or line["kind"] not in ("spar", "pen") or kind not in NOTES or len(line["points"]) < 2:
            continue
        a, b = seen.plane(np.array([line["points"][0], line["points"][-1]], dtype=np.float64))
        off = (a + b) / 2 - middle + rng.normal(0, PLACED_MM, 2)
        called = f"{NOTES[kind]} {k}"
        upright = kind == "spar"
        angle = seen.a(b - a, upright)
        lines.append(
            NamedLine(
                station.name,
                called,
                90.0 if upright else 0.0,
                0.2,
                runs="upright" if upright else "level",
                positive="top aft" if upright else "nose-up",
                from_card_mm=(float(off @ arrow), float(off @ up)),
                within_mm=2 * PLACED_MM,
                length_mm=float(np.linalg.norm(b - a)),
            )
        )
        true[called] = angle
    if not lines:
        return []
    # without the spar's own key the spar line is one more drawn line
    plain = replace(
        station, spar_deg=None, spar_tolerance_deg=None, cards=(card.number, *(n for n in cards if n != card.number))
    )
    told = replace(job, stations=tuple(plain if s.name == plain.name else s for s in job.stations), lines=tuple(lines))
    start = time.perf_counter()
    reading = read_photo(picture, told)
    seconds = time.perf_counter() - start
    got = {x.name: x.angle for x in reading.lines}
    out = []
    for called, value in true.items():
        angle_got = got.get(called)
        q = None if angle_got is None else angle_got.quantity
        doubts = () if angle_got is None else in_doubt((*reading.flags, *angle_got.flags))
        reason = None if q is not None else (reading.chord.reason if angle_got is None else angle_got.reason) or "none"
        error, u = (float("nan"), float("nan")) if q is None else (q.value - value, q.u)
        label = called.rsplit(" ", 1)[0]
        out.append(Shot("traced", int(truth["wing_seed"]), f"{label}", error, u, bool(doubts), reason, seconds))
    return out


class _Seen:
    """The made camera and the foremost rib's made plane: world X right, Y away, Z up, mm."""

    def __init__(self, truth: dict[str, Any]) -> None:
        geo = truth["geo"]
        self.turn, self.eye = np.array(geo["R"]), np.array(geo["eye"])
        k = geo["K"]
        self.theta = np.array([k[0][0], k[1][1], k[0][2], k[1][2], *geo["dist"]])
        lean = np.radians(truth["true_lean_deg"])
        self.level, self.up = np.array([1.0, 0, 0]), np.array([0.0, -np.sin(lean), np.cos(lean)])
        self.origin, self.forward = np.array(geo["te"]), 1.0 if truth["forward"] == "right" else -1.0

    def plane(self, pixels: F64) -> F64:
        """(n, 2) mm on the rib, level to the right and up it, of pixels (n, 2)."""
        rays = np.c_[undistort(pixels, self.theta), np.ones(len(pixels))] @ self.turn
        n = np.cross(self.level, self.up)
        points = self.eye + rays * (float(n @ (self.origin - self.eye)) / (rays @ n))[:, None] - self.origin
        return np.stack([points @ self.level, points @ self.up], axis=1)

    def a(self, d: F64, upright: bool) -> float:
        """The line's `a` (`shared.job.named`) from its direction on the rib."""
        way = d * np.array([self.forward, 1.0])
        if upright:
            way = way if way[1] > 0 else -way
            return float(np.degrees(np.arctan2(way[1], way[0])))
        way = way if way[0] > 0 else -way
        rise = way[1] * self.up[2] / np.linalg.norm(way)
        return float(np.degrees(np.arcsin(rise)))


if __name__ == "__main__":
    main()
