"""The front of the report: outcome, findings, what to do, the table of stations."""

from __future__ import annotations

from rigging.report.blocks import Block, Cell, Points, Section, State, Table, Words, cells
from rigging.report.wording import angle, chance, design, moment, outcome
from rigging.survey.decision import Decision
from rigging.survey.model import StationResult, Survey
from shared.cautions import CAUTIONS
from shared.flags import Scope

FIRST = 5
"""How many stations the order of checking names in the report."""


def overall(survey: Survey) -> State:
    """The wing at a glance: the gravest state among its stations, pairs included."""
    states: set[str] = {s.state for s in survey.stations}
    states |= {p.decision.outcome for p in survey.symmetry}
    states |= {s.spar.decision.outcome for s in survey.stations if s.spar.decision is not None}
    states |= {line.state for line in survey.lines}
    states |= {r.state for r in survey.dimensions if r.state != "measured"}
    states |= {s.decision.outcome for s in survey.sides if s.decision is not None}
    if "nonconforming" in states:
        return "nonconforming"
    if states == {"conforming"} and survey.stations:
        return "conforming"
    return "not measured" if states <= {"not measured"} else "undecided"


def facts(survey: Survey) -> tuple[tuple[str, str], ...]:
    """What the report is about, under its title."""
    made = survey.provenance
    root = "kept as measured" if survey.root_setting == "kept" else "root's own deviation taken out"
    found = [
        ("Wing", survey.job.wing.name),
        ("Evaluated", moment(made.evaluated_at)),
        ("Photos", str(len(made.photos))),
        ("Root setting", root),
    ]
    if survey.stage:
        found.append(("Stage", survey.stage))
    return tuple(found)


def findings(survey: Survey) -> Section:
    """What stands wrong and what to look at first."""
    blocks: list[Block] = [Words(CAUTIONS[0], "warning")]
    if survey.findings:
        blocks.append(Points(survey.findings, ordered=True))
    elif overall(survey) == "conforming":
        blocks.append(Words("Nothing found that is out of tolerance."))
    else:
        blocks.append(Words("No single cause could be named; see the stations below."))
    if survey.bonding is not None:
        blocks.append(Words(survey.bonding.words, "warning"))
    if survey.order:
        blocks.append(Words("Look at these first:"))
        blocks.append(Points(tuple(f"{o.station}: {o.why}" for o in survey.order[:FIRST]), ordered=True))
    return Section("findings", "What was found", tuple(blocks))


def stations(survey: Survey) -> Section:
    """Every station's chord angle against design."""
    rows = tuple(_row(s) for s in survey.stations)
    table = Table(
        "Chord angle at every station",
        ("Station", "Decision", "Chord angle", "Off design", "Design", "Chance to conform"),
        rows,
        frozenset({0, 1}),
    )
    note = Words(
        "Nose-up positive. ± behind a measured angle is U, the expanded uncertainty (k = 2, about 95 %), "
        "the marking of the line by hand included; behind a design angle it is the tolerance. "
        "Conforming: the deviation and U together lie within the tolerance. Nonconforming: the deviation "
        "less U lies outside it. Else undecided (ISO 14253-1, JCGM 106:2012).",
        "note",
    )
    return Section("stations", "Stations", (table, *_undecided(survey), note))


def _row(s: StationResult) -> tuple[Cell, ...]:
    c = s.chord
    flagged = " ⚑" if _doubted(s) else ""
    return cells(
        s.station.name + flagged,
        outcome(c.decision, s.state),
        angle(c.quantity),
        angle(c.deviation, sign=True),
        design(c.design_deg, c.tolerance_deg),
        chance(c.decision),
    )


def _undecided(survey: Survey) -> tuple[Block, ...]:
    """What would decide the undecided ones, and why the others have no value."""
    items = [
        f"{s.station.name}: {_deciding(s.chord.decision)}"
        for s in survey.stations
        if s.chord.decision is not None and s.chord.decision.outcome == "undecided"
    ]
    missing = [
        f"{s.station.name}: {s.chord.reason}" for s in survey.stations if s.state == "not measured" and s.chord.reason
    ]
    blocks: list[Block] = []
    if items:
        blocks += [Words("What would decide the undecided ones:"), Points(tuple(items))]
    if missing:
        blocks += [Words("Not measured:"), Points(tuple(missing))]
    if any(_doubted(s) for s in survey.stations):
        blocks.append(Words("⚑ a doubt is noted under Flags and refusals.", "note"))
    return tuple(blocks)


def _doubted(s: StationResult) -> bool:
    """Whether a doubt hangs on the station's value itself, not only on what the inclinometer said."""
    return any(f.code.scope is not Scope.GAUGE for f in (*s.chord.flags, *s.flags))


def _deciding(decision: Decision) -> str:
    """Why it is undecided, unless the advice says so itself, and what would decide it."""
    advice = "; ".join(a.text for a in decision.advice) or "more photos, or a better reference"
    return f"{decision.why}; {advice}" if decision.why and decision.why not in advice else advice
