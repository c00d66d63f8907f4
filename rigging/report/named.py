"""Lines by name, and pairs of lines of which one is set against the other."""

from __future__ import annotations

from rigging.report.blocks import Block, Points, Section, Table, Words, cells
from rigging.report.whole_wing import CAUSES
from rigging.report.wording import angle, chance, design, outcome
from rigging.survey.model import Survey
from rigging.survey.named_lines import NamedResult
from shared.rounding import number


def lines(survey: Survey) -> Section | None:
    """Every line that the job names; None where it names none."""
    if not survey.lines:
        return None
    rows = tuple(
        cells(
            r.line.at,
            r.line.name + (" \N{BLACK FLAG}" if r.flags else ""),
            outcome(r.decision, r.state),
            f"to {r.line.to}",
            angle(r.quantity, sign=True),
            angle(r.deviation, sign=True),
            design(r.line.deg, r.line.tolerance_deg),
            r.line.positive,
            chance(r.decision),
        )
        for r in survey.lines
    )
    head = ("At", "Line", "Decision", "Counted", "Angle", "Off design", "Design", "Positive is", "Chance to conform")
    blocks: list[Block] = [Table("Lines by name", head, rows, frozenset({0, 1, 2, 3, 7}))]
    blocks += _points("What to turn:", [f"{r.line.at}: {r.todo}" for r in survey.lines if r.todo])
    blocks += _points("Not measured:", [f"{r.name}: {r.reason}" for r in survey.lines if r.quantity is None])
    blocks += _points("Doubts:", [f"{r.name}: {f.text}" for r in survey.lines for f in r.flags])
    blocks += _points("Against the inclinometer:", [words for r in survey.lines if (words := _gauge(r))])
    return Section("lines", "Lines by name", (*blocks, *_pairs(survey)))


def _points(head: str, items: list[str]) -> list[Block]:
    return [Words(head), Points(tuple(items))] if items else []


def _gauge(r: NamedResult) -> str:
    if r.gauge is None:
        return ""
    agrees = "agree" if r.gauge.agrees else "do not agree"
    return f"{r.name}: camera and inclinometer {agrees}, En {number(r.gauge.en, 1)}"


def _pairs(survey: Survey) -> list[Block]:
    """What is built in between two lines, and how what carries them stands."""
    if not survey.pairs:
        return []
    rows = tuple(
        cells(
            p.pair.at,
            f"{p.pair.line} on {p.pair.base}",
            _cause(p.cause, p.pair.line, p.pair.base),
            outcome(p.base_decision),
            angle(p.base_off, sign=True),
            outcome(p.built_decision),
            angle(p.built_off, sign=True),
        )
        for p in survey.pairs
    )
    head = ("At", "Pair", "What is off", "What carries", "Off", "Built in", "Off")
    table = Table("One line set against another, each deviation from design", head, rows, frozenset({0, 1, 2, 3, 5}))
    said = [f"{p.words}. {p.todo[0].upper()}{p.todo[1:]}." if p.todo else f"{p.words}." for p in survey.pairs]
    return [table, Points(tuple(said))]


def _cause(cause: str, line: str, base: str) -> str:
    return {"jig": base, "rib": line, "both": f"{base} and {line}"}.get(cause, CAUSES[cause])
