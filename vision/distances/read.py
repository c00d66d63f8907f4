"""The job's dimensions in one photo: which of them it shows, their features, the plane solved with them, values with budgets.

    cards -> planes that dimensions lie in -> features -> one least-squares solution a plane -> values with budgets

Nothing here needs a level reference, so a photo whose angles are refused may have its dimensions all the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from shared.dimensions import Dimension
from shared.flags import Flag, FlagCode
from shared.job.model import Job
from shared.quantity import Component, Quantity
from shared.reading import Measured, Point
from shared.turns import wrap_half_turn
from vision.assess import gates
from vision.cards.detect import Card
from vision.detect import Detections
from vision.distances.features import Gathered, gather
from vision.distances.sight import PlaneSight
from vision.distances.solved import Found, Solved
from vision.lines.chord_line import sheet_plane
from vision.lines.hints import Pointed
from vision.readings import Case, Seen
from vision.rib_scene import plane_only, scene_of
from vision.solution.poses import OTHER_POSE, TWO_POSES, from_starts, near
from vision.solution.solve import Solution, with_lines

MAX_PART, MAX_U_MM, MAX_U_DEG = 0.1, 5.0, 1.5
"""A standard uncertainty over this part of a length, and over so many millimetres, or over so many degrees, says nothing."""


def dimensions_of(
    case: Case,
    cards: Sequence[Card],
    pointed: Sequence[Pointed],
    station: str | None,
    found: Detections | None,
    why_not: str,
) -> tuple[Measured, ...]:
    """Every dimension whose cards the photo shows, in the job's order.

    case : the photo and what it is read with. cards : all that were found. pointed : named features that a person pointed at.
    station : the foremost rib's, whose lines are in `found`. why_not : why there are none of a rib.
    """
    by_text = {p.key: p for p in pointed}
    planes: dict[str, list[Dimension]] = {}
    for d in case.job.dimensions:
        if any(c.number in d.cards for c in cards):
            planes.setdefault(d.place, []).append(d)
    out: dict[str, Measured] = {}
    for place, each in planes.items():
        mine = tuple(c for c in cards if c.number in each[0].cards)
        of_rib = found if place == station else None
        why = why_not if place == station else f"{place} is not the foremost rib of this photo"
        out |= {m.name + "\0" + m.place: m for m in _of_plane(case, mine, each, by_text, of_rib, why)}
    return tuple(out[f"{d.name}\0{d.place}"] for d in case.job.dimensions if f"{d.name}\0{d.place}" in out)


def nothing_of(cards: Sequence[Card], job: Job, reason: str) -> tuple[Measured, ...]:
    """The dimensions that a photo shows and that cannot be measured. cards : seen. job : asks for them. reason : the photo's."""
    seen = {c.number for c in cards}
    return tuple(_none(d, reason) for d in job.dimensions if seen & set(d.cards))


def with_dimensions(seen: Seen, dimensions: tuple[Measured, ...]) -> Seen:
    """The photo's foremost reading with its dimensions. seen : without. dimensions : measured or not."""
    return replace(seen, reading=replace(seen.reading, dimensions=dimensions)) if dimensions else seen


def _of_plane(
    case: Case,
    cards: tuple[Card, ...],
    dimensions: Sequence[Dimension],
    pointed: Mapping[str, Pointed],
    rib: Detections | None,
    why_not: str,
) -> list[Measured]:
    twice = len({c.number for c in cards}) < len(cards)
    reason = (
        "a card is in the photo more than once (a copy or a picture of it): take the other one away" if twice else None
    )
    verdict = gates.before_solving(list(cards))
    reason = reason or verdict.reason
    first = [] if reason else plane_only(cards, case.lens, case.prints, case.photo)
    if not reason and not first:
        reason = "the card's pose could not be solved for: photograph it less obliquely"
    flags = verdict.flags + case.flags
    if first:
        seen = gates.after_solving(first[0])
        reason, flags = seen.reason, flags + seen.flags
    if reason:
        return [_none(d, reason) for d in dimensions]
    sight = PlaneSight.of(case.picture, sheet_plane(first[0], cards), cards)
    got = gather(sight, cards, dimensions, pointed, rib, why_not)
    ready = [d for d in dimensions if not _lacks(d, got)]
    solved = _solved(case, cards, got, ready, near(first)) if ready else []
    values = _values(solved) if solved else {}
    return [_measured(d, got, values, flags) for d in dimensions]


def _lacks(d: Dimension, got: Gathered) -> str | None:
    """Why one of its features is not there."""
    names = [f.text for f in d.features] + (["chord"] if d.kind.on_chord else [])
    return next((got.missing[n] for n in names if n in got.missing), None)


def _solved(
    case: Case, cards: tuple[Card, ...], got: Gathered, dimensions: Sequence[Dimension], poses: list[Solution]
) -> list[Solved]:
    """The plane solved with the dimensions' lines, from each of the card's poses; the likeliest first."""
    place = dimensions[0].place
    scene = scene_of(case.lens, cards, case.prints, case.photo, got.scene_lines, None, f"at {place}")
    solutions = from_starts(scene, [with_lines(scene, s.state) for s in poses])
    found = Found(got.spots, got.lines, got.cards)
    return [Solved(s, found, dimensions, case.prints) for s in solutions]


def _values(solved: list[Solved]) -> dict[Dimension, tuple[Quantity | str, tuple[Flag, ...]]]:
    """Each dimension's value by the best pose; what the card's other pose would make of it goes into u."""
    best = solved[0]
    source = f"photo:{best.solution.scene.photo}"
    values = best.quantities(source)
    flags: list[tuple[Flag, ...]] = [()] * len(values)
    for other in solved[1:]:
        worse = (other.solution.cost - best.solution.cost) / best.solution.scale**2
        if worse > TWO_POSES:
            continue
        weight = float(np.exp(-worse / 2) / (1 + np.exp(-worse / 2)))
        for k, (mine, theirs) in enumerate(zip(values, other.values(), strict=True)):
            if not isinstance(mine, Quantity) or not isinstance(theirs, float):
                continue
            apart = (
                wrap_half_turn(theirs - mine.value) if best.dimensions[k].kind.unit == "deg" else theirs - mine.value
            )
            values[k] = wide = mine.plus(
                Component("which way the card tilts", f"{source} pose", float(np.sqrt(weight * (1 - weight))) * apart)
            )
            if weight > OTHER_POSE and abs(apart) > 3 * wide.u:
                unit = best.dimensions[k].kind.unit
                text = (
                    f"the card may tilt the other way (probability {weight:.0%}), which would give {theirs:.2f} {unit}"
                )
                flags[k] = (FlagCode.TWO_POSES.flag(text),)
    return dict(zip(best.dimensions, zip(values, flags, strict=True), strict=True))


def _measured(
    d: Dimension,
    got: Gathered,
    values: Mapping[Dimension, tuple[Quantity | str, tuple[Flag, ...]]],
    flags: tuple[Flag, ...],
) -> Measured:
    lacks = _lacks(d, got)
    if lacks is not None:
        return _none(d, lacks)
    if d not in values:
        return _none(d, "the card's pose could not be solved for: photograph it less obliquely")
    value, own = values[d]
    paths = tuple(_path(f.text, got) for f in d.features if f.what != "card")
    if isinstance(value, str):
        return replace(_none(d, value), paths=paths)
    if not _says_something(d, value):
        text = f"the geometry leaves it open by U = {value.U:.1f} {d.kind.unit}: come nearer, use two cards, calibrate the lens"
        return replace(_none(d, text), paths=paths)
    names = [f.text for f in d.features] + (["chord"] if d.kind.on_chord else [])
    of_features = tuple(f for n in names for f in got.flags.get(n, ()))
    return Measured(
        d.place, d.name, d.kind.unit, value, None, tuple(dict.fromkeys((*flags, *own, *of_features))), paths
    )


def _says_something(d: Dimension, value: Quantity) -> bool:
    if d.kind.unit == "deg":
        return value.u <= MAX_U_DEG
    return value.u <= max(MAX_U_MM, MAX_PART * abs(value.value))


def _none(d: Dimension, reason: str) -> Measured:
    return Measured(d.place, d.name, d.kind.unit, None, reason)


def _path(text: str, got: Gathered) -> tuple[Point, ...]:
    pixels = got.spots[text].pixel[None] if text in got.spots else got.lines[text].seen.pixels
    few = pixels if len(pixels) < 12 else pixels[np.linspace(0, len(pixels) - 1, 12).astype(int)]
    return tuple((x, y) for x, y in np.round(few, 2).tolist())
