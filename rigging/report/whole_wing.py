"""The wing as a whole: along the span, left against right, rib or jig."""

from __future__ import annotations

from collections.abc import Sequence

from rigging.plots import Plot, chord_plot, rib_or_jig_plot, symmetry_plot, washout_plot
from rigging.report.blocks import Block, Pictures, Points, Section, Table, Words, cells
from rigging.report.wording import angle, design, outcome
from rigging.survey.model import Survey
from rigging.survey.rib_or_jig import RibOrJig
from rigging.survey.wing import Twist
from shared.rounding import number, places

CAUSES = {
    "neither": "neither",
    "jig": "jig",
    "rib": "rib",
    "both": "jig and rib",
    "sum": "their sum",
    "untold": "not known",
}


def along_span(survey: Survey) -> Section:
    """Chord angle and washout along the span, fairness and twist."""
    blocks: list[Block] = [Pictures(_there(chord_plot(survey), washout_plot(survey)))]
    if survey.unfair:
        blocks.append(Points(tuple(u.words for u in survey.unfair)))
    rows = tuple(
        cells(
            s.station.name,
            outcome(s.washout.decision),
            angle(s.washout.quantity),
            angle(s.washout.deviation, sign=True),
            design(s.washout.design_deg),
            angle(s.fairness.off, sign=True) if s.fairness else "–",
        )
        for s in survey.stations
        if s.washout is not None
    )
    if rows:
        blocks.append(
            Table(
                f"Washout from {survey.job.wing.root}",
                ("Station", "Decision", "Washout", "Off design", "Design", "Off the fair line"),
                rows,
                frozenset({0, 1}),
                folded=True,
            )
        )
    blocks += [_twist_table(survey.twist)] if survey.twist else []
    blocks += [Words(f"{level.words}.") for level in survey.span_levels]
    return Section("span", "Along the span", tuple(blocks))


def symmetry(survey: Survey) -> Section | None:
    """Left against right; None without a pair."""
    if not survey.symmetry:
        return None
    rows = tuple(
        cells(
            f"{p.left} − {p.right}",
            outcome(p.decision),
            angle(p.quantity, sign=True),
            design(p.decision.tolerance_deg),
        )
        for p in survey.symmetry
    )
    table = Table(
        "Left minus right, the design's own difference taken out",
        ("Pair", "Decision", "Left − right", "Allowed"),
        rows,
        frozenset({0, 1}),
    )
    return Section("symmetry", "Left against right", (Pictures(_there(symmetry_plot(survey))), table))


def rib_or_jig(survey: Survey) -> Section | None:
    """Each station's deviation split into jig and rib; None where no spar line was read."""
    plot = rib_or_jig_plot(survey)
    rows = tuple(
        cells(
            s.station.name,
            CAUSES[s.rib_or_jig.cause],
            outcome(s.rib_or_jig.jig_decision or s.spar.decision),
            angle(s.rib_or_jig.jig, sign=True),
            outcome(s.rib_or_jig.rib_decision or s.built_in.decision),
            angle(s.rib_or_jig.rib, sign=True),
            angle(s.spar.quantity),
        )
        for s in survey.stations
        if s.rib_or_jig.jig is not None or s.spar.quantity is not None
    )
    if not rows:
        return None
    table = Table(
        "Lean of the spar line (jig) and built-in angle (rib), each against design",
        ("Station", "What is off", "Jig", "Jig off", "Rib", "Rib off", "Spar line"),
        rows,
        frozenset({0, 1, 2, 4}),
    )
    words = [
        _told(r)
        for s in survey.stations
        if (r := s.rib_or_jig).cause not in ("neither", "untold")
        or (r.cause == "untold" and s.state == "nonconforming")
    ]
    note = Words(
        "The spar line's angle is given as an inclinometer reads it, 90° plus its lean. A jig that leans "
        "carries chord and spar line with it; turning it cures both. A rib that is off its spar line is "
        "cured only by setting or gluing it again.",
        "note",
    )
    return Section(
        "rib-or-jig",
        "Rib or jig",
        (Pictures(_there(plot)), *((Points(tuple(words)),) if words else ()), table, note),
    )


def _there(*plots: Plot | None) -> tuple[Plot, ...]:
    return tuple(p for p in plots if p is not None)


def _twist_table(twists: Sequence[Twist]) -> Table:
    """Twist over each stretch; whole wings and panels first, as they come."""
    rows = []
    for t in twists:
        n = places(t.per_metre.U)
        value = f"{number(t.per_metre.value, n, sign=True)}° ± {number(t.per_metre.U, n)}°"
        rows.append(cells(t.name, value, f"{number(t.design_per_metre, n, sign=True)}°"))
    return Table(
        "Twist in degrees a metre outboard, nose-up positive",
        ("Stretch", "Measured", "Design"),
        tuple(rows),
        folded=True,
    )


def _told(r: RibOrJig) -> str:
    before, after = _when("Before the glue", r.before_glue), _when("After it", r.after_glue)
    return " ".join((_ended(r.words), *before, *after))


def _when(label: str, words: str) -> tuple[str, ...]:
    return (f"{label}: {_ended(words)}",) if words else ()


def _ended(words: str) -> str:
    return words if words.endswith((".", "!", "?")) else words + "."
