"""Photos with truth, read; each angle with its error."""

from __future__ import annotations

import json
import math
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from calibration.lens.boards import Chessboard
from calibration.lens.calibrate import calibrate_lens
from calibration.lens.profiles import LensProfile, load_lens, profiles_in, save_lens
from shared.job.file import load_job
from shared.job.model import Job
from shared.reading import Angle, Reading
from vision.image.photo import open_photo
from vision.reader import read_photo

BOARD = Chessboard(9, 6, 25.0)
U_LEAN_GIVEN_DEG = 0.1


@dataclass(frozen=True)
class Measured:
    """One angle of one photo. error, u : degrees, NaN where it was refused. flags : codes that doubt it."""

    photo: str
    group: str
    line: str
    error: float
    u: float
    flags: tuple[str, ...]
    reason: str | None
    seconds: float
    budget: dict[str, float]

    @property
    def refused(self) -> bool:
        """Whether there is no value."""
        return not math.isfinite(self.error)

    @property
    def wrong(self) -> bool:
        """A value beyond 3 u of the truth without a flag: the worst thing."""
        return not self.refused and abs(self.error) > 3 * self.u and not self.flags


def measured_of(
    reading: Reading, photo: str, group: str, truth: dict[str, float | None], seconds: float
) -> list[Measured]:
    """Both angles of a reading against the truth; `truth` maps "chord" and "spar" to degrees or None."""
    found = []
    for line, angle in (("chord", reading.chord), ("spar", reading.spar)):
        true = truth.get(line)
        if true is None and angle.quantity is None:
            continue
        found.append(_measured(angle, reading, photo, group, line, true, seconds))
    return found


def _measured(
    angle: Angle, reading: Reading, photo: str, group: str, line: str, true: float | None, seconds: float
) -> Measured:
    flags = tuple(sorted({f.code for f in (*reading.flags, *angle.flags)}))
    if angle.quantity is None:
        return Measured(photo, group, line, math.nan, math.nan, flags, angle.reason or "no reason given", seconds, {})
    error = math.inf if true is None else angle.quantity.value - true
    return Measured(photo, group, line, error, angle.quantity.u, flags, None, seconds, angle.quantity.budget())


def group_of(truth: dict[str, Any]) -> str:
    """The class of a photo, from its truth."""
    shot = truth.get("shot", {})
    if shot.get("card_bow_deg"):
        return "bent card"
    if truth["level"] == "laser":
        return "laser line"
    if abs(truth.get("lean_deg", 0.0)) > 0.05:
        return "leaning, lean given"
    kinds = [k for k, _ in truth["cards"]]
    if len(kinds) > 1:
        return "two cards"
    return f"one {kinds[0]}"


def profile_of(folder: Path, again: bool = False) -> LensProfile:
    """The lens profile of a set: the one in its `lens/`, else made from its boards."""
    ready = [p for _, p in profiles_in(folder / "lens")]
    if ready and not again:
        return ready[0]
    place = folder / "lens-profile" / "profile.json"
    if place.exists() and not again:
        return load_lens(place)
    boards = folder / ("boards" if (folder / "boards").is_dir() else "lens")
    profile = calibrate_lens((open_photo(p) for p in sorted(boards.glob("*.jpg"))), BOARD).profile
    place.parent.mkdir(exist_ok=True)
    save_lens(place, profile)
    return profile


def job_of(folder: Path) -> Job:
    """The only job file of a folder."""
    files = sorted(folder.glob("*.toml"))
    return load_job(files[0])


def _with_lean(job: Job, station: str, lean: float | None) -> Job:
    """The job with this station's lean stated, or (None) with no lean stated anywhere."""
    if lean is None:
        stations = tuple(replace(s, lean_deg=None, u_lean_deg=None) for s in job.stations)
        return replace(job, stations=stations, wing=replace(job.wing, dihedral_deg=None, u_lean_deg=None))
    changed = tuple(
        replace(s, lean_deg=lean, u_lean_deg=U_LEAN_GIVEN_DEG) if s.name == station else s for s in job.stations
    )
    return replace(job, stations=changed)


def cases(folder: Path, job: Job) -> Iterator[tuple[Path, str, Job, dict[str, float | None]]]:
    """Path, class, job and true angles of every photo of a set; leaning ribs come twice."""
    truths = json.loads((folder / "truth.json").read_text())
    truths = truths.get("photos", truths)
    photos = folder / ("photos" if (folder / "photos").is_dir() else "stations")
    for name, truth in truths.items():
        path = photos / f"{name}.jpg"
        if not path.exists():
            continue
        angles: dict[str, float | None] = {"chord": truth["chord_deg"], "spar": truth["spar_deg"]}
        group, lean = group_of(truth), truth.get("lean_deg", 0.0)
        if group.startswith("leaning"):
            yield path, group, _with_lean(job, truth["station"], lean), angles
            yield path, "leaning, lean not given", _with_lean(job, truth["station"], None), angles
        else:
            yield path, group, job, angles


def with_shop_errors(
    job: Job, station: str, angles: dict[str, float | None], rng: np.random.Generator
) -> tuple[Job, dict[str, float | None]]:
    """What a shop does to a ray-traced photo, whose strings and leans are exact: the job's word on the lean, where
    it gives one, is off by a draw from its u; so is the string, so that both true angles stand off by one draw."""
    own = next(s for s in job.stations if s.name == station)
    u = own.u_lean_deg if own.u_lean_deg is not None else job.wing.u_lean_deg
    dihedral = job.wing.dihedral_deg
    lean = own.lean_deg if own.lean_deg is not None else None if dihedral is None else -dihedral
    if lean is not None and u is not None:
        told = lean + float(rng.normal(0, u))
        own_told = replace(own, lean_deg=told, u_lean_deg=u)
        job = replace(job, stations=tuple(own_told if s.name == station else s for s in job.stations))
    string = float(rng.normal(0, job.level.u_deg))
    return job, {line: None if a is None else a + string for line, a in angles.items()}


def measure_set(
    folder: Path, job: Job, profile: LensProfile, only: Sequence[str] = (), seed: int | None = None
) -> Iterator[Measured]:
    """Read every photo of a set and compare. seed : with a shop's errors drawn, see `with_shop_errors`."""
    for k, (path, group, this_job, angles) in enumerate(cases(folder, job)):
        if only and path.stem not in only:
            continue
        if seed is not None:
            truths = json.loads((folder / "truth.json").read_text())
            station = truths.get("photos", truths)[path.stem]["station"]
            this_job, angles = with_shop_errors(this_job, station, angles, np.random.default_rng([seed, k]))
        start = time.perf_counter()
        reading = read_photo(path, this_job, lens=profile)
        yield from measured_of(reading, f"{folder.name}/{path.stem}", group, angles, time.perf_counter() - start)
