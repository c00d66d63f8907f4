"""Why one may believe it, or not: budget, flags and refusals, calibration, provenance, cautions."""

from __future__ import annotations

import math
from collections.abc import Iterator

from rigging.plots import budget_plot, largest, mean_budget, shares
from rigging.report.blocks import (
    Block,
    Cell,
    Folder,
    Pictures,
    Points,
    Section,
    Signatures,
    Table,
    Words,
    cells,
)
from rigging.report.wording import moment
from rigging.survey.model import LineResult, Survey
from shared.cautions import CAUTIONS
from shared.flags import Flag, FlagCode
from shared.quantity import Quantity
from shared.rounding import degrees, number, places

MOST_COLUMNS = 8
"""Components with a column of their own; the small ones share the last."""


def budget(survey: Survey) -> Section:
    """Where the uncertainty comes from: in the mean, then station by station."""
    chords = [q for s in survey.stations if (q := s.chord.quantity) is not None]
    blocks: list[Block] = []
    if chords:
        plot = budget_plot(mean_budget(chords), "Chord angle, all stations (root mean square)")
        blocks.append(Pictures((plot,) if plot else ()))
        blocks.append(_matrix(survey))
        blocks.append(Folder("Every budget as bars, largest first", tuple(_all_budgets(survey))))
    else:
        blocks.append(Words("No station was measured."))
    return Section("budget", "Where the uncertainty comes from", tuple(blocks))


def _matrix(survey: Survey) -> Table:
    """u of every component at every station, degrees, the largest of each row standing out."""
    lines = [
        (f"{s.station.name} {line.line}", line.quantity)
        for s in survey.stations
        for line in (s.chord, s.spar)
        if line.quantity is not None
    ]
    names = [name for name, _ in largest(mean_budget([q for _, q in lines]), MOST_COLUMNS)]
    rest = names.pop() if len(mean_budget([q for _, q in lines])) > MOST_COLUMNS else None
    rows = []
    for label, q in lines:
        own = q.budget()
        n = max(places(q.U) + 1, 3)
        top = max(own, key=lambda name: own[name], default="")
        row = [Cell(number(own[c], n) if c in own else "–", strong=c == top) for c in names]
        if rest:
            others = math.sqrt(math.fsum(u * u for name, u in own.items() if name not in names))
            row.append(Cell(number(others, n)))
        rows.append(cells(label, *row, number(q.u, n)))
    head = ("Line", *names, *((rest,) if rest else ()), "u, all")
    return Table(
        "u by component at every station, degrees; the largest of each row in bold",
        head,
        tuple(rows),
        folded=True,
    )


def _all_budgets(survey: Survey) -> Iterator[Table]:
    """Every station's budgets; where several photos were combined, each photo's as well."""
    for s in survey.stations:
        for line in (s.chord, s.spar):
            if line.quantity is not None:
                yield budget_table(f"{s.station.name} {line.line}: {degrees(line.quantity)}", line.quantity)
            photos = [p for p in line.combined.photos if p.quantity is not None]
            for p in photos if len(photos) > 1 else ():
                if p.quantity is not None:
                    yield budget_table(f"{s.station.name} {line.line}, {p.photo}: {degrees(p.quantity)}", p.quantity)


def budget_table(caption: str, quantity: Quantity) -> Table:
    """One angle's budget, largest first, with bars of each share of the variance."""
    n = places(quantity.U)
    rows = tuple(
        cells(name, f"{number(u, n + 1)}°", Cell(f"{100 * share:.0f} %", share=share))
        for name, u, share in shares(quantity)
    )
    total = cells("u, all together", f"{number(quantity.u, n + 1)}°", "")
    return Table(caption, ("Component", "u", "Share of u²"), (*rows, total))


def flags(survey: Survey) -> Section:
    """Every doubt and every refusal, with its reason."""
    rows = [cells("whole survey", f.text) for f in survey.flags]
    for s in survey.stations:
        lines: tuple[tuple[str, tuple[Flag, ...]], ...] = (
            ("", s.flags),
            (" chord", s.chord.flags),
            (" spar", s.spar.flags),
            (" built-in", s.built_in.flags),
        )
        seen: set[FlagCode] = set()
        for name, own in lines:
            rows += [cells(s.station.name + name, f.text) for f in own if f.code not in seen]
            seen |= {f.code for f in own}
        rows += [cells(f"{s.station.name} {use}", text) for use, text in _photos_apart(s.chord, s.spar)]
    blocks: list[Block] = []
    if rows:
        blocks.append(Table("Flags: values to be doubted", ("Where", "Doubt"), tuple(rows), frozenset({0, 1})))
    if survey.refusals:
        refused = tuple(cells(r.photo, r.station or "–", r.reason) for r in survey.refusals)
        blocks.append(
            Table(
                "Refusals: photos without a value",
                ("Photo", "Station", "Reason"),
                refused,
                frozenset({0, 1, 2}),
            )
        )
    return Section("flags", "Flags and refusals", tuple(blocks) or (Words("None."),))


def calibration(survey: Survey) -> Section:
    """What was measured against."""
    job, made = survey.job, survey.provenance
    items = [f"Lens: {lens}" for lens in made.lenses] or ["Lens: no calibrated profile"]
    items += [f"Level reference: {level}" for level in made.levels] or ["Level reference: none named"]
    if survey.crosscheck is not None:
        profile = f", profile {job.gauge.profile}" if job.gauge.profile else ", not calibrated"
        items.append(f"Inclinometer: shows {job.gauge.resolution_deg:g}°, u {job.gauge.u_deg:g}°{profile}")
    items.append(f"Station cards: {_prints(survey)}")
    if job.marking_u_deg is not None:
        items.append(f"Lines drawn by hand: u {job.marking_u_deg:g}°")
    else:
        items.append("Lines drawn by hand: their uncertainty is not stated in the job and not in U")
    return Section("calibration", "Calibration and references", (Points(tuple(items)),))


def _prints(survey: Survey) -> str:
    """How the cards were printed, as far as that was measured."""
    told = dict(survey.provenance.settings).get("card print")
    if told is not None:
        return f"print {told}"
    prints = survey.job.prints
    return f"printed at {prints.scale:g} of nominal, u {prints.u_scale:g}; stretch and corners not measured, U allows for them"


def provenance(survey: Survey) -> Section:
    """Made from what, with what, so that it can be made again."""
    made = survey.provenance
    rows = [cells("ribangle", made.version), cells("evaluated", moment(made.evaluated_at))]
    rows += [cells(name, value) for name, value in made.settings]
    for name, value in (("job file SHA-256", made.job_sha256), ("gauge readings SHA-256", made.gauge_sha256)):
        if value:
            rows.append(cells(name, Cell(value, code=True)))
    photos = tuple(cells(name, Cell(sha, code=True)) for name, sha in made.photos)
    return Section(
        "provenance",
        "Provenance",
        (
            Table("How this report was made", ("What", "Value"), tuple(rows), frozenset({0, 1})),
            Table("Photos and their SHA-256", ("Photo", "SHA-256"), photos, frozenset({0, 1}), folded=True),
        ),
    )


def cautions() -> Section:
    """What the report is not."""
    return Section("cautions", "Cautions", (Points(CAUTIONS),))


def signatures() -> Section:
    """Room to sign."""
    return Section(
        "signatures",
        "Signatures",
        (
            Words("Signed for what was seen on the wing itself, not for this printout alone."),
            Signatures(("Builder", "Independent check with another instrument", "Inspector")),
        ),
    )


def _photos_apart(*lines: LineResult) -> list[tuple[str, str]]:
    """Photos that were set aside or stand off the others."""
    return [
        (
            f"{line.line}, {use.photo}",
            f"{use.standing}{': ' + use.why if use.why else ''}"
            f"{f' ({number(use.off_deg, 3, True)}° off)' if use.off_deg is not None else ''}",
        )
        for line in lines
        for use in line.combined.photos
        if use.standing in ("outlying", "set aside")
    ]
