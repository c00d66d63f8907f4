"""A survey on the terminal: verdict first, then what to do, then the numbers."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from rigging.crosscheck.types import Pair
from rigging.order.state import SetUp, State
from rigging.order.words import SIGNS, step_line
from rigging.record.compare import Comparison
from rigging.survey.dimension_table import dimensions_table
from rigging.survey.gauge_marks import stands_out, zero_of
from rigging.survey.gauge_rows import dropped, nothing_left
from rigging.survey.limits import limit_words
from rigging.survey.model import LineResult, StationResult, Survey
from rigging.survey.screen import Fitting, plain_table
from shared.flags import FlagCode
from shared.quantity import K, Quantity
from shared.reading import Advice
from shared.rounding import degrees, number, places

_STYLES = {"conforming": "green", "nonconforming": "bold red", "undecided": "yellow", "not measured": "magenta"}

STEP_STYLES: dict[State, str] = {"right": "green", "wrong": "red", "open again": "yellow", "to do": ""}


def survey_view(survey: Survey) -> RenderableType:
    """Everything a builder needs at the bench."""
    parts: list[RenderableType] = [Text(survey.verdict, style="bold"), Text()]
    parts += [Padding(Text(f), (0, 0, 0, 2)) for f in survey.findings]
    limit = limit_words(_budgets(survey.stations))
    parts += [Text(), *([Text(limit), Text()] if limit else []), stations_table(survey)]
    parts += [Text(), dimensions_table(survey)] if survey.dimensions else []
    parts += _section("Left against right, dimensions", [s.words for s in survey.sides])
    parts += _section("The set-up, step by step", order_lines(survey.setup))
    parts += _section("What to turn", [c.words for c in survey.corrections if c.needed])
    parts += _section("What it means", _what_it_means(survey))
    parts += _section("What would decide it", _advice(survey.stations))
    parts += _section(
        "Look first at", [f"{t.station}: {t.why}" for t in survey.order[:5] if not t.why.startswith("within tolerance")]
    )
    parts += _named(survey)
    parts += _section("Spanwise level", [lv.words for lv in survey.span_levels])
    parts += _section("Glue", [survey.bonding.words] if survey.bonding else [])
    parts += _section("Inclinometer rows that were not used", _gauge_rows(survey))
    parts += _section("Doubts", _doubts(survey))
    parts += _section("Photos without a value", [f"{r.photo}: {r.reason}" for r in survey.refusals])
    return Group(*parts)


def order_lines(setup: SetUp) -> Iterable[str]:
    """A line a step with its state, and what comes next."""
    yield from (f"{SIGNS[s.state]} {k}. {step_line(s)}" for k, s in enumerate(setup.steps, 1))
    yield from (setup.words,) if setup.words else ()


def order_view(setup: SetUp, every: bool = False) -> RenderableType:
    """The steps alone. every : each with all its checks."""
    parts: list[RenderableType] = [] if setup.stated else [Text("The job states no [[step]]: a usual order."), Text()]
    for k, s in enumerate(setup.steps, 1):
        style = STEP_STYLES[s.state] + (" bold" if s is setup.next else "")
        parts.append(Text(f"{SIGNS[s.state]} {k}. {step_line(s)}", style=style))
        parts += [
            Padding(Text(f"{SIGNS[c.state]} {c.name}: {c.state}: {c.why}"), (0, 0, 0, 4)) for c in s.checks if every
        ]
    return Group(*parts, Text(), Text(setup.words, style="bold"))


def station_view(survey: Survey, name: str) -> RenderableType:
    """One station: its headline, what to do, its lines, its doubts."""
    s = survey.station(name)
    fixes = [c.words for c in survey.corrections if c.needed and name in c.stations]
    table = plain_table("line", "angle, U (k = 2)", "off design", "design", left=("line",))
    for line in (s.chord, s.spar, s.built_in):
        design = "" if line.design_deg is None else f"{number(line.design_deg, 2)}°"
        table.add_row(line.line, _value(line) or "no value", _off(line), design)
    parts: list[RenderableType] = [Text(s.headline, style="bold")]
    parts += _section("What to turn", fixes)
    parts += _section("What it means", _meaning(s, survey.stage))
    parts += [Text(), table]
    parts += _section("Inclinometer", [_gauge(s, _odd(survey))] if s.gauge else [])
    parts += _section("Doubts", _doubts_of(s))
    return Group(*parts)


def _named(survey: Survey) -> list[RenderableType]:
    """Lines by name and pairs of lines; nothing where the job names none."""
    if not survey.lines and not survey.pairs:
        return []
    table = plain_table(
        "at", "line", "verdict", "angle, U (k = 2)", "off design", "gauge", left=("at", "line", "verdict")
    )
    for r in survey.lines:
        off = "" if r.deviation is None else f"{number(r.deviation.value, 2, sign=True)}°"
        value = "" if r.quantity is None else degrees(r.quantity, sign=True)
        gauge = "" if r.gauge is None else f"{number(r.gauge.gauge.value, 2)}°{'' if r.gauge.agrees else ' !'}"
        table.add_row(Text(r.line.at), Text(r.line.name), Text(r.state, style=_STYLES[r.state]), value, off, gauge)
    parts: list[RenderableType] = [Text(), Text("Lines by name", style="bold"), table] if survey.lines else []
    parts += _section("Lines: what to turn", [f"{r.line.at}: {r.todo}" for r in survey.lines if r.todo])
    parts += _section("Lines without an angle", [f"{r.name}: {r.reason}" for r in survey.lines if r.quantity is None])
    parts += _section("Lines: doubts", [f"{r.name}: {f.text}" for r in survey.lines for f in r.flags])
    said = [f"{p.words}. {p.todo}".rstrip(". ") + "." for p in survey.pairs]
    return parts + _section("One line set against another", said)


def _section(title: str, lines: Iterable[str]) -> list[RenderableType]:
    shown = list(dict.fromkeys(lines))
    if not shown:
        return []
    return [Text(), Text(title, style="bold"), *(Padding(Text(line), (0, 0, 0, 2)) for line in shown)]


def stations_table(survey: Survey) -> Fitting:
    """One row a station; on a narrow screen what matters less stands in a second table."""
    head = ("station", "verdict", "chord, U (k = 2)", "off design", "spar line", "gauge")
    more = ("washout", "built-in", "photos")
    odd = _odd(survey)
    rows = [(_first(s, odd), _second(s)) for s in survey.stations]
    left = ("station", "verdict")
    whole, first, second = (plain_table(*names, left=left) for names in ((*head, *more), head, ("station", *more)))
    for main, rest in rows:
        whole.add_row(*main, *rest)
        first.add_row(*main)
        second.add_row(main[0], *rest)
    said = [Text(words)] if (words := _mark_words(survey)) else []
    return Fitting(((whole, *said), (first, *said, Text(), second)))


def _first(s: StationResult, odd: Sequence[Pair]) -> tuple[Text, ...]:
    state = Text(s.state, style=_STYLES[s.state])
    return (Text(s.station.name), state, *map(Text, (_value(s.chord), _off(s.chord), _value(s.spar), _gauge(s, odd))))


def _second(s: StationResult) -> tuple[Text, ...]:
    out = degrees(s.washout.quantity, sign=True) if s.washout else ""
    return tuple(map(Text, (out, _value(s.built_in), _photos(s))))


def _value(line: LineResult) -> str:
    return "" if line.quantity is None else degrees(line.quantity)


def _off(line: LineResult) -> str:
    return "" if line.deviation is None else f"{number(line.deviation.value, 2, sign=True)}°"


def _gauge(s: StationResult, odd: Sequence[Pair]) -> str:
    mine = [p for p in s.gauge if p.line == "chord"]
    return f"{number(mine[0].gauge.value, 2)}°{' !' if mine[0] in odd else ''}" if mine else ""


def _odd(survey: Survey) -> list[Pair]:
    check = survey.crosscheck
    return [] if check is None else [p for p in check.pairs if stands_out(p, check)]


def _mark_words(survey: Survey) -> str:
    """What the mark beside a gauge's reading means here; empty where none is marked."""
    check = survey.crosscheck
    if check is None or not any(p.line == "chord" for p in _odd(survey)):
        return ""
    zero = zero_of(check)
    taken = f", its zero error of {degrees(zero, sign=True)} taken out" if zero is not None else ""
    return f"! camera and inclinometer disagree{taken}"


def _photos(s: StationResult) -> str:
    photos = s.chord.combined.photos
    used = s.chord.combined.used
    return str(used) if used == len(photos) else f"{used} of {len(photos)}"


def _what_it_means(survey: Survey) -> Iterable[str]:
    for s in survey.stations:
        yield from _meaning(s, survey.stage)


def _meaning(s: StationResult, stage: str | None) -> Iterable[str]:
    part = s.rib_or_jig
    if part.cause not in ("jig", "rib", "both", "sum") and s.state != "nonconforming":
        return
    yield part.words
    if part.before_glue == part.after_glue:
        yield from (f"   {text}" for text in (part.before_glue,) if text)
        return
    if stage != "after glue" and part.before_glue:
        yield f"   before glue: {part.before_glue}"
    if stage != "before glue" and part.after_glue:
        yield f"   after glue: {part.after_glue}"


def _budgets(stations: Iterable[StationResult]) -> Iterable[tuple[dict[str, float], tuple[Advice, ...]]]:
    for s in stations:
        if s.chord.quantity is not None:
            yield s.chord.quantity.budget(), () if s.chord.decision is None else s.chord.decision.advice


def _advice(stations: Iterable[StationResult]) -> Iterable[str]:
    for s in stations:
        if s.chord.decision is not None:
            for advice in s.chord.decision.advice:
                yield f"{s.station.name}: {advice.text}"


def _gauge_rows(survey: Survey) -> Iterable[str]:
    check = survey.crosscheck
    if check is None:
        return
    none = nothing_left(len(check.pairs) + len(check.gauge_only), check.oddities)
    yield from (none,) if none else ()
    yield from dropped(check.oddities)


def _doubts(survey: Survey) -> Iterable[str]:
    yield from (f.text for f in survey.flags)
    yield from (f.text for f in (survey.crosscheck.flags if survey.crosscheck else ()))
    for s in survey.stations:
        yield from _doubts_of(s)


def _doubts_of(s: StationResult) -> Iterable[str]:
    """Flags of one station and photos that do not weigh in."""
    told = " ".join(f.text for f in s.flags if f.code is FlagCode.ONLY_FLAGGED_PHOTOS)
    yield from (
        f"{s.station.name}: {f.text}"
        for f in s.flags
        if f.code is not FlagCode.GAUGE_AT_FAULT and (f.code is FlagCode.ONLY_FLAGGED_PHOTOS or f.text not in told)
    )
    yield from (
        f"{s.station.name}: {p.photo} {p.standing}: {p.why or _standing_off(p.off_deg)}"
        for p in s.chord.combined.photos
        if p.standing in ("set aside", "outlying")
    )


def _standing_off(off: float | None) -> str:
    return "" if off is None else f"{number(off, 3, sign=True)}° from the rest"


def budget_table(title: str, quantity: Quantity) -> Fitting:
    """A budget, largest first, with a bar for each part's share of the variance."""
    return Fitting(tuple((_budget(title, quantity, bar),) for bar in (30, 12)))


def _budget(title: str, quantity: Quantity, bar: int) -> Table:
    heading = f"{title}: {degrees(quantity)}"
    table = plain_table(
        "part of the uncertainty", "u", "share of u²", "", left=("part of the uncertainty", ""), title=heading
    )
    n = places(quantity.u) + 1
    for name, u in quantity.budget().items():
        share = u * u / (quantity.u * quantity.u) if quantity.u > 0 else 0.0
        length = round(bar * share) if share == share else 0
        table.add_row(Text(name), f"{number(u, n)}°", f"{number(100 * share, 0)} %", "█" * length)
    whole = f"U = {number(K * quantity.u, n)}° (k = 2)"
    table.add_row("combined u", f"{number(quantity.u, n)}°", "100 %", whole, style="bold")
    return table


def comparison_table(result: Comparison, names: Mapping[str, str]) -> Fitting:
    """One row a station and line. names : what A and B are called."""
    left = ("station", "line", "")
    whole = plain_table("station", "line", names["a"], names["b"], "change, U (k = 2)", "", left=left)
    narrow = plain_table("station", "line", f"{names['a']} to {names['b']}", "change, U (k = 2)", "", left=left)
    for c in result.changes:
        mark = "doubtful" if c.doubt else "moved" if c.moved else ""
        start = (Text(c.station), Text(c.line))
        end = (degrees(c.change, sign=True), Text(mark, style="bold red" if c.moved else "yellow"))
        whole.add_row(*start, degrees(c.a), degrees(c.b), *end)
        n = places(c.change.U)
        narrow.add_row(*start, f"{number(c.a.value, n)}° to {number(c.b.value, n)}°", *end)
    return Fitting(((whole,), (narrow,)))
