"""What a new survey takes over from the one before it: when evidence came, what was turned, what was said."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from statistics import NormalDist

from rigging.order.happened import Told, latest, mended
from rigging.record.chain import Record, load_record, numbers, record_folder
from rigging.record.compare import compare
from rigging.record.materials import Asked, Materials, evaluated
from rigging.survey.model import Survey
from rigging.survey.span_level import SpanLevel
from shared.errors import UserError
from shared.job.model import Job
from shared.job.order import rise_name
from shared.reading import Reading

CHANCE = 0.01
"""Chance that in a survey of a wing in which nothing was turned any line is taken for turned."""


def last_standing(job_file: Path) -> Record | None:
    """The survey kept last, where the record holds; one that does not is taken over from in nothing."""
    kept = numbers(record_folder(job_file))
    try:
        last = load_record(kept[max(kept)]) if kept else None
    except UserError:
        return None  # whoever reads the record says what is wrong; it must not stop a new survey
    return last if last is not None and last.standing.holds else None


def stamp(now: str, last: Asked | None) -> str:
    """The time of something that happens now: later than all that happened before, whatever the clock says."""
    if last is None:
        return now
    told = (t.at for t in last.told.values())
    before = max((*last.turned.values(), *last.moved.values(), *last.came.values(), *told), default="")
    if now > before:
        return now
    return (datetime.fromisoformat(before).replace(microsecond=0) + timedelta(seconds=1)).isoformat()


def carried(asked: Asked, last: Record | None, photos: Iterable[str]) -> Asked:
    """What is asked, with the times of the survey before. photos : SHA-256 of all that the new survey rests on."""
    if last is None:
        return replace(asked, came=dict.fromkeys(photos, asked.now))
    before = last.materials.asked
    known = {**dict.fromkeys((p.sha256 for p in last.materials.photos), before.now), **before.came}
    now = stamp(asked.now, before)
    return replace(
        asked,
        came={sha: known.get(sha, now) for sha in photos},
        moved=latest(before.moved, before.turned),
        told={**before.told, **asked.told},
    )


def with_moves(materials: Materials, last: Record | None, readings: Sequence[Reading], folder: Path) -> Materials:
    """With what the new survey itself shows to have moved since the one before: stations by their photos, spars by
    heights and levels in the job."""
    if last is None:
        return _risen(materials, (), evaluated(materials, readings, folder).span_levels)
    before, now = last.worked_out(), evaluated(materials, readings, folder)
    materials = _risen(materials, before.span_levels, now.span_levels, last.materials.asked)
    at, opened = stamp(materials.asked.now, last.materials.asked), before.setup.opened()
    stations = {name: opened.get(name, at) for name in _turned(before, now)}  # what opened it has taken it along
    return replace(materials, asked=replace(materials.asked, moved=latest(materials.asked.moved, stations)))


def _turned(before: Survey, now: Survey) -> Iterable[str]:
    """Stations whose new photos show them to stand otherwise than their photos before.

    A change counts where it is larger than chance makes any of the lines' changes in one survey out of a hundred
    (Bonferroni's bound, whatever the lines share).
    """
    try:
        changes = [c for c in compare(before, now).changes if c.line != "built-in" and c.doubt is None]
    except UserError:
        return ()  # the very same photos: nothing new is known of any rib
    least = NormalDist().inv_cdf(1.0 - CHANCE / (2 * max(len(changes), 1)))
    return {c.station for c in changes if abs(c.change.value) > least * c.change.u}


def _risen(
    materials: Materials, before: Sequence[SpanLevel], now: Sequence[SpanLevel], asked: Asked | None = None
) -> Materials:
    """When the spars' rises in the job came, and whether the spar was turned between two of them."""
    at = stamp(materials.asked.now, asked)
    was, are = ({lv.side: lv.rise for lv in levels if lv.side in ("left", "right")} for levels in (before, now))
    came, moved = dict(materials.asked.came), dict(materials.asked.moved)
    for side, rise in are.items():
        name, old = rise_name(side), was.get(side)
        same = old is not None and old.value == rise.value
        known = asked.came.get(name) if asked is not None and same else None
        came[name] = known or at
        if old is not None and abs(rise.value - old.value) > math.hypot(rise.U, old.U):  # each was read anew
            moved[name] = at
    return replace(materials, asked=replace(materials.asked, came=came, moved=moved))


def said(asked: Asked, job: Job, name: str, value: float | None) -> Asked:
    """What is asked now, with a typed check's reading or a step that was done."""
    now = stamp(asked.now, asked)
    typed = next((t for t in job.typed if t.name == name), None)
    moved = dict(asked.moved)
    if mended(typed, asked.told.get(name), value):
        moved[name] = now
    return replace(asked, moved=moved, told={**asked.told, name: Told(now, value)})


def unsaid(asked: Asked, name: str) -> Asked:
    """With what was said of a step or typed check taken back; that something was turned meanwhile stays."""
    return replace(asked, told={n: t for n, t in asked.told.items() if n != name})
