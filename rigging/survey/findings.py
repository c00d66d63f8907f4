"""What stands wrong, in sentences a builder can act on: bays by their jig, ribs by name, and the verdict."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from rigging.crosscheck.types import CrossCheck
from rigging.survey.corrections import Correction
from rigging.survey.fairness import Unfair
from rigging.survey.least_squares import fit
from rigging.survey.named_lines import NamedResult
from rigging.survey.rib_or_jig import RibOrJig
from rigging.survey.two_lines import TwoLines
from rigging.survey.wing import Symmetry, Washout, run_of
from shared.job.model import Job, Station
from shared.quantity import Quantity
from shared.rounding import degrees, number


@dataclass(frozen=True)
class Bay:
    """Neighbouring stations whose jig stands wrong the same way. size : their common lean, degrees."""

    name: str
    stations: tuple[str, ...]
    size: Quantity

    @property
    def shown(self) -> str:
        """Its name in a sentence."""
        return self.name if len(self.stations) == 1 else f"the {self.name}"


def bays(
    job: Job,
    parts: Mapping[str, RibOrJig],
    wrong_chords: Mapping[str, float],
    fixes: Sequence[Correction] = (),
) -> tuple[Bay, ...]:
    """Runs of neighbouring stations that the jig has turned the same way, side by side.

    A bay that one correction cures whole has that correction's size: one number for one jig, wherever it is told.
    wrong_chords : chord deviation of the stations out of tolerance. One of these whose spar line was not
    read counts with its panel, when the panel's jig is shown to stand wrong the same way.
    """
    turned = {n: p.jig.value for n, p in parts.items() if p.cause in ("jig", "both") and p.jig is not None}
    panel_of = {s.name: s.panel for s in job.stations if s.panel}
    for name, off in wrong_chords.items():
        mates = [v for n, v in turned.items() if n in panel_of and panel_of[n] == panel_of.get(name)]
        if name not in turned and parts[name].jig is None and any(v * off > 0 for v in mates):
            turned[name] = off
    found = []
    for side in ("left", "right", "centre"):
        run = run_of(job, side)
        for group in _runs(run, turned):
            seen = [(s, q) for s in group if (q := parts[s.name].jig) is not None]
            scatter = np.diag([((s.spar_tolerance_deg or s.chord_tolerance_deg) / 2) ** 2 for s, _ in seen])
            size = fit(np.ones((len(seen), 1)), [q for _, q in seen], scatter)[0]
            names = tuple(s.name for s in group)
            whole = next((c for c in fixes if c.needed and len(c.stations) > 1 and set(names) <= set(c.stations)), None)
            found.append(Bay(_bay_name(run, group), names, -whole.change_deg if whole is not None else size))
    return tuple(found)


def _runs(run: Sequence[Station], turned: Mapping[str, float]) -> Iterable[list[Station]]:
    group: list[Station] = []
    for s in run:
        value = turned.get(s.name, 0.0)
        if group and value * turned[group[-1].name] <= 0:
            yield group
            group = []
        if value:
            group.append(s)
    if group:
        yield group


def _bay_name(run: Sequence[Station], group: Sequence[Station]) -> str:
    names = _list([s.name for s in group])
    panels = {s.panel for s in group}
    panel = group[0].panel
    if len(panels) == 1 and panel and {s.name for s in run if s.panel == panel} == {s.name for s in group}:
        return f"{panel} ({names})"
    if len(group) == 1:
        return names
    side = group[0].side
    if len(group) == len(run):
        return f"whole {side} wing ({names})"
    place = "outer" if group[-1] is run[-1] else "inner" if group[0] is run[0] else "middle"
    return f"{place} {side} bay ({names})"


def _list(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _sense(value: float) -> str:
    return "nose-up" if value > 0 else "nose-down"


@dataclass(frozen=True)
class Cause:
    """Something that stands wrong, in a sentence, and the stations whose angles it moves."""

    text: str
    stations: tuple[str, ...]


def causes(
    job: Job,
    wrong: Sequence[Bay],
    parts: Mapping[str, RibOrJig],
    chords: Mapping[str, Quantity | None],
    states: Mapping[str, str],
) -> tuple[Cause, ...]:
    """What stands wrong by its cause: bays by their jig, ribs on their spar, and what cannot be told apart."""
    return (*_of_bays(wrong), *_of_ribs(parts), *_of_the_untold(job, parts, chords, states))


def _of_bays(found: Sequence[Bay]) -> list[Cause]:
    return [
        Cause(
            f"{b.name[0].upper()}{b.name[1:]}: the jig stands wrong by {degrees(b.size, sign=True)} "
            f"({_sense(b.size.value)}), spar line and chord alike",
            b.stations,
        )
        for b in found
    ]


def _of_ribs(parts: Mapping[str, RibOrJig]) -> list[Cause]:
    return [
        Cause(
            f"Rib {name} is set wrong in itself by {degrees(p.rib, sign=True)} ({_sense(p.rib.value)}) on its spar"
            + (", which stands right" if p.jig_decision is not None and p.jig_decision.outcome == "conforming" else ""),
            (name,),
        )
        for name, p in parts.items()
        if p.cause in ("rib", "both") and p.rib is not None
    ]


def _of_the_untold(
    job: Job, parts: Mapping[str, RibOrJig], chords: Mapping[str, Quantity | None], states: Mapping[str, str]
) -> list[Cause]:
    """Stations out of tolerance where rib and jig cannot be told apart, or only add up to too much."""
    out = []
    for s in job.stations:
        off = chords.get(s.name)
        if parts[s.name].by_pair:
            continue  # the pair of lines says it
        if states.get(s.name) == "nonconforming" and parts[s.name].cause in ("untold", "sum") and off is not None:
            why = (
                "spar line and rib each within tolerance, but adding up"
                if parts[s.name].cause == "sum"
                else "rib or jig not told apart"
            )
            out.append(
                Cause(f"{s.name} is out of tolerance by {degrees(off, sign=True)} from design ({why})", (s.name,))
            )
    return out


def told_once(
    found: Sequence[Cause],
    symmetry: Sequence[Symmetry],
    breaks: Sequence[Unfair],
    washouts: Sequence[Washout],
    states: Mapping[str, str],
) -> list[str]:
    """A line for each cause with what follows from it; what no cause explains stands alone.

    A pair, a break or a washout follows from a cause that moves one of its stations.
    """
    follows: dict[int, list[str]] = {}
    alone: list[str] = []

    def place(stations: Sequence[str], short: str, long: str) -> None:
        at = next((k for k, c in enumerate(found) if set(c.stations) & set(stations)), None)
        if at is None:
            alone.append(long)
        else:
            follows.setdefault(at, []).append(short)

    for p in symmetry:
        if p.decision.outcome == "nonconforming":
            place(
                (p.left, p.right),
                f"left and right differ at {p.left}/{p.right} ({degrees(p.quantity, sign=True)})",
                _pair(p),
            )
    for b in breaks:
        what = b.stations[0] if b.kind == "station" else f"from {b.stations[0]} outboard"
        place(b.stations, f"off the fair line {what} ({degrees(b.size, sign=True)})", b.words[0].upper() + b.words[1:])
    for w in washouts:
        if w.decision.outcome == "nonconforming" and states.get(w.station) == "conforming":
            root = [w.root] if w.root else []
            place((w.station, *root), f"washout at {w.station} {degrees(w.deviation, sign=True)} off", _washout(w))
    lines = [c.text + (f". With it: {'; '.join(follows[k])}" if k in follows else "") for k, c in enumerate(found)]
    return lines + alone


def _pair(s: Symmetry) -> str:
    return (
        f"Left and right differ at {s.left}/{s.right}: left minus right {degrees(s.quantity, sign=True)}, "
        f"more than {s.decision.tolerance_deg:g}°"
    )


def _washout(w: Washout) -> str:
    """Washout out of tolerance where the chord by itself is not."""
    return (
        f"Washout at {w.station} is {degrees(w.quantity, sign=True)}, {degrees(w.deviation, sign=True)} from "
        f"design, though its chord is within tolerance: the root has its share in it"
    )


def of_the_lines(lines: Sequence[NamedResult], pairs: Sequence[TwoLines]) -> list[str]:
    """Named lines out of tolerance, and what carries them where it is shown to be wrong."""
    said = [_with(p.words, p.todo) for p in pairs if p.cause in ("jig", "rib", "both", "sum")]
    told = {
        (p.pair.at, name) for p in pairs if p.cause in ("jig", "rib", "both") for name in (p.pair.line, p.pair.base)
    }
    wrong = [r for r in lines if r.state == "nonconforming" and r.line.key not in told]
    odd = [r for r in lines if r.gauge is not None and not r.gauge.agrees]
    return [
        *said,
        *(_with(r.headline, r.todo) for r in wrong),
        *(
            f"Camera and inclinometer disagree on {r.name} (En {number(r.gauge.en, 1)})"
            for r in odd
            if r.gauge is not None
        ),
    ]


def _with(words: str, todo: str) -> str:
    return f"{words}: {todo}" if todo else words


def of_the_gauge(check: CrossCheck | None) -> list[str]:
    """What the inclinometer's pattern says, or where it disagrees without one."""
    if check is None:
        return []
    verdict = check.diagnosis.verdict
    if check.diagnosis.alarm and verdict is not None:
        return [f"Inclinometer: {verdict.text}"]
    at = dict.fromkeys(p.station for p in check.disagreeing)
    return [f"Camera and inclinometer disagree at {_list(list(at))}; which is wrong is open"] if at else []


def verdict(
    states: dict[str, str],
    wrong_bays: Sequence[Bay],
    parts: Mapping[str, RibOrJig],
    asymmetric: Sequence[Symmetry],
    witnesses_at_odds: bool,
    lines: Sequence[NamedResult] = (),
) -> str:
    """The outcome in one sentence. lines : those by name."""
    n = len(states)
    count = {
        k: [name for name, s in states.items() if s == k]
        for k in ("conforming", "nonconforming", "undecided", "not measured")
    }
    good = len(count["conforming"])
    blame = [f"the jig of {b.shown}" for b in wrong_bays]
    blame += [f"rib {name}" for name, p in parts.items() if p.cause in ("rib", "both")]
    named = {x for b in wrong_bays for x in b.stations} | {k for k, p in parts.items() if p.cause in ("rib", "both")}
    blame += [f"station {name}" for name in count["nonconforming"] if name not in named]
    blame += [f"the line {r.line.name} at {r.line.at}" for r in lines if r.state == "nonconforming"]
    fine = sum(r.state == "conforming" for r in lines)
    tail = [f"{good} of {n} stations conform"]
    tail += [f"{fine} of {len(lines)} named lines conform"] * bool(lines)
    tail += [f"{len(count[k])} {k} ({', '.join(count[k])})" for k in ("undecided", "not measured") if count[k]]
    if witnesses_at_odds:
        tail.append("camera and inclinometer do not agree everywhere")
    if blame:
        are = "is" if len(blame) == 1 else "are"
        return f"Not right as it stands: {_list(blame)} {are} wrong; {'; '.join(tail)}."
    if asymmetric:
        at = _list([f"{s.left}/{s.right}" for s in asymmetric])
        return f"Not right as it stands: left and right differ at {at}; {'; '.join(tail)}."
    if good == n and fine == len(lines):
        also = f" and all {fine} named lines" if lines else ""
        return f"All {n} stations{also} conform{'; ' + tail[-1] if witnesses_at_odds else ''}."
    return f"Not decided yet: {'; '.join(tail)}; nothing is shown to be wrong."
