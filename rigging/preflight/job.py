"""Is everything there to be measured? What is missing or blurred, by station, while all still hangs."""

from __future__ import annotations

import multiprocessing
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from difflib import get_close_matches
from functools import partial

import cv2

from rigging.batch.find import Source
from rigging.preflight.photo import PhotoCheck, Trouble, check_photo
from rigging.survey.gauge_rows import far, of_job
from rigging.survey.limits import limit_words
from shared.errors import UserError
from shared.flags import FlagCode
from shared.job.model import Job, Station
from shared.job.named import Place


@dataclass(frozen=True)
class StationCheck:
    """One station, or a place that is no rib, over its photos. unseen : its card numbers that no photo shows."""

    station: Station | Place
    photos: tuple[PhotoCheck, ...]
    unseen: tuple[int, ...]
    troubles: tuple[Trouble, ...]

    @property
    def ready(self) -> bool:
        """Whether at least one photo can be measured."""
        return any(p.fit for p in self.photos)


@dataclass(frozen=True)
class JobCheck:
    """The whole check. stray : photos that belong to no station. troubles : of the job itself."""

    stations: tuple[StationCheck, ...]
    stray: tuple[PhotoCheck, ...]
    troubles: tuple[Trouble, ...]

    @property
    def limit(self) -> str | None:
        """What limits U most over all photos, and what would halve it; None where no U is known."""
        return limit_words((p.budget, p.advice) for s in self.stations for p in s.photos if p.budget)

    @property
    def ready(self) -> bool:
        """Whether every station can be measured and nothing of the job is missing."""
        return all(s.ready for s in self.stations) and not any(t.grade == "missing" for t in self.troubles)


def check_job(
    job: Job, sources: Sequence[Source], *, lines: bool = True, workers: int | None = None, only: Iterable[str] = ()
) -> JobCheck:
    """Check all photos and what goes with the job.

    lines : look for chord line, level reference and spar line too (the slower half). only : station names.
    Raises UserError for a station that the job has not.
    """
    wanted = tuple(find_station(job, n) for n in only) or job.faces
    photos = _all_photos(job, sources, lines, workers)
    stations = tuple(_station(s, [p for p in photos if p.station == s.name]) for s in wanted)
    names = {face.name for face in job.faces}
    return JobCheck(stations, tuple(p for p in photos if p.station not in names), tuple(_job_troubles(job)))


def find_station(job: Job, name: str) -> Station | Place:
    """The station or place of this name, whatever its case. Raises UserError with the nearest names."""
    folded = {face.name.casefold(): face for face in job.faces}
    if name.casefold() in folded:
        return folded[name.casefold()]
    near = get_close_matches(name.casefold(), folded, 3, 0.5)
    hint = (
        f"did you mean {' or '.join(folded[n].name for n in near)}?"
        if near
        else "its stations are " + ", ".join(face.name for face in job.faces)
    )
    raise UserError(f"station '{name}'", f"{job.wing.name} has none of that name", hint)


def _station(station: Station | Place, photos: list[PhotoCheck]) -> StationCheck:
    seen = {n for p in photos for _, n in p.cards}
    unseen = tuple(n for n in station.cards if n not in seen)
    troubles = []
    if not photos:
        numbers = " or ".join(str(n) for n in station.cards) or "none: give it one in the job"
        troubles.append(Trouble("missing", "no-photo", f"no photo shows it (card {numbers})"))
    elif not any(p.fit for p in photos):
        troubles.append(Trouble("missing", "none-fit", "none of its photos can be measured"))
    return StationCheck(station, tuple(photos), unseen, tuple(troubles))


def _job_troubles(job: Job) -> Iterator[Trouble]:
    """Files that the job names, and what it leaves open."""
    named = {
        "lens profile": None if job.lens == "auto" else job.lens,
        "level profile": job.level.profile,
        "print profile": job.prints.profile,
        "inclinometer readings": job.gauge.readings,
        "inclinometer profile": job.gauge.profile,
    }
    for what, name in named.items():
        if name is not None and not (job.folder / name).is_file():
            yield Trouble(
                "missing", "file", f"{what} {name} is not there: mend the path in the job, or leave the key out"
            )
    if job.lens == "auto" and not any((job.folder / job.lens_folder).glob("*.json")):
        yield Trouble(
            "doubt",
            FlagCode.NO_LENS_PROFILE,
            f"no lens profile in folder {job.lens_folder}: from four photos on the station cards determine the lens; "
            "ribangle calibrate lens makes a better one from a dozen photos of the lens board",
        )
    if job.gauge.readings and (job.folder / job.gauge.readings).is_file():
        found, unused = of_job(job)
        for text in (*unused, *(far(job, found) if found else ())):
            yield Trouble("doubt", "gauge-row", f"{job.gauge.readings}: {text}")
    if job.gauge.readings is None:
        yield Trouble(
            "doubt", "no-gauge", "the job names no inclinometer readings: nothing independent to compare with"
        )


def _all_photos(job: Job, sources: Sequence[Source], lines: bool, workers: int | None) -> list[PhotoCheck]:
    from rigging.batch.pool import available_cores

    workers = min(workers or available_cores(), len(sources))
    one = partial(check_photo, job=job, lines=lines)
    if workers <= 1 or len(sources) < 4:
        return [one(s) for s in sources]
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, mp_context=context, initializer=_calm) as pool:
        return list(pool.map(one, sources))


def _calm() -> None:
    """One thread in each of several processes."""
    cv2.setNumThreads(1)
