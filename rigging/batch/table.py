"""The terminal's table of a batch: each photo's angles beside the design and what the inclinometer showed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any

from rich.console import Group, RenderableType
from rich.text import Text

from rigging.batch.readings_csv import reasons
from rigging.survey.dimension_words import value_words
from rigging.survey.screen import Fitting, plain_table
from shared.flags import FlagCode, Scope
from shared.job.model import Job, Station
from shared.lengths import Units, shown_in
from shared.quantity import Component, Quantity
from shared.reading import NO_RIB
from shared.rounding import degrees, number

MOST_ROWS = 200
"""Rows shown; the files hold them all."""

Shown = Mapping[tuple[str, str], float]
"""(station, line) -> what the inclinometer showed, degrees, in its own counting."""


def readings_table(job: Job, trees: Iterable[dict[str, Any]], shown: Shown) -> RenderableType:
    """A rich table of reading trees (`rigging.batch.readings_file`), in their order.

    The gauge's columns are left out where it showed nothing, the spar's where no station has one. On a narrow screen
    the designs are left out and the remarks stand below the table.
    """
    lines = ["chord"] + ["spar"] * any(s.spar_deg is not None for s in job.stations)
    each = ("", "design", "gauge") if shown else ("", "design")
    heads = [part or f"{line}, U (k = 2)" for line in lines for part in each]
    wide = plain_table("station", "photo", *heads, "remarks", left=("station", "photo", "remarks"))
    narrow = plain_table("station", "photo", *(h for h in heads if h != "design"), left=("station", "photo"))
    wide.columns[-1].min_width = 20
    stations = {station.name: station for station in job.stations}
    left_out = 0
    remarks: list[Text] = []
    batch: dict[str, None] = {}
    for row, tree in enumerate(trees):
        batch |= dict.fromkeys(f["text"] for f in tree["flags"] if _of_batch(f))
        if row >= MOST_ROWS:
            left_out += 1
            continue
        name = tree["station"] or ""
        start = [Text(name or "?"), Text(tree["photo"]["name"])]
        figures = [_figures(tree, stations.get(name), line, shown) for line in lines]
        said = Text.assemble(*_found(job, tree), _remarks(tree, job.length_unit))
        wide.add_row(*start, *(cell for cells in figures for cell in cells), said)
        narrow.add_row(*start, *(cell for cells in figures for cell in (cells[0], *cells[2:])))
        remarks += [Text.assemble(tree["photo"]["name"], ": ", said)] if said.plain else []
    notes = [f"and {left_out} more in readings.csv"] * bool(left_out) + [f"whole batch: {text}" for text in batch]
    told = [Text("\n".join(notes), style="yellow" if batch else "")] if notes else []
    return Group(Fitting(((wide,), (narrow, Text(), *remarks))), *told)


def _found(job: Job, tree: dict[str, Any]) -> list[str]:
    """What the photo tells beside the angles: how the rib stands against the foremost one, and its lean."""
    said = []
    if twist := tree.get("twist"):
        said.append(f"stands {_degrees(twist)} against {twist['against']}. ")
    for line in tree.get("lines", ()):
        if line["angle"]["value"] is not None:
            said.append(f"{line['name']} {_degrees(line['angle'])} from level. ")
    if lean := tree.get("lean"):
        stated = degrees(Quantity(lean["stated_deg"], (Component("", "", lean["u_stated_deg"]),)), sign=True)
        said.append(f"leans {_degrees(lean)} (job: {stated}). ")
    for d in tree.get("dimensions", ()):
        value = d["reason"] if d["value"] is None else value_words(job, d["unit"], _quantity(d))
        said.append(f"{d['name']}: {value}. ")
    return said


def _quantity(tree: dict[str, Any]) -> Quantity:
    u = math.nan if tree["u"] is None else tree["u"]
    return Quantity(tree["value"], (Component("", "", u),))


def _degrees(tree: dict[str, Any]) -> str:
    return degrees(_quantity(tree), sign=True)


def _of_batch(flag: Mapping[str, str]) -> bool:
    return FlagCode.of(flag["code"]).scope is Scope.BATCH


def _figures(tree: dict[str, Any], station: Station | None, line: str, shown: Shown) -> list[Text]:
    """Angle, design and, where the gauge showed anything at all, what it showed."""
    cells = [_angle(tree[line]), Text(_design(station, line))]
    if shown:
        gauge = shown.get((tree["station"] or "", line))
        cells.append(Text("" if gauge is None else f"{number(gauge, 2)}°"))
    return cells


def _angle(tree: dict[str, Any]) -> Text:
    if tree["value"] is None:
        return Text("–") if tree["reason"] == NO_RIB else Text("no value", style="red")
    text = degrees(_quantity(tree))
    return Text(text, style="yellow" if tree["flags"] else "")


def _design(station: Station | None, line: str) -> str:
    if station is None:
        return ""
    angle, tolerance = (
        (station.chord_deg, station.chord_tolerance_deg)
        if line == "chord"
        else (station.spar_deg, station.spar_tolerance_deg)
    )
    return "" if angle is None or tolerance is None else f"{number(angle, 2)}° ± {number(tolerance, 2)}°"


def _remarks(tree: dict[str, Any], units: Units) -> Text:
    text = Text()
    for reason in reasons(tree):
        text.append(
            ("; " if text else "") + shown_in(reason, units), style="red" if tree["chord"]["value"] is None else ""
        )
    flags = [*tree["flags"], *tree["chord"]["flags"], *tree["spar"]["flags"]]
    flags += [f for line in tree.get("lines", ()) for f in line["angle"]["flags"]]
    for words in dict.fromkeys(flag["text"] for flag in flags if not _of_batch(flag)):
        text.append(("; " if text else "") + shown_in(words, units), style="yellow")
    return text
