"""The order of the set-up as the bench's notes tell it, and as the page shows it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from rigging.order.happened import Happened, Told, mended
from rigging.order.state import CheckState, SetUp, StepState
from rigging.order.words import step_parts
from rigging.page.bench import Entry
from rigging.page.notes import Chosen, Moved, Notes, Said
from rigging.record.saying import sayable
from rigging.survey.model import Survey
from shared.job.model import Job
from shared.reading import Reading

LATE = "what the station hangs on was turned, or done, after this photo came in"


def happened_of(job: Job, notes: Notes, entries: Sequence[Entry]) -> Happened:
    """What happened, by the notes that were not taken back."""
    came = {e.sha256: _time(_came(e, notes)) for e in entries}
    typed = {t.name: t for t in job.typed}
    turned: dict[str, str] = {}
    moved: dict[str, str] = {}
    told: dict[str, Told] = {}
    for note in notes.standing:
        if isinstance(note, Moved):
            turned |= dict.fromkeys(note.stations, _time(note.at))
        elif isinstance(note, Said):
            if mended(typed.get(note.thing), told.get(note.thing), note.value):
                moved[note.thing] = _time(note.at)
            told[note.thing] = Told(_time(note.at), note.value)
    return Happened(turned, moved, came, told)


def _came(e: Entry, notes: Notes) -> float:
    """When a photo came, as far as it matters: not before the last note that does not have it yet; file times change with
    every copy. One that was chosen on a phone earlier shows how things stood then."""
    events = [n for n in notes.standing if isinstance(n, (Moved, Said))]
    late = [n.at for n in events if (e.arrived >= n.at if n.seen is None else e.ident not in n.seen)]
    chosen = [n.chosen for n in notes.standing if isinstance(n, Chosen) and n.ident == e.ident]
    return min([max(late, default=0.0), *chosen])


def outdated(readings: Sequence[Reading], setup: SetUp, happened: Happened) -> dict[str, str]:
    """Photos of stations that are open again, from before the turn, where a newer one has a value: reading -> why."""
    opened = setup.opened()
    late = [r for r in readings if r.station in opened and happened.came.get(r.photo.sha256, "") < opened[r.station]]
    fresh = {r.station for r in readings if r.measured and r not in late}
    return {r.key: LATE for r in late if r.station in fresh}


def setup_tree(survey: Survey) -> dict[str, Any]:
    """What the page shows of the order."""
    setup, hand = survey.setup, set(sayable(survey.job))
    units = {t.name: "°" if t.unit == "deg" else "mm" for t in survey.job.typed}
    now = setup.next
    return {
        "words": setup.words,
        "stated": setup.stated,
        "next": None if now is None else now.step.name,
        "steps": [_step(s, hand, units) for s in setup.steps],
    }


def _step(s: StepState, hand: set[str], units: dict[str, str]) -> dict[str, Any]:
    return {
        "name": s.step.name,
        "state": s.state,
        "why": "; ".join(step_parts(s)),
        "after": list(s.step.after),
        "say": s.step.name in hand and s.state != "right",
        "checks": [_check(c, units) for c in s.checks],
    }


def _check(c: CheckState, units: dict[str, str]) -> dict[str, Any]:
    station = c.found.things[0] if not c.found.by_hand else None
    return {"name": c.name, "state": c.state, "why": c.why, "station": station, "unit": units.get(c.name)}


def _time(seconds: float) -> str:
    return datetime.fromtimestamp(seconds).isoformat(timespec="milliseconds")
