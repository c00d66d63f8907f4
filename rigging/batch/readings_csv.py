"""`readings.csv`: one line a photo, for a spreadsheet; safe to open in one."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from typing import IO, Any

from shared.job.model import Job
from shared.reading import NO_RIB

COLUMNS = (
    "station",
    "photo",
    "chord_deg",
    "chord_U_deg",
    "chord_u_deg",
    "chord_design_deg",
    "chord_tolerance_deg",
    "spar_deg",
    "spar_U_deg",
    "spar_u_deg",
    "spar_design_deg",
    "spar_tolerance_deg",
    "built_in_deg",
    "built_in_U_deg",
    "twist_deg",
    "twist_U_deg",
    "twist_against",
    "lean_deg",
    "lean_U_deg",
    "dimensions",
    "reference",
    "leading_edge",
    "flags",
    "reason",
    "advice",
    "taken",
    "camera",
    "lens",
    "level",
    "version",
    "sha256",
    "overlay",
)
"""Degrees, nose-up positive; U is expanded (k = 2), u standard uncertainty; an empty cell is unknown."""

DECIMALS = 4

_LEADERS = "=+-@\t\r\n\uff1d\uff0b\uff0d\uff20|%"


def safe_cell(text: str) -> str:
    """Text that no spreadsheet takes for a formula: an apostrophe before a telling first character.

    Signs that begin a formula, also in their full-width forms, after blanks or not (OWASP, "CSV injection").
    """
    bare = text.lstrip(" \u00a0\u3000")
    return f"'{text}" if bare and bare[0] in _LEADERS else text


def write_csv(stream: IO[bytes], job: Job, trees: Iterable[dict[str, Any]]) -> None:
    """Write the lines of reading trees (`rigging.batch.readings_file`), UTF-8, RFC 4180; with a decimal comma in the job,
    cells are parted by semicolons."""
    text = io.TextIOWrapper(stream, "utf-8", newline="", write_through=True)
    rows = csv.DictWriter(text, COLUMNS, delimiter=";" if job.decimal == "," else ",")
    rows.writeheader()
    for tree in trees:
        rows.writerow({key: cell(value, job.decimal) for key, value in row(job, tree).items()})
    text.flush()
    text.detach()


def row(job: Job, tree: dict[str, Any]) -> dict[str, Any]:
    """The cells of one reading, by column; numbers as numbers, None where unknown."""
    station = next((s for s in job.stations if s.name == tree["station"]), None)
    chord, spar, built_in = tree["chord"], tree["spar"], tree["built_in"] or {}
    flags = [*tree["flags"], *chord["flags"], *spar["flags"]]
    photo, made = tree["photo"], tree["made"]
    twist, lean = tree.get("twist") or {}, tree.get("lean") or {}
    return {
        "station": tree["station"],
        "photo": photo["name"],
        "chord_deg": chord["value"],
        "chord_U_deg": chord["U"],
        "chord_u_deg": chord["u"],
        "chord_design_deg": station and station.chord_deg,
        "chord_tolerance_deg": station and station.chord_tolerance_deg,
        "spar_deg": spar["value"],
        "spar_U_deg": spar["U"],
        "spar_u_deg": spar["u"],
        "spar_design_deg": station and station.spar_deg,
        "spar_tolerance_deg": station and station.spar_tolerance_deg,
        "built_in_deg": built_in.get("value"),
        "built_in_U_deg": built_in.get("U"),
        "twist_deg": twist.get("value"),
        "twist_U_deg": twist.get("U"),
        "twist_against": twist.get("against"),
        "lean_deg": lean.get("value"),
        "lean_U_deg": lean.get("U"),
        "dimensions": "; ".join(_dimension(d) for d in tree.get("dimensions", ())),
        "reference": tree["reference"],
        "leading_edge": tree["forward"],
        "flags": "; ".join(dict.fromkeys(flag["text"] for flag in flags)),
        "reason": "; ".join(reasons(tree)),
        "advice": "; ".join(advice["text"] for advice in tree["advice"]),
        "taken": photo["taken"],
        "camera": photo["camera"],
        "lens": made["lens"],
        "level": made["level"],
        "version": made["version"],
        "sha256": photo["sha256"],
        "overlay": tree["overlay"],
    }


def _dimension(tree: dict[str, Any]) -> str:
    """One dimension as text: mm or degrees, and its U; a file of their own, `dimensions.csv`, comes with the report."""
    what = f"{tree['place']}: {tree['name']}"
    if tree["value"] is None:
        return f"{what}: not measured ({tree['reason']})"
    U = "?" if tree["U"] is None else f"{tree['U']:.{DECIMALS}f}"
    return f"{what} {tree['value']:.{DECIMALS}f} U {U} {tree['unit']}"


def reasons(tree: dict[str, Any]) -> list[str]:
    """Why a line has no value, each line named when only one of them has none."""
    chord, spar = tree["chord"]["reason"], tree["spar"]["reason"]
    if chord == NO_RIB:
        chord = spar = None
    named = [f"{line['name']}: {line['angle']['reason']}" for line in tree.get("lines", ()) if line["angle"]["reason"]]
    if chord and (chord == spar or not spar):
        return [chord]
    return [f"{line} line: {reason}" for line, reason in (("chord", chord), ("spar", spar)) if reason] + named


def cell(value: Any, decimal: str) -> str:
    """A cell's text: numbers with DECIMALS places, text that no spreadsheet takes for a formula."""
    if value is None:
        return ""
    if isinstance(value, (int, float)):
        return f"{value:.{DECIMALS}f}".replace(".", decimal)
    return safe_cell(" ".join(str(value).split("\0")))
