"""The order of the set-up as a job states it: names of checks, and the rules that steps and typed checks keep.

A check is named `station/line` ("R1/chord"), `side spar/rise` for the spanwise level, or as its [[typed]] table is.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from graphlib import CycleError, TopologicalSorter

from shared.dimensions import Kind
from shared.job.mistakes import nearest
from shared.job.model import SAME_SPAN_MM, Job, Station, Step, Typed, Wing
from shared.job.schema import JobTables, StationTable, StepTable, TypedTable, WingTable

Mistake = tuple[str, str, str]


def check_names(
    wing: Wing | WingTable,
    stations: Sequence[Station | StationTable],
    placed: Iterable[tuple[str, str]],
    typed: Iterable[Typed | TypedTable],
) -> tuple[str, ...]:
    """Every name that a step may check: of every station, of what the job names there, the spars' rise, what is typed.

    placed : where each line by name and each dimension is, and its name.
    """
    names = [f"{s.name}/{line}" for s in stations for line in lines_of_station(s, stations, wing.root)]
    names += [f"{at}/{name}" for at, name in placed]
    if wing.dihedral_deg is not None and wing.dihedral_tolerance_deg is not None:
        names += [rise_name(side) for side in ("left", "right") if any(s.side == side for s in stations)]
    return (*names, *(t.name for t in typed))


def lines_of_station(s: Station | StationTable, stations: Iterable[Station | StationTable], root: str) -> Iterator[str]:
    """What one station is judged by; the one place that knows which lines a station has."""
    yield "chord"
    if s.spar_deg is not None:
        yield from ("spar", "built-in")
    if s.name != root:
        yield "washout"
    other = {"left": "right", "right": "left"}.get(s.side)
    if any(o.side == other and abs(o.span_mm - s.span_mm) <= SAME_SPAN_MM for o in stations):
        yield "symmetry"


def rise_name(side: str) -> str:
    """The name of the check of one spar's rise outboard."""
    return f"{side} spar/rise"


def dimension_name(name: str, kind: Kind) -> str:
    """The name of a dimension's check at its place: with its unit, so that no line's name is taken for it."""
    return f"{name} {kind.unit}"


def named_by(pattern: str, names: Sequence[str]) -> tuple[str, ...]:
    """The names that a step's word stands for; "*" in it stands for anything."""
    if "*" not in pattern:
        return (pattern,) if pattern in names else ()
    form = re.compile(".*".join(map(re.escape, pattern.split("*"))))
    return tuple(n for n in names if form.fullmatch(n))


def in_order(after: Mapping[str, Sequence[str]]) -> tuple[str, ...]:
    """Names so that each stands behind what it hangs on, otherwise as they were given.

    Raises graphlib.CycleError where that cannot be.
    """
    sorter = TopologicalSorter(after)
    sorter.prepare()
    place = {name: k for k, name in enumerate(after)}
    ready, found = set[str](), []
    while sorter.is_active():
        ready.update(sorter.get_ready())
        first = min(ready, key=place.__getitem__)
        ready.remove(first)
        found.append(first)
        sorter.done(first)
    return tuple(found)


def steps_of(tables: JobTables) -> tuple[Step, ...]:
    """The job's steps in an order that can be worked through; their checks by full name, each once."""
    names = _names(tables)
    hung = _hung(tables.step)
    steps = {
        s.name: Step(s.name, tuple(dict.fromkeys(n for c in s.checks for n in named_by(c, names))), hung[s.name])
        for s in tables.step
    }
    return tuple(steps[name] for name in in_order(hung))


def typed_of(tables: JobTables) -> tuple[Typed, ...]:
    """The job's typed checks."""
    return tuple(_typed(t) for t in tables.typed)


def job_checks(job: Job) -> tuple[str, ...]:
    """Every name that a step of this job may check."""
    placed = [line.key for line in job.lines] + [(d.place, dimension_name(d.name, d.kind)) for d in job.dimensions]
    return check_names(job.wing, job.stations, placed, job.typed)


def broken_order(tables: JobTables) -> Iterator[Mistake]:
    """Rules that typed checks and steps break: names used twice or unknown, parts missing, steps in a circle."""
    names = _names(tables)
    yield from _twice([f"typed {t.name}" for t in tables.typed], [t.name for t in tables.typed], names)
    for t in tables.typed:
        yield from _parts(t)
    steps = [s.name for s in tables.step]
    yield from _twice([f"step {n}" for n in steps], steps, steps)
    known = True
    for s in tables.step:
        for word in s.checks:
            if not named_by(word, names):
                yield f"step {s.name}: checks", f"there is no check {word!r}", _hint(word, names)
        for other in s.after or ():
            if other not in steps:
                known = False
                yield f"step {s.name}: after", f"there is no step {other!r}", _hint(other, steps)
    if known and len(set(steps)) == len(steps):
        yield from _circle(_hung(tables.step))


def _names(tables: JobTables) -> tuple[str, ...]:
    placed = [(t.at, t.name) for t in tables.line] + [(t.at, dimension_name(t.name, t.kind)) for t in tables.dimension]
    return check_names(tables.wing, tables.station, placed, tables.typed)


def _hung(steps: Sequence[StepTable]) -> dict[str, tuple[str, ...]]:
    """Step -> what it hangs on; where it does not say, the step before it."""
    before = [(), *((s.name,) for s in steps)]
    return {
        s.name: tuple(dict.fromkeys(b if s.after is None else s.after)) for s, b in zip(steps, before, strict=False)
    }


def _circle(hung: Mapping[str, Sequence[str]]) -> Iterator[Mistake]:
    try:
        in_order(hung)
    except CycleError as error:
        ring = error.args[1][::-1]
        way = " hangs on ".join(dict.fromkeys(ring)) + f" hangs on {ring[0]}"
        yield f"step {ring[0]}: after", f"the steps hang on each other in a circle ({way})", "take one of these out"


def _twice(things: Sequence[str], mine: Sequence[str], names: Sequence[str]) -> Iterator[Mistake]:
    counts: dict[str, int] = {}
    for name in names:
        counts[name.casefold()] = counts.get(name.casefold(), 0) + 1
    for thing, name in zip(things, mine, strict=True):
        if counts[name.casefold()] > 1:
            yield f"{thing}: name", "used twice", "give each a name of its own, case aside"


def _parts(t: TypedTable) -> Iterator[Mistake]:
    angle, length = (t.deg, t.tolerance_deg, t.u_deg), (t.mm, t.tolerance_mm, t.u_mm)
    given = [sum(v is not None for v in kind) for kind in (angle, length)]
    if sorted(given) != [0, 3]:
        yield (
            f"typed {t.name}",
            "needs what it is to read, its tolerance and its u, all in one unit",
            "give deg, tolerance_deg and u_deg, or mm, tolerance_mm and u_mm",
        )


def _typed(t: TypedTable) -> Typed:
    if t.deg is not None and t.tolerance_deg is not None and t.u_deg is not None:
        return Typed(t.name, t.deg, t.tolerance_deg, t.u_deg)
    assert t.mm is not None and t.tolerance_mm is not None and t.u_mm is not None  # `_parts` has seen to it
    return Typed(t.name, t.mm, t.tolerance_mm, t.u_mm, "mm")


def _hint(word: str, known: Sequence[str]) -> str:
    near = nearest(word, list(known))
    if near:
        return f"did you mean {near}?"
    shown = ", ".join(known[:6]) + (", ..." if len(known) > 6 else "")
    return f"known here: {shown}" if known else "there are none: add it, or take the name out"
