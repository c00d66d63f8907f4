"""`survey.json`: what the report says, for machines; and the JSON Schema of it.

docs/report.schema.json is the schema as `json_schema` makes it. A number that is unknown is null.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any, Literal

import msgspec

from rigging.crosscheck.types import CrossCheck
from rigging.report.json_types import (
    Agreement,
    Angle,
    Check,
    Correction,
    Dimension,
    Judged,
    Line,
    Made,
    NamedLine,
    Pair,
    Photo,
    Refusal,
    Report,
    RibOrJig,
    Sides,
    SpanLevel,
    Station,
    Step,
    StepCheck,
    Symmetry,
    TwoLines,
    Washout,
)
from rigging.survey.decision import Decision
from rigging.survey.dimensions import DimensionResult
from rigging.survey.model import LineResult, StationResult, Survey
from rigging.survey.named_lines import NamedResult
from shared.cautions import CAUTIONS
from shared.quantity import Quantity

FORMAT: Literal["ribangle report 1"] = "ribangle report 1"


def to_json(survey: Survey) -> bytes:
    """The survey as JSON, UTF-8, indented."""
    return msgspec.json.format(msgspec.json.encode(report(survey)), indent=1) + b"\n"


def report(survey: Survey) -> Report:
    """The survey in the published layout."""
    made = survey.provenance
    return Report(
        format=FORMAT,
        cautions=CAUTIONS,
        wing=survey.job.wing.name,
        root=survey.job.wing.root,
        root_setting=survey.root_setting,
        stage=survey.stage,
        verdict=survey.verdict,
        findings=survey.findings,
        stations=tuple(_station(s) for s in survey.stations),
        symmetry=tuple(
            Symmetry(p.left, p.right, p.span_mm, _angle(p.quantity), _judged(p.decision)) for p in survey.symmetry
        ),
        corrections=tuple(
            Correction(c.words, c.needed, c.stations, _angle(c.change_deg), c.rounded) for c in survey.corrections
        ),
        crosscheck=_check(survey.crosscheck) if survey.crosscheck else None,
        refusals=tuple(Refusal(r.photo, r.station, r.reason) for r in survey.refusals),
        flags=tuple(f.text for f in survey.flags),
        made=Made(
            made.version,
            made.evaluated_at,
            tuple(Photo(n, sha) for n, sha in made.photos),
            made.lenses,
            made.levels,
            dict(made.settings),
            made.job_sha256,
            made.gauge_sha256,
        ),
        lines=tuple(_named(r) for r in survey.lines),
        pairs=tuple(
            TwoLines(
                p.pair.at,
                p.pair.line,
                p.pair.base,
                p.cause,
                _maybe(p.base_off),
                _maybe(p.built_off),
                p.words,
                p.todo,
            )
            for p in survey.pairs
        ),
        span_levels=tuple(SpanLevel(v.side, v.how, _angle(v.rise), v.design_deg, v.words) for v in survey.span_levels),
        dimensions=tuple(_dimension(r) for r in survey.dimensions),
        sides=tuple(
            Sides(
                s.left.name,
                s.left.place,
                s.right.place,
                s.left.kind.unit,
                _angle(s.quantity),
                _judged(s.decision) if s.decision else None,
            )
            for s in survey.sides
        ),
        steps=tuple(
            Step(
                s.step.name,
                s.state,
                tuple(StepCheck(c.name, c.state, c.why) for c in s.checks),
                s.step.after,
                s.waits,
                s.why,
            )
            for s in survey.setup.steps
        ),
        next=survey.setup.words,
    )


def json_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of the file."""
    schema = msgspec.json.schema(Report)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": FORMAT, **schema}


def _station(s: StationResult) -> Station:
    split = s.rib_or_jig
    return Station(
        name=s.station.name,
        side=s.station.side,
        span_mm=s.station.span_mm,
        state=s.state,
        headline=s.headline,
        chord=_line(s.chord),
        spar=_line(s.spar),
        built_in=_line(s.built_in),
        washout=None
        if s.washout is None
        else Washout(_angle(s.washout.quantity), s.washout.design_deg, _judged(s.washout.decision)),
        rib_or_jig=RibOrJig(
            split.cause,
            _maybe(split.jig),
            _maybe(split.rib),
            split.words,
            split.before_glue,
            split.after_glue,
        ),
        flags=tuple(f.text for f in s.flags),
    )


def _dimension(r: DimensionResult) -> Dimension:
    d = r.dimension
    return Dimension(
        d.place,
        d.name,
        d.kind.value,
        (d.between[0].text, d.between[1].text),
        d.kind.unit,
        _maybe(r.quantity),
        d.design,
        d.tolerance,
        _maybe(r.deviation),
        _judged(r.decision) if r.decision else None,
        tuple(p.photo for p in r.combined.photos if p.weight > 0),
        tuple(f.text for f in r.combined.flags),
        r.limits,
        r.combined.reason,
    )


def _line(line: LineResult) -> Line:
    return Line(
        _maybe(line.quantity),
        line.design_deg,
        line.tolerance_deg,
        _maybe(line.deviation),
        _judged(line.decision) if line.decision else None,
        tuple(p.photo for p in line.combined.photos if p.weight > 0),
        tuple(f.text for f in line.flags),
        line.reason,
    )


def _named(r: NamedResult) -> NamedLine:
    return NamedLine(
        r.line.at,
        r.line.name,
        r.line.to,
        r.line.positive,
        r.state,
        r.headline,
        Line(
            _maybe(r.quantity),
            r.line.deg,
            r.line.tolerance_deg,
            _maybe(r.deviation),
            _judged(r.decision) if r.decision else None,
            tuple(p.photo for p in r.combined.photos if p.weight > 0),
            tuple(f.text for f in r.flags),
            r.reason,
        ),
        _maybe(r.gravity),
        _known(r.gauge.gauge.value) if r.gauge else None,
        _known(r.gauge.en) if r.gauge else None,
        r.todo,
    )


def _angle(q: Quantity) -> Angle:
    return Angle(_known(q.value), _known(q.u), _known(q.U), {n: _known(u) for n, u in q.budget().items()})


def _maybe(q: Quantity | None) -> Angle | None:
    return None if q is None else _angle(q)


def _judged(d: Decision) -> Judged:
    return Judged(
        d.outcome,
        _known(d.deviation_deg),
        _known(d.U_deg),
        d.tolerance_deg,
        _known(d.p_conforming),
        d.why,
        tuple(a.text for a in d.advice),
    )


def _check(check: CrossCheck) -> Check:
    a, verdict = check.agreement, check.diagnosis.verdict
    return Check(
        tuple(
            Pair(
                p.station,
                p.line,
                p.shown_deg,
                _known(p.camera.value),
                _known(p.gauge.value),
                _known(p.difference.value),
                _known(p.difference.U),
                _known(p.en),
                p.agrees,
            )
            for p in check.pairs
        ),
        None if a is None else Agreement(a.n, a.bias.value, a.sd, a.lower.value, a.upper.value),
        verdict.text if verdict else None,
        verdict.probability if verdict else None,
        check.diagnosis.why_silent,
    )


def _known(value: float) -> float | None:
    return value if math.isfinite(value) else None


def main() -> None:
    """Write the schema to docs/report.schema.json."""
    from shared.files import write_whole

    text = msgspec.json.format(msgspec.json.encode(json_schema(), order="deterministic"), indent=1) + b"\n"
    write_whole(Path(__file__).parents[2] / "docs" / "report.schema.json", text)


if __name__ == "__main__":
    main()
