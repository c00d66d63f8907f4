"""Turn, photograph, turn: one new photo of a rib that was just turned, judged with what still holds of the last survey.

What was photographed before the turn is set aside, for the rib itself and for every rib that its jig moves with it;
so is what the inclinometer showed there. All else stands as it was.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from rigging.batch.find import Source
from rigging.batch.run import Options, Tell
from rigging.record.chain import Record, find_record
from rigging.survey.model import Survey
from rigging.survey.run import Taken, Wanted, take_survey
from shared.errors import UserError
from shared.job.model import Job
from shared.reading import Reading

ALONG = "turned along with"
"""How the reason begins why a photo of a panel-mate no longer holds."""


@dataclass(frozen=True)
class Turned:
    """What the new photos said. stations : turned and photographed anew. again : turned along, to be photographed."""

    taken: Taken
    stations: tuple[str, ...]
    again: tuple[str, ...]
    lost: tuple[str, ...]


def take_turned(
    job_file: Path, photos: Sequence[Source], out: Path, options: Options | None = None, tell: Tell | None = None
) -> Turned:
    """Survey the wing anew from the last survey's photos and new ones of what was turned.

    lost : photos of the last survey that are no longer where they were, and so are left out.
    Raises UserError without a kept survey, or where no new photo tells its station.
    """
    last = find_record(job_file, "last")
    mine = {p.path.absolute() for p in photos}
    kept, lost = _still_there(last, job_file.parent)
    old = [s for s in kept if s.path.absolute() not in mine]
    known = {p.sha256 for p in last.materials.photos}
    moved: dict[str, str] = {}

    def after(job: Job, readings: Sequence[Reading]) -> Wanted:
        new = [r for r in readings if r.photo.sha256 not in known]
        moved.update(_moved(job, [r.station for r in new if r.station is not None and r.foremost], _waiting(last)))
        if not moved:
            raise UserError(
                ", ".join(p.name for p in photos),
                _why_not(new),
                "nothing was kept; photograph the rib again, its card and string in the picture",
            )
        before = last.materials.asked
        now = datetime.now().replace(microsecond=0).isoformat()
        stale = {
            r.key: moved[r.station] for r in readings if r.photo.sha256 in known and r.station in moved and r.station
        }
        return Wanted(
            before.root_setting,
            before.stage,
            {**{k: v for k, v in before.set_aside.items() if _named(k, readings)}, **stale},
            f"turned: {', '.join(n for n, why in moved.items() if why.startswith('photographed'))}",
            turned={**before.turned, **dict.fromkeys(moved, now)},
        )

    taken = take_survey(job_file, [*old, *photos], out, Wanted(), options, tell, after)
    stations = tuple(n for n, why in moved.items() if why.startswith("photographed"))
    again = tuple(n for n in moved if n not in stations)
    return Turned(taken, stations, again, lost)


def _still_there(last: Record, folder: Path) -> tuple[list[Source], tuple[str, ...]]:
    found, lost = [], []
    for p in last.materials.photos:
        place = folder / p.path
        if p.path and place.is_file():
            found.append(Source(place, p.name))
        else:
            lost.append(p.name)
    return found, tuple(lost)


def _waiting(last: Record) -> frozenset[str]:
    """Stations that were turned along with another and have not been photographed since: their new photo is no turn."""
    aside = last.materials.asked.set_aside
    along = {r.station for r in last.readings if aside.get(r.key, "").startswith(ALONG)}
    fresh = {r.station for r in last.readings if r.key not in aside and r.photo.name not in aside}
    return frozenset(n for n in along - fresh if n is not None)


def _moved(job: Job, stations: Sequence[str], waiting: frozenset[str]) -> Iterator[tuple[str, str]]:
    """Station -> why its earlier photos no longer hold: turned itself, or with the panel whose jig was turned."""
    panelled = {j.panel for j in job.jigs if j.panel is not None}
    for name in dict.fromkeys(stations):
        yield name, f"photographed before {name} was turned"
    for name in dict.fromkeys(n for n in stations if n not in waiting):
        panel = job.station(name).panel
        for mate in job.stations:
            if panel in panelled and mate.panel == panel and mate.name not in stations:
                yield mate.name, f"{ALONG} {name} since"


def _why_not(new: Sequence[Reading]) -> str:
    if not new:
        return "is a photo that the last survey has already"
    return "; ".join(dict.fromkeys(r.chord.reason or "tells no station" for r in new))


def _named(key: str, readings: Sequence[Reading]) -> bool:
    return any(key in (r.photo.name, r.key) for r in readings)


def told(turned: Turned) -> Iterator[str]:
    """What the bench wants to know, a line each: the rib, what is left to turn, what to photograph, the wing."""
    survey = turned.taken.survey
    for name in turned.stations:
        yield survey.station(name).headline
    yield _left(survey)
    if turned.again:
        yield f"Turned along, photograph again: {', '.join(turned.again)}"
    if turned.lost:
        yield f"Photos of the last survey that are gone, and left out: {', '.join(turned.lost)}"
    yield survey.verdict


def _left(survey: Survey) -> str:
    left = [c.words for c in survey.corrections if c.needed]
    ribs = [s.station.name for s in survey.stations if s.rib_or_jig.cause in ("rib", "both")]
    words = [*left, *([f"ribs to set on their spars: {', '.join(ribs)}"] if ribs else [])]
    if words:
        return f"Left to turn: {'; '.join(words)}"
    closed = survey.bonding is not None and survey.bonding.closed
    return survey.bonding.words if closed and survey.bonding is not None else "Nothing is left to turn"
