"""The job's dimensions: lengths and angles in a plane, against design and left against right."""

from __future__ import annotations

from rigging.report.blocks import Block, Cell, Section, Table, Words, cells
from rigging.report.wording import NONE, chance, outcome
from rigging.survey.dimension_words import between_words, design_words, value_words
from rigging.survey.dimensions import DimensionResult
from rigging.survey.model import Survey
from shared.job.model import Job


def dimensions(survey: Survey) -> Section | None:
    """Every dimension; None where the job asks for none. survey : evaluated."""
    if not survey.dimensions:
        return None
    job = survey.job
    table = Table(
        "Dimensions against design",
        ("Dimension", "Decision", "Measured", "Off design", "Design", "Chance to conform", "What limits U"),
        tuple(_row(job, r) for r in survey.dimensions),
        frozenset({0, 1, 6}),
    )
    blocks: list[Block] = [table]
    if survey.sides:
        blocks.append(_sides(survey))
    blocks.append(
        Words(
            "Measured in the plane of the cards, between the marks, lines and edges named. A positive offset or step lies above "
            "its datum, or before it where the datum runs upright; ± is U (k = 2, about 95 %). What lies off that plane is "
            "measured wrong: the job says how far off it may lie (u_depth_mm), and U holds that.",
            "note",
        )
    )
    return Section("dimensions", "Dimensions", tuple(blocks))


def _row(job: Job, r: DimensionResult) -> tuple[Cell, ...]:
    d, unit = r.dimension, r.dimension.kind.unit
    state = outcome(r.decision) if r.decision or r.quantity is None else Cell("measured")
    return cells(
        f"{d.key} ({between_words(d)})",
        state,
        NONE if r.quantity is None else value_words(job, unit, r.quantity, d.kind.signed),
        NONE if r.deviation is None else value_words(job, unit, r.deviation, sign=True),
        design_words(job, d) or NONE,
        chance(r.decision),
        r.limits if r.quantity is not None else r.combined.reason or NONE,
    )


def _sides(survey: Survey) -> Table:
    rows = tuple(
        cells(
            f"{s.left.name}: {s.left.place} \N{MINUS SIGN} {s.right.place}",
            outcome(s.decision) if s.decision else Cell("measured"),
            value_words(survey.job, s.left.kind.unit, s.quantity, sign=True),
        )
        for s in survey.sides
    )
    return Table(
        "Left minus right, the designs' own difference taken out",
        ("Dimension", "Decision", "Left \N{MINUS SIGN} right"),
        rows,
        frozenset({0, 1}),
    )
