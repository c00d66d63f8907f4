"""Turn, photograph, turn: one new photo of a rib that was just turned, judged with what still holds of the last survey.

What was photographed before the turn is set aside, for the rib itself and for every rib that its jig moves with it;
so is what the inclinometer showed there. All else stands as it was. A rib that is photographed for the first time, or
again because what it hangs on was turned, was not turned itself.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from rigging.batch.find import Source
from rigging.batch.run import Options, Tell
from rigging.order.happened import latest
from rigging.record.chain import Record, find_record
from rigging.record.history import stamp
from rigging.survey.model import Survey
from rigging.survey.run import Taken, Wanted, take_survey
from shared.errors import UserError
from shared.job.model import Job
from shared.reading import Reading

ALONG = "turned along with"
"""How the reason begins why a photo of a panel-mate no longer holds."""


@dataclass(frozen=True)
class Turned:
    """What the new photos said. stations : photographed anew. again : turned along, to be photographed."""

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
    news: list[_News] = []

    def after(job: Job, readings: Sequence[Reading]) -> Wanted:
        new = [r for r in readings if r.photo.sha256 not in known]
        now = stamp(datetime.now().replace(microsecond=0).isoformat(), last.materials.asked)
        told = dict.fromkeys(r.station for r in new if r.station is not None and r.foremost)
        news.extend(_sorted_out(job, tuple(told), last, now))
        if not news:
            raise UserError(
                ", ".join(p.name for p in photos),
                _why_not(new),
                "nothing was kept; photograph the rib again, its card and string in the picture",
            )
        before = last.materials.asked
        why = {n.station: n.why for n in news if n.why}
        stale = {r.key: why[r.station] for r in readings if r.photo.sha256 in known and r.station in why and r.station}
        return Wanted(
            before.root_setting,
            before.stage,
            {**{k: v for k, v in before.set_aside.items() if _named(k, readings)}, **stale},
            _note(news),
            turned={**before.turned, **{n.station: n.at for n in news if n.at}},
        )

    taken = take_survey(job_file, [*old, *photos], out, Wanted(), options, tell, after)
    stations, again = (tuple(n.station for n in news if n.seen is seen) for seen in (True, False))
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


@dataclass(frozen=True)
class _News:
    """A station that the new photos show, or that was turned along with one. at : when it, or what it hangs on, was turned;
    empty: it was not. why : its earlier photos no longer hold; empty: they do, or there are none."""

    station: str
    turned: bool
    seen: bool
    at: str = ""
    why: str = ""


def _sorted_out(job: Job, stations: Sequence[str], last: Record, now: str) -> Iterator[_News]:
    """What the new photos of these stations mean: turned, photographed again after something else was, or for the first
    time; and the stations that are turned along with the panel of one that was."""
    known = {r.station for r in last.readings}
    along = {n: last.materials.asked.turned.get(n, now) for n in _waiting(last)}
    setup = last.worked_out().setup
    opened, taken = {*setup.opened(), *along}, latest(setup.taken_along(), along)
    for name in stations:
        if name not in known:
            yield _News(name, turned=False, seen=True)
        elif name in opened:
            why = "photographed before what it hangs on was turned or done"
            yield _News(name, turned=False, seen=True, at=taken.get(name, ""), why=why)
        else:
            yield _News(name, turned=True, seen=True, at=now, why=f"photographed before {name} was turned")
    panelled = {j.panel for j in job.jigs if j.panel is not None}
    panels = {s.name: s.panel for s in job.stations}
    for name in (n for n in stations if n in known and n not in opened):
        panel = panels.get(name)  # a place that is no rib has none
        for mate in job.stations:
            if panel in panelled and mate.panel == panel and mate.name not in stations:
                yield _News(mate.name, turned=True, seen=False, at=now, why=f"{ALONG} {name} since")


def _note(news: Sequence[_News]) -> str:
    """What is kept as the survey's note."""
    turned = ", ".join(n.station for n in news if n.turned and n.seen)
    other = ", ".join(n.station for n in news if not n.turned and n.seen)
    return "; ".join(f"{what}: {names}" for what, names in (("turned", turned), ("photographed", other)) if names)


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
        yield from (s.headline for s in survey.stations if s.station.name == name)
        yield from (r.headline for r in survey.lines if r.line.at == name)
    yield _left(survey)
    if turned.again:
        yield f"Turned along, photograph again: {', '.join(turned.again)}"
    if turned.lost:
        yield f"Photos of the last survey that are gone, and left out: {', '.join(turned.lost)}"
    yield survey.verdict
    yield from (survey.setup.words,) if survey.setup.words else ()


def _left(survey: Survey) -> str:
    left = [c.words for c in survey.corrections if c.needed]
    ribs = [s.station.name for s in survey.stations if s.rib_or_jig.cause in ("rib", "both")]
    words = [*left, *([f"ribs to set on their spars: {', '.join(ribs)}"] if ribs else [])]
    if words:
        return f"Left to turn: {'; '.join(words)}"
    closed = survey.bonding is not None and survey.bonding.closed
    return survey.bonding.words if closed and survey.bonding is not None else "Nothing is left to turn"
