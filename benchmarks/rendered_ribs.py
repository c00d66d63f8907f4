"""Ribs behind ribs in ray-traced photos: which are read, how well, and under whose name.

    python benchmarks/rendered_ribs.py FOLDER --out rendered-ribs.md

FOLDER holds wings as `python -m training.scenes` makes them. Of every rib that stands behind, with a card that shows and half of
its chord line or more: whether it is read, its error, its twist against the foremost rib. Photos with ribs behind are held
against those without.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click
import cv2
import numpy as np
from joblib import Parallel, delayed
from rich.console import Console
from tables import environment, markdown

from shared.files import write_whole
from shared.flags import FlagCode, Severity
from shared.job.file import load_job
from shared.quantity import Quantity
from shared.reading import Reading
from vision.reader import read_stations

HALF = 0.5
"""Share of its chord line that must show for a rib behind to count as one that can be read."""


@dataclass(frozen=True)
class Rib:
    """One rib of one photo. place : 0 the foremost. shown : share of its chord line that shows. error, u : degrees, NaN where
    there is no value; twist likewise, against the foremost rib. other : whether the value lies within 3 u of another rib's
    angle and beyond 3 u of its own."""

    photo: str
    place: int
    several: bool
    shown: float
    error: float
    u: float
    flagged: bool
    twist: float
    twist_u: float
    other: bool
    reason: str


def ribs_of(folder: Path, name: str, record: dict[str, Any]) -> list[Rib]:
    """Read one photo and hold every rib against the truth."""
    cv2.setNumThreads(1)
    readings = {r.station: r for r in read_stations(folder / "stations" / f"{name}.jpg", load_job(folder / "job.toml"))}
    behind = record.get("behind") or []
    truth = {record["station"]: record["chord_deg"], **{b["station"]: b["chord_deg"] for b in behind}}
    numbers = {record["station"]: 0, **{b["station"]: b["rib"] for b in behind}}
    main = readings.get(record["station"])
    out = []
    for station, true in truth.items():
        number = numbers[station]
        lines = [line for line in record["lines"] if line["kind"] == "chord" and line["rib"] == number]
        shown = float(np.mean(lines[0]["visible"])) if lines else 0.0
        reading = readings.get(station)
        others = [t for s, t in truth.items() if s != station]
        out.append(
            _rib(
                f"{folder.name}/{name} {station}",
                number,
                bool(behind),
                shown,
                reading,
                main,
                true,
                others,
                truth[record["station"]],
            )
        )
    return out


def _rib(
    photo: str,
    place: int,
    several: bool,
    shown: float,
    reading: Reading | None,
    main: Reading | None,
    true: float,
    others: list[float],
    foremost: float,
) -> Rib:
    nan = float("nan")
    angle = None if reading is None else reading.chord
    value: Quantity | None = None if angle is None else angle.quantity
    if reading is None or angle is None or value is None:
        reason = "its card was not found" if angle is None else angle.reason or ""
        return Rib(photo, place, several, shown, nan, nan, False, nan, nan, False, reason)
    flags = [f.code for f in (*reading.flags, *angle.flags)]
    flagged = any(FlagCode.of(c).severity is Severity.DOUBT for c in flags)
    error = value.value - true
    wrong = abs(error) > 3 * value.u and any(abs(value.value - t) <= 3 * value.u for t in others)
    twist = twist_u = nan
    if place and main is not None and main.chord.quantity is not None:
        apart = value - main.chord.quantity
        twist, twist_u = apart.value - (true - foremost), apart.u
    return Rib(photo, place, several, shown, error, value.u, flagged, twist, twist_u, wrong, "")


def report(ribs: list[Rib]) -> str:
    """The page."""
    rows = []
    for name, some in (
        ("foremost, alone", [r for r in ribs if not r.place and not r.several]),
        ("foremost, others behind", [r for r in ribs if not r.place and r.several]),
        ("behind, half its line shows", [r for r in ribs if r.place and r.shown >= HALF]),
        ("behind, less shows", [r for r in ribs if r.place and r.shown < HALF]),
    ):
        given = [r for r in some if np.isfinite(r.error)]
        sure = [r for r in given if not r.flagged]
        e = np.abs([r.error for r in given])
        rows.append(
            (
                name,
                str(len(some)),
                str(len(given)),
                str(len(sure)),
                f"{np.median(e):.3f}" if len(e) else "",
                f"{100 * np.mean([abs(r.error) <= 2 * r.u for r in given]):.0f} %" if len(e) else "",
                str(sum(abs(r.error) > 3 * r.u for r in sure)),
                str(sum(r.other for r in given)),
            )
        )
    head = (
        "rib",
        "n",
        "given",
        "of these not flagged",
        "median error",
        "within U",
        "beyond 3 u in silence",
        "another's angle",
    )
    twists = [r for r in ribs if np.isfinite(r.twist)]
    said = ""
    if twists:
        e = np.abs([r.twist for r in twists])
        inside = np.mean([abs(r.twist) <= 2 * r.twist_u for r in twists])
        said = (
            f"\nTwist against the foremost rib: {len(twists)}, median error {np.median(e):.3f} deg, "
            f"{100 * inside:.0f} % within U.\n"
        )
    why = [f"- {r.photo}: {r.reason}" for r in ribs if r.place and r.shown >= HALF and r.reason]
    return (
        f"{environment()}\n\n{markdown(head, rows)}\n{said}\nNot read though half its line shows:\n\n"
        + "\n".join(why)
        + "\n"
    )


@click.command(help=__doc__)
@click.argument("folders", nargs=-1, required=True, type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("--workers", default=1, show_default=True)
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path))
def main(folders: tuple[Path, ...], workers: int, out: Path | None) -> None:
    """Read, compare, print, write."""
    photos = [
        (truth.parent, name, record)
        for folder in folders
        for truth in sorted(folder.glob("*/truth.json"))
        for name, record in json.loads(truth.read_text("utf-8")).items()
    ]
    found = Parallel(n_jobs=workers)(delayed(ribs_of)(*photo) for photo in photos)
    text = report([r for some in found for r in some])
    Console(width=150).print(text, markup=False, highlight=False)
    if out:
        write_whole(out, text)


if __name__ == "__main__":
    main()
