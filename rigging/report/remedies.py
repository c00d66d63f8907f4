"""What to turn, and what the inclinometer says."""

from __future__ import annotations

from rigging.crosscheck.types import CrossCheck, Interval
from rigging.plots import agreement_plot, station_plot
from rigging.report.blocks import Block, Pictures, Points, Section, Table, Words, cells
from rigging.report.wording import angle, design, percent
from rigging.survey.gauge_rows import dropped, nothing_left
from rigging.survey.model import Survey
from shared.rounding import number


def corrections(survey: Survey) -> Section | None:
    """The jigs' corrections and what they do; None without a jig."""
    if not survey.corrections:
        return None
    blocks: list[Block] = []
    needed = [c for c in survey.corrections if c.needed]
    if needed:
        blocks.append(Points(tuple(c.words for c in needed), ordered=len(needed) > 1))
    rows = tuple(
        cells(m.station, angle(m.before, sign=True), angle(m.after, sign=True), design(m.tolerance_deg))
        for c in needed
        for m in c.moved
    )
    if rows:
        blocks.append(
            Table(
                "Deviation from design now, and as it should be afterwards",
                ("Station", "Now", "Afterwards", "Tolerance"),
                rows,
            )
        )
    if needed:
        blocks.append(Words("Turn, then photograph again: a correction is a forecast until it is measured.", "note"))
    else:
        blocks.append(Words("No jig is shown to need turning."))
    leave = tuple(cells(", ".join(c.stations), c.words) for c in survey.corrections if not c.needed)
    if leave:
        blocks.append(Table("Jigs to leave as they are", ("Stations", "Why"), leave, frozenset({0, 1}), folded=True))
    return Section("corrections", "What to turn", tuple(blocks))


def crosscheck(survey: Survey) -> Section:
    """Camera against inclinometer."""
    check = survey.crosscheck
    if check is None or not check.pairs:
        return Section("crosscheck", "The inclinometer's word", _no_pairs(check))
    blocks: list[Block] = [Words(_meaning(check), "warning" if check.diagnosis.alarm else "plain")]
    if check.diagnosis.advice:
        blocks.append(Points(check.diagnosis.advice))
    blocks.append(Pictures(tuple(p for p in (agreement_plot(check), station_plot(check)) if p is not None)))
    blocks += _agreement(check)
    blocks.append(
        Table(
            "Camera and inclinometer, line by line",
            ("Line", "Camera", "Gauge showed", "Gauge, our sense", "Camera − gauge", "En"),
            tuple(
                cells(
                    f"{p.station} {p.line}",
                    angle(p.camera),
                    f"{number(p.shown_deg, 2)}°",
                    angle(p.gauge),
                    angle(p.difference, sign=True),
                    number(p.en, 2, sign=True) + ("" if p.agrees else " !"),
                )
                for p in check.pairs
            ),
            folded=True,
        )
    )
    lonely = [f"{n} {line} (camera only)" for n, line in check.camera_only]
    lonely += [f"{n} {line} (gauge only)" for n, line in check.gauge_only]
    if lonely:
        blocks.append(Words("Without a partner: " + ", ".join(lonely) + "."))
    blocks += _rows(check)
    blocks.append(
        Words(
            "En is the difference over the root of the sum of both U squared (ISO/IEC 17043, "
            "ISO 13528); the two agree where |En| is at most 1, ! marks the others. Bias and limits "
            "after Bland and Altman, Lancet 1986.",
            "note",
        )
    )
    return Section("crosscheck", "The inclinometer's word", tuple(blocks))


def _no_pairs(check: CrossCheck | None) -> tuple[Block, ...]:
    if check is None:
        said = "no inclinometer readings were given: nothing independent stands beside the camera"
    else:
        said = nothing_left(len(check.gauge_only), check.oddities) or (
            "no line was read by both camera and inclinometer: nothing independent stands beside the camera"
        )
    warning = Words(f"{said[0].upper()}{said[1:]}.", "warning")
    return (warning, *_rows(check)) if check is not None else (warning,)


def _rows(check: CrossCheck) -> list[Block]:
    """Rows of the file that were not used, with a warning; then those that were used, but needed a guess."""
    lost, guessed = dropped(check.oddities), tuple(f"row {o.row}: {o.text}" for o in check.oddities if o.used)
    blocks: list[Block] = []
    if lost:
        blocks += [Words("Rows of the inclinometer's file that were not used:", "warning"), Points(lost)]
    if guessed:
        blocks += [Words("Rows that were used as follows:"), Points(guessed)]
    return blocks


def _meaning(check: CrossCheck) -> str:
    diagnosis = check.diagnosis
    if diagnosis.verdict is None:
        silent = diagnosis.why_silent or "no explanation stands out"
        return f"What the differences mean is not known: {silent}."
    text = diagnosis.verdict.text
    text = f"{text[:1].upper()}{text[1:]} (probability {percent(diagnosis.verdict.probability)}"
    if diagnosis.runner_up is not None:
        text += f"; next best, {percent(diagnosis.runner_up.probability)}: {diagnosis.runner_up.text}"
    return text + ")."


def _agreement(check: CrossCheck) -> list[Block]:
    """Bias and limits of agreement, all lines together and by line; nothing with too few pairs."""
    named = [("all", check.agreement), *((f"{line} lines", a) for line, a in check.by_line)]
    rows = tuple(
        cells(name, str(a.n), *(_interval(i) for i in (a.bias, a.lower, a.upper)), f"{number(a.sd, 3)}°")
        for name, a in named
        if a is not None
    )
    if not rows:
        return []
    head = ("Lines", "Pairs", "Bias", "Lower limit", "Upper limit", "Sd")
    beyond = f"{len(check.disagreeing)} of {len(check.pairs)} pairs lie beyond |En| = 1."
    return [
        Words(beyond),
        Table("Camera − gauge: bias and 95 % limits of agreement, with 95 % intervals", head, rows),
    ]


def _interval(i: Interval) -> str:
    return f"{number(i.value, 3, True)}° ({number(i.low, 3, True)} to {number(i.high, 3, True)})"
