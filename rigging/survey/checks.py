"""What the evidence says of every check that a step may name: the one place where names meet results."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from rigging.order.happened import Happened
from rigging.order.state import Found
from rigging.survey.decision import Decision, Outcome, decide
from rigging.survey.span_level import SpanLevel
from rigging.survey.wing import Symmetry
from rigging.survey.wing import pairs as wing_pairs
from shared.flags import FlagCode, in_doubt
from shared.job.model import Job, Typed
from shared.job.order import dimension_name, rise_name
from shared.quantity import Component, Quantity
from shared.rounding import degrees, number

if TYPE_CHECKING:
    from rigging.survey.dimensions import DimensionResult
    from rigging.survey.model import LineResult, StationResult
    from rigging.survey.named_lines import NamedResult


def found_of(
    job: Job,
    stations: Sequence[StationResult],
    whole: tuple[Sequence[Symmetry], Sequence[SpanLevel], Sequence[NamedResult], Sequence[DimensionResult]],
    happened: Happened,
) -> dict[str, Found]:
    """Check name -> what the evidence says, for all that the job has evidence of or could have.

    whole : left against right, the spars' rises, the lines by name, the dimensions.
    """
    pairs, levels, named, measured = whole
    photos = {s.station.name: _photos(s.chord) for s in stations}
    found = [f for s in stations for f in _of_station(s, job.wing.root, photos)]
    found += [f for left, right in wing_pairs(job) for f in _unpaired(left.name, right.name)]
    found += [f for p in pairs for f in _of_pair(p, photos)]
    found += [_named(r) for r in named]
    found += [_dimension(r) for r in measured]
    found += _rises(job, levels)
    found += [_read(t, happened) for t in job.typed]
    return {f.name: f for f in found}


def _of_station(s: StationResult, root: str, photos: Mapping[str, tuple[str, ...]]) -> Iterator[Found]:
    name = s.station.name
    yield _line(s, s.chord)
    yield _line(s, s.spar)
    built_in = (*_photos(s.chord), *_photos(s.spar))
    yield Found(f"{name}/built-in", (name,), *_judged(s.built_in), evidence=built_in, doubt=_doubt(s, "chord", "spar"))
    if s.washout is None:
        yield Found(f"{name}/washout", (name, root), None, "its chord line, or the root's, was not measured")
    else:
        d = s.washout.decision
        words = f"{degrees(s.washout.quantity, sign=True)}, {_off(d)}"
        both = (*photos[name], *photos.get(root, ()))
        yield Found(f"{name}/washout", (name, root), d.outcome, words, both, _doubt(s, "chord"))


def _line(s: StationResult, line: LineResult) -> Found:
    name = s.station.name
    return Found(f"{name}/{line.line}", (name,), *_judged(line), evidence=_photos(line), doubt=_doubt(s, line.line))


def _named(r: NamedResult) -> Found:
    at, name = r.line.key
    photos = tuple(p.sha256 for p in r.combined.photos if p.weight > 0)
    if r.quantity is None or r.decision is None:
        return Found(f"{at}/{name}", (at,), None, r.reason or "no design angle to judge it by")
    doubt = None if r.gauge is None or r.gauge.agrees else "camera and inclinometer disagree"
    words = f"{degrees(r.quantity, sign=True)}, {_off(r.decision)}"
    return Found(f"{at}/{name}", (at,), r.decision.outcome, words, photos, doubt)


def _dimension(r: DimensionResult) -> Found:
    at, name = r.dimension.place, f"{r.dimension.place}/{dimension_name(r.dimension.name, r.dimension.kind)}"
    if r.quantity is None or r.decision is None:
        return Found(name, (at,), None, r.words)
    photos = tuple(p.sha256 for p in r.combined.photos if p.weight > 0)
    return Found(name, (at,), r.decision.outcome, r.words, photos)


def _judged(line: LineResult) -> tuple[Outcome | None, str]:
    if line.quantity is None or line.decision is None:
        return None, line.reason or "no design angle to judge it by"
    return line.decision.outcome, f"{degrees(line.quantity, sign=line.line != 'spar')}, {_off(line.decision)}"


def _off(d: Decision) -> str:
    said = f"{number(d.deviation_deg, 2, sign=True)}° from design, tolerance ±{number(d.tolerance_deg, 2)}°"
    return f"{said} ({d.why})" if d.why else said


def _doubt(s: StationResult, *lines: str) -> str | None:
    """Why a station's lines must not be relied on though they conform: an inclinometer that says otherwise."""
    at_odds = [f.text for f in in_doubt(s.flags) if f.code is FlagCode.GAUGE_DISAGREES]
    return next((text for text in at_odds for line in lines if f" the {line} line" in text), None)


def _photos(line: LineResult) -> tuple[str, ...]:
    """SHA-256 of the photos that an angle rests on; where ties alone carry it, of all of the station's."""
    used = tuple(p.sha256 for p in line.combined.photos if p.weight > 0)
    return used or tuple(p.sha256 for p in line.combined.photos if p.standing != "set aside")


def _unpaired(left: str, right: str) -> Iterator[Found]:
    """A pair of which one was not measured."""
    for name in (left, right):
        yield Found(f"{name}/symmetry", (left, right), None, f"{left} or {right} was not measured")


def _of_pair(p: Symmetry, photos: Mapping[str, tuple[str, ...]]) -> Iterator[Found]:
    words = f"left minus right {degrees(p.quantity, sign=True)}, tolerance ±{number(p.decision.tolerance_deg, 2)}°"
    both = (*photos[p.left], *photos[p.right])
    for name in (p.left, p.right):
        yield Found(f"{name}/symmetry", (p.left, p.right), p.decision.outcome, words, both, p.decision.why)


def _rises(job: Job, levels: Sequence[SpanLevel]) -> Iterator[Found]:
    """The spars' rise against the dihedral; the last level of a side counts."""
    design, tolerance = job.wing.dihedral_deg, job.wing.dihedral_tolerance_deg
    if design is None or tolerance is None:
        return
    last = {lv.side: lv for lv in levels}  # where a side has several, the last is their mean
    for side in ("left", "right"):
        name = rise_name(side)
        if side not in last:
            yield Found(name, (name,), None, "no heights and no level on the spar are in the job", by_hand=True)
            continue
        d = decide(last[side].rise.shifted(-design), tolerance)
        yield Found(
            name, (name,), d.outcome, f"{degrees(last[side].rise, sign=True)}, {_off(d)}", (name,), by_hand=True
        )


def _read(t: Typed, happened: Happened) -> Found:
    told = happened.told.get(t.name)
    if told is None or told.value is None:
        return Found(t.name, (t.name,), None, "not read yet", by_hand=True)
    unit = "°" if t.unit == "deg" else " mm"
    off = Quantity(told.value - t.design, (Component("reading by hand", f"typed:{t.name}", t.u),))
    d = decide(off, t.tolerance)
    words = (
        f"reads {_plain(told.value)}{unit}, {number(off.value, 2, sign=True)}{unit} from {_plain(t.design)}{unit}, "
        f"tolerance ±{_plain(t.tolerance)}{unit}"
    )
    return Found(t.name, (t.name,), d.outcome, words, (t.name,), by_hand=True)


def _plain(value: float) -> str:
    """A number as a person types it."""
    return number(value, 0) if math.isclose(value, round(value)) else number(value, 3).rstrip("0")
