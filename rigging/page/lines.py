"""Named lines as the page shows them: of each station, and of the places that are no rib."""

from __future__ import annotations

from typing import Any

from rigging.survey.model import Survey
from rigging.survey.named_lines import NamedResult
from shared.job.named import Place
from shared.reading import Reading
from shared.rounding import degrees, number

GRAVEST = ("nonconforming", "undecided", "not measured", "conforming")


def lines_tree(survey: Survey, at: str) -> list[dict[str, Any]]:
    """The named lines of a station or place; what is said of pairs there stands with their line."""
    said = {p.pair.line: [p.words, *([p.todo] if p.todo else [])] for p in survey.pairs if p.pair.at == at}
    found = [_line(r, said.pop(r.line.name, [])) for r in survey.lines if r.line.at == at]
    rest = [{"name": name, "state": None, "angle": None, "said": words} for name, words in said.items()]
    return found + rest


def place_tree(survey: Survey, place: Place, photo: str | None, aside: bool) -> dict[str, Any]:
    """A place that is no rib. photo : ident of the one shown. aside : it was moved since."""
    lines = lines_tree(survey, place.name)
    here = [r for r in survey.dimensions if r.dimension.place == place.name]
    states = [line["state"] for line in lines if line["state"]] + [r.state for r in here if r.state != "measured"]
    state = next((s for s in GRAVEST if s in states), "not measured")
    return {
        "name": place.name,
        "side": place.side,
        "state": "open" if aside and state == "not measured" else state,
        "lines": lines,
        "dimensions": [f"{r.dimension.name}: {r.said}" for r in here],
        "photo": photo,
    }


def line_words(reading: Reading) -> list[str]:
    """What one photo says of its named lines."""
    return [
        f"{line.name} {degrees(q)} from level"
        if (q := line.angle.quantity)
        else f"{line.name} not measured: {line.angle.reason}"
        for line in reading.lines
    ]


def _line(r: NamedResult, pair: list[str]) -> dict[str, Any]:
    said = [f.text for f in r.flags] + ([r.todo] if r.todo else []) + pair
    if r.quantity is None and r.reason:
        said.insert(0, r.reason)
    if r.gauge is not None:
        word = "agrees" if r.gauge.agrees else "DISAGREES"
        said.append(
            f"inclinometer shows {number(r.gauge.shown_deg, 2)}\N{DEGREE SIGN}, {word} (En {number(r.gauge.en, 1)})"
        )
    return {
        "name": r.line.name,
        "state": r.state,
        "angle": None
        if r.quantity is None
        else f"{degrees(r.quantity, sign=True)} to {r.line.to}, {r.line.positive} positive",
        "off": None
        if r.deviation is None
        else f"{number(abs(r.deviation.value), 2)}\N{DEGREE SIGN} {r.line.senses(r.deviation.value)} of design",
        "said": list(dict.fromkeys(said)),
    }
