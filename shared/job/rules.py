"""The rules of a job that no single key can show: what must agree between keys and stations."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import datetime

from msgspec import UnsetType

from shared.errors import UserError
from shared.job.dimensions import broken_dimensions
from shared.job.mistakes import nearest
from shared.job.named_rules import broken as broken_lines
from shared.job.named_rules import broken_pairs
from shared.job.order import broken_order
from shared.job.schema import CardsTable, GlueTable, HeightTable, JigTable, JobTables, StationTable

THREAD = re.compile(r"M\d+(\.\d+)?([x×]\d+(\.\d+)?)?|(#?\d+|\d+/\d+)-\d+|\d+(\.\d+)? ?mm", re.IGNORECASE)
"""How a thread may be written: M6, M6x0.75 (ISO 261), 1/4-20 (ASME B1.1), or a pitch in mm."""


def check(tables: JobTables, file: str) -> None:
    """Raise UserError for the rules that are broken: the first with its remedy, the others after it in the same line.

    tables : the job as parsed, each value of the right type. file : its name, for messages.
    """
    broken = list(_broken(tables))
    if not broken:
        return
    thing, rule, remedy = broken[0]
    if len(broken) > 1:
        others = "; ".join(f"{thing}: {rule}" for thing, rule, _ in broken[1:MOST_SAID])
        more = f"; and {len(broken) - MOST_SAID} more" if len(broken) > MOST_SAID else ""
        remedy = f"{remedy}. {len(broken) - 1} more mistake{'s' if len(broken) > 2 else ''}: {others}{more}"
    raise UserError(f"{file}: {thing}", rule, remedy)


MOST_SAID = 8
"""Mistakes of one file that are reported at once."""


Mistake = tuple[str, str, str]


def _broken(tables: JobTables) -> Iterator[Mistake]:
    yield from _names_and_cards(tables.station)
    for station in tables.station:
        yield from _station(station)
    names = [station.name for station in tables.station]
    if tables.wing.root not in names:
        near = nearest(tables.wing.root, names)
        yield (
            "[wing]: root",
            f"{tables.wing.root!r} is not the name of a station",
            f"did you mean {near}?" if near else "give the name of one of the [[station]] tables",
        )
    panels = {station.panel for station in tables.station if station.panel is not None}
    before: list[JigTable] = []
    for number, jig in enumerate(tables.jig, 1):
        yield from _jig(f"[[jig]] number {number}", jig, panels)
        yield from _several_jigs(f"[[jig]] number {number}", jig, before)
        before.append(jig)
    yield from _cards(tables.cards)
    yield from _heights(tables.height, names)
    owners = {card: s.name for s in tables.station for card in s.cards}
    designs = {s.name: (s.chord_deg, s.spar_deg) for s in tables.station}
    yield from broken_lines(tables.line, tables.place, owners, designs)
    yield from broken_pairs(tables.pair, tables.line, designs)
    yield from broken_dimensions(tables)
    yield from broken_order(tables)
    if not isinstance(tables.glue, UnsetType):
        yield from _glue(tables.glue)


def _names_and_cards(stations: list[StationTable]) -> Iterator[Mistake]:
    names: dict[str, str] = {}
    owner: dict[int, str] = {}
    for station in stations:
        key = station.name.casefold()
        if key in names:
            other = names[key]
            yield (
                f"station {station.name}: name",
                "used twice" if other == station.name else f"differs from {other} in case only",
                "give each station a name of its own",
            )
        names[key] = station.name
        for card in station.cards:
            if card in owner:
                first = owner[card]
                yield (
                    f"station {station.name}: cards",
                    f"card {card} is listed twice"
                    if first == station.name
                    else f"card {card} belongs to station {first} already",
                    "give each card to one station",
                )
            owner[card] = station.name


def _station(station: StationTable) -> Iterator[Mistake]:
    thing = f"station {station.name}"
    if (station.spar_deg is None) != (station.spar_tolerance_deg is None):
        lacks = "spar_tolerance_deg" if station.spar_tolerance_deg is None else "spar_deg"
        yield (
            f"{thing}: {lacks}",
            "is missing; a spar line needs both its design angle and its tolerance",
            "give both or neither",
        )


def _jig(thing: str, jig: JigTable, panels: set[str]) -> Iterator[Mistake]:
    if jig.kind == "screw" and jig.thread is None:
        yield f"{thing}: thread", "a screw needs its thread", 'give "M6", "1/4-20" or a pitch as "1.0 mm"'
    if jig.kind != "screw" and jig.thread is not None:
        yield f"{thing}: thread", f"a {jig.kind} has no thread", "take the key out, or set kind to screw"
    if jig.kind != "screw" and jig.step_mm is None:
        yield f"{thing}: step_mm", f"a {jig.kind} needs its thickness", "give the thickness of one piece, mm"
    if jig.thread is not None and not THREAD.fullmatch(jig.thread):
        yield (
            f"{thing}: thread",
            f"{jig.thread!r} is not a thread",
            'write "M6", "M6x0.75", "1/4-20" or a pitch as "1.0 mm"',
        )
    if jig.panel is not None and jig.panel not in panels:
        near = nearest(jig.panel, sorted(panels))
        yield (
            f"{thing}: panel",
            f"no station has the panel {jig.panel!r}",
            f"did you mean {near}?" if near else "give the stations of that panel the key panel",
        )


def _several_jigs(thing: str, jig: JigTable, before: list[JigTable]) -> Iterator[Mistake]:
    others = [other for other in before if other.panel == jig.panel]
    if not others:
        return
    if jig.panel is None:
        yield (f"{thing}: panel", "there is a jig for single stations already", "say which panel this one moves")
    elif any(other.at_span_mm is None for other in (*others, jig)):
        yield (
            f"{thing}: at_span_mm",
            f"the panel {jig.panel!r} has several jigs",
            "state where along the span each of them acts",
        )
    elif jig.at_span_mm in [other.at_span_mm for other in others]:
        yield (
            f"{thing}: at_span_mm",
            f"the panel {jig.panel!r} has a jig at {jig.at_span_mm:g} mm already",
            "keep one jig at each place",
        )


def _cards(cards: CardsTable) -> Iterator[Mistake]:
    for name, value, u in (("stretch", cards.stretch, cards.u_stretch), ("skew_deg", cards.skew_deg, cards.u_skew_deg)):
        if (value is None) != (u is None):
            yield (
                f"[cards]: {name if value is None else f'u_{name}'}",
                "is missing; a measured print needs both the value and its u",
                "take both from ribangle calibrate print",
            )
        if value is not None and cards.profile is not None:
            yield (f"[cards]: {name}", "stands beside a profile that says it too", "keep the profile or the numbers")


def _heights(heights: list[HeightTable], names: list[str]) -> Iterator[Mistake]:
    seen: set[str] = set()
    for number, height in enumerate(heights, 1):
        thing = f"[[height]] number {number}: station"
        if height.station not in names:
            near = nearest(height.station, names)
            yield (
                thing,
                f"{height.station!r} is not the name of a station",
                f"did you mean {near}?" if near else "give the name of one of the [[station]] tables",
            )
        if height.station in seen:
            yield thing, f"station {height.station} has a height already", "keep one height for each station"
        seen.add(height.station)


def _glue(glue: GlueTable) -> Iterator[Mistake]:
    if glue.working_min > glue.gel_min:
        yield (
            "[glue]: working_min",
            f"the working time, {glue.working_min:g}, ends after the gel time, {glue.gel_min:g}",
            "take both from the glue maker's data sheet",
        )
    if glue.mixed_at is not None:
        try:
            moment = datetime.fromisoformat(glue.mixed_at)
        except ValueError:
            yield ("[glue]: mixed_at", f"{glue.mixed_at!r} is no date and time", "write local time as 2026-05-16T09:15")
            return
        if moment.tzinfo is not None:
            yield (
                "[glue]: mixed_at",
                "must be local time without a zone, like the camera's clock",
                "write it as 2026-05-16T09:15",
            )
