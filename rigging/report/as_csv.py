"""`stations.csv`: one line a station, for a spreadsheet; safe to open in one."""

from __future__ import annotations

import csv
import io
from typing import Any

from rigging.batch.readings_csv import safe_cell
from rigging.survey.model import LineResult, StationResult, Survey
from rigging.survey.named_lines import NamedResult
from shared.quantity import Quantity

DECIMALS = 4


def to_csv(survey: Survey) -> str:
    """The table. Degrees, nose-up positive; U is expanded (k = 2); an empty cell is unknown.

    RFC 4180 line ends, with the job's decimal sign (semicolons between cells where that is a comma); begins with a byte
    order mark, without which some spreadsheets garble ° and ±.
    """
    return _written([row(s) for s in survey.stations], survey.job.decimal, "station")


def _written(rows: list[dict[str, Any]], decimal: str, first: str) -> str:
    stream = io.StringIO(newline="")
    stream.write("\N{ZERO WIDTH NO-BREAK SPACE}")
    writer = csv.DictWriter(stream, list(rows[0]) if rows else [first], lineterminator="\r\n",
                            delimiter=";" if decimal == "," else ",")  # fmt: skip
    writer.writeheader()
    writer.writerows({key: cell(value, decimal) for key, value in each.items()} for each in rows)
    return stream.getvalue()


def lines_csv(survey: Survey) -> str:
    """The named lines, one a row, written as `to_csv` writes the stations."""
    return _written([line_row(r) for r in survey.lines], survey.job.decimal, "at")


def line_row(r: NamedResult) -> dict[str, Any]:
    """The cells of one named line, by column."""
    decision = r.decision
    return {
        "at": r.line.at,
        "line": r.line.name,
        "state": r.state,
        "to": r.line.to,
        **_pair("angle", r.quantity),
        "design_deg": r.line.deg,
        "tolerance_deg": r.line.tolerance_deg,
        **_pair("off", r.deviation),
        "positive": r.line.positive,
        "p_conforming": decision.p_conforming if decision else None,
        "photos": r.combined.used,
        "gauge_deg": r.gauge.gauge.value if r.gauge else None,
        "gauge_En": r.gauge.en if r.gauge else None,
        "flags": "; ".join(dict.fromkeys(f.text for f in r.flags)),
        "reason": r.reason,
        "headline": r.headline,
    }


def row(s: StationResult) -> dict[str, Any]:
    """The cells of one station, by column; numbers as numbers, None where unknown."""
    station, split = s.station, s.rib_or_jig
    cells: dict[str, Any] = {
        "station": station.name,
        "side": station.side,
        "span_mm": station.span_mm,
        "chord_mm": station.chord_mm,
        "state": s.state,
    }
    for name, line in (("chord", s.chord), ("spar", s.spar), ("built_in", s.built_in)):
        cells |= _line(name, line)
    cells |= _pair("washout", s.washout.quantity if s.washout else None)
    cells["washout_design_deg"] = s.washout.design_deg if s.washout else None
    cells |= _pair("left_minus_right", s.symmetry.quantity if s.symmetry else None)
    cells |= _pair("jig_off", split.jig) | _pair("rib_off", split.rib)
    cells["cause"] = split.cause
    for name in ("chord", "spar"):
        pair = next((p for p in s.gauge if p.line == name), None)
        cells[f"gauge_{name}_deg"] = pair.gauge.value if pair else None
        cells[f"gauge_{name}_En"] = pair.en if pair else None
    doubts = (*s.flags, *s.chord.flags, *s.spar.flags, *s.built_in.flags)
    cells["flags"] = "; ".join(dict.fromkeys(f.text for f in doubts))
    cells["reason"] = s.chord.reason
    cells["headline"] = s.headline
    return cells


def _line(name: str, line: LineResult) -> dict[str, Any]:
    decision = line.decision
    return {
        **_pair(name, line.quantity),
        f"{name}_design_deg": line.design_deg,
        f"{name}_tolerance_deg": line.tolerance_deg,
        **_pair(f"{name}_off", line.deviation),
        f"{name}_decision": decision.outcome if decision else None,
        f"{name}_p_conforming": decision.p_conforming if decision else None,
        f"{name}_photos": line.combined.used,
    }


def _pair(name: str, q: Quantity | None) -> dict[str, Any]:
    return {f"{name}_deg": q.value if q else None, f"{name}_U_deg": q.U if q else None}


def cell(value: Any, decimal: str) -> str:
    """A value as a cell: numbers with the decimal sign, text that no spreadsheet takes for a formula."""
    if value is None or value != value:  # NaN: unknown
        return ""
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return f"{round(value, DECIMALS) + 0.0:.{DECIMALS}f}".replace(".", decimal)
    return safe_cell(" ".join(str(value).split()))
