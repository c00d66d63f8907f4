"""The rules of places and named lines that no single key can show, and the values made from their tables."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import msgspec

from shared.job.named import (
    ARROWS,
    OF_A_RIB,
    SENSES,
    STEEPEST_DEG,
    Arrow,
    NamedLine,
    Place,
    Positive,
    design_direction,
    runs_of,
)
from shared.job.named_schema import LineTable, PairTable, PlaceTable

Mistake = tuple[str, str, str]
Designs = Mapping[str, tuple[float, float | None]]
"""Station -> design angle of its chord line and of its spar line, degrees."""
TAKEN = (*OF_A_RIB, "level", "plumb")


def place_of(table: PlaceTable) -> Place:
    """The place of a table."""
    values = msgspec.structs.asdict(table)
    return Place(**{**values, "cards": tuple(table.cards), "arrow": table.arrow or ARROWS[table.kind]})


def lines_of(tables: Sequence[LineTable], places: Sequence[PlaceTable], designs: Designs) -> tuple[NamedLine, ...]:
    """The lines of tables that keep `broken`'s rules: with sign and direction filled in."""
    arrows = {p.name: p.arrow or ARROWS[p.kind] for p in places}
    plain = [_line(t, arrows.get(t.at, "forward"), t.runs == "upright") for t in tables]
    out = []
    for table, line in zip(tables, plain, strict=True):
        there = [other for other in plain if other.at == line.at]
        runs = table.runs or runs_of(design_direction(line, there, *_designs(designs, line.at)))
        out.append(_line(table, arrows.get(line.at, "forward"), runs == "upright"))
    return tuple(out)


def _line(t: LineTable, arrow: Arrow, upright: bool) -> NamedLine:
    level: Positive = "nose-up" if arrow == "forward" else "outboard end up"
    plumb: Positive = "top aft" if arrow == "forward" else "top inboard"
    place = None if t.from_card_mm is None else (t.from_card_mm[0], t.from_card_mm[1])
    return NamedLine(
        t.at,
        t.name,
        t.deg,
        t.tolerance_deg,
        t.to,
        t.positive or (plumb if upright else level),
        "upright" if upright else "level",
        t.marked,
        place,
        t.within_mm,
        t.length_mm,
        t.width_mm,
    )


def _designs(designs: Designs, name: str) -> tuple[float, float]:
    chord, spar = designs.get(name, (0.0, None))
    return chord, 90.0 if spar is None else spar


def broken(
    lines: Sequence[LineTable], places: Sequence[PlaceTable], owners: Mapping[int, str], designs: Designs
) -> Iterator[Mistake]:
    """Every rule that is broken: thing, rule, remedy. owners : the stations' cards."""
    yield from _places(places, owners, designs)
    arrows: dict[str, Arrow] = {p.name: p.arrow or ARROWS[p.kind] for p in places}
    known = {**dict.fromkeys(designs, "forward"), **arrows}
    seen: set[tuple[str, str]] = set()
    for k, t in enumerate(lines, 1):
        thing = f"[[line]] number {k} ({t.name})"
        if t.at not in known:
            yield f"{thing}: at", f"{t.at!r} is not the name of a station or place", "give the name of one of them"
            continue
        key = (t.at, t.name.casefold())
        if t.name.casefold() in TAKEN or key in seen:
            yield f"{thing}: name", f"is taken at {t.at}", "give each line a name of its own"
        seen.add(key)
        if t.positive is not None and SENSES[t.positive][0] != known[t.at]:
            some = ", ".join(w for w, (arrow, _) in SENSES.items() if arrow == known[t.at])
            yield f"{thing}: positive", f"the arrows at {t.at} point {known[t.at]}", f"write one of {some}"
        yield from _marked(thing, t)
        yield from _reference(thing, t, lines, designs)
    if seen and not list(_circles(lines)):
        yield from _steep(lines, places, designs)
    yield from _circles(lines)


def _places(places: Sequence[PlaceTable], owners: Mapping[int, str], designs: Designs) -> Iterator[Mistake]:
    names = {name.casefold(): name for name in designs}
    owner = dict(owners)
    for p in places:
        if p.name.casefold() in names:
            yield f"place {p.name}: name", f"is taken by {names[p.name.casefold()]}", "give it a name of its own"
        names[p.name.casefold()] = p.name
        for card in p.cards:
            if card in owner:
                yield (
                    f"place {p.name}: cards",
                    f"card {card} belongs to {owner[card]} already",
                    "give each card to one place",
                )
            owner[card] = p.name


def _marked(thing: str, t: LineTable) -> Iterator[Mistake]:
    if t.marked == "two edges" and t.width_mm is None:
        yield f"{thing}: width_mm", "is missing; two edges need the distance between them", "give it in mm"
    if t.marked != "two edges" and t.width_mm is not None:
        yield f"{thing}: width_mm", "belongs to two edges", 'take the key out, or set marked = "two edges"'
    if t.marked != "line" and (t.length_mm is None or t.from_card_mm is None):
        lacks = "length_mm" if t.length_mm is None else "from_card_mm"
        yield f"{thing}: {lacks}", f"is missing; {t.marked} are looked for where the job says", "give both in mm"


def _reference(thing: str, t: LineTable, lines: Sequence[LineTable], designs: Designs) -> Iterator[Mistake]:
    if t.to in ("level", "plumb"):
        return
    there = [o.name for o in lines if o.at == t.at and o.name != t.name]
    if t.at in designs:
        there += ["chord"] + ["spar"] * (designs[t.at][1] is not None)
    if t.to not in there:
        yield (
            f"{thing}: to",
            f"{t.to!r} is no other line at {t.at}",
            f"give one of {', '.join(['level', 'plumb', *there])}",
        )


def _circles(lines: Sequence[LineTable]) -> Iterator[Mistake]:
    to = {(t.at, t.name): (t.at, t.to) for t in lines}
    for k, t in enumerate(lines, 1):
        at, steps = (t.at, t.name), 0
        while at in to and steps <= len(lines):
            at, steps = to[at], steps + 1
        if steps > len(lines):
            yield (
                f"[[line]] number {k} ({t.name}): to",
                "leads round in a circle",
                "count one of them from level or plumb",
            )
            return


def _steep(lines: Sequence[LineTable], places: Sequence[PlaceTable], designs: Designs) -> Iterator[Mistake]:
    names = {p.name for p in places} | set(designs)
    good = [t for t in lines if t.at in names]
    found = {(t.at, t.name): _line(t, "forward", False) for t in good}
    for k, t in enumerate(lines, 1):
        there = [o for o in found.values() if o.at == t.at]
        if t not in good or t.to not in ("level", "plumb", *OF_A_RIB, *(o.name for o in there)):
            continue
        a = design_direction(found[t.at, t.name], there, *_designs(designs, t.at))
        off = abs(a) if runs_of(a) == "level" else 90.0 - abs(a)
        if off > STEEPEST_DEG or (t.runs is not None and t.runs != runs_of(a)):
            yield (
                f"[[line]] number {k} ({t.name}): deg",
                f"puts it {off:.0f} degrees from {runs_of(a)}; lines within {STEEPEST_DEG:g} of level or upright are read"
                if off > STEEPEST_DEG
                else f"makes it run {runs_of(a)}, the key runs says {t.runs}",
                "count it from a line or reference that it runs along or across, or correct the angle",
            )


def broken_pairs(pairs: Sequence[PairTable], lines: Sequence[LineTable], designs: Designs) -> Iterator[Mistake]:
    """Every rule that pairs break."""
    for k, pair in enumerate(pairs, 1):
        there = [t.name for t in lines if t.at == pair.at]
        if pair.at in designs:
            there += ["chord"] + ["spar"] * (designs[pair.at][1] is not None)
        for key, name in (("line", pair.line), ("base", pair.base)):
            if name not in there:
                rest = f"give one of {', '.join(there)}" if there else "give the name of a station or place with lines"
                yield f"[[pair]] number {k}: {key}", f"{name!r} is no line at {pair.at}", rest
        if pair.line == pair.base:
            yield f"[[pair]] number {k}: base", "is the line itself", "give the line that carries it"
