"""Two surveys beside each other: before and after, today and last month, left and right mirrored.

What both share through an equal source (lens profile, level instrument, the rib's lean, the drawn line's
own waviness and marking) cancels in the change. A string hung again and a card laid again have new errors, so these
count as each survey's own. A change counts as movement when it exceeds its U. A station whose photos are the
same in both, or whose cards the job gave to another rib in between, is no witness of movement: it is left out,
and said. One whose stated lean or side was changed is doubted.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from rigging.survey.least_squares import fit
from rigging.survey.model import LineResult, StationResult, Survey
from rigging.survey.wing import pairs
from shared.errors import UserError
from shared.job.model import Job, Station
from shared.quantity import Quantity
from shared.rounding import degrees

Line = Literal["chord", "spar", "built-in"]
HUNG_OR_LAID = ("string ", "seat of card")
"""How the sources begin that belong to one hanging of a string, one laying of a card."""

LINES: tuple[Line, ...] = ("chord", "spar", "built-in")


@dataclass(frozen=True)
class AngleChange:
    """One line of one station in both surveys, degrees, nose-up positive; change is B minus A.

    beside : the change less what all stations' chords changed by alike (`Comparison.common`): what the
    station did against the rest. doubt : why it must not be trusted, if so.
    """

    station: str
    line: Line
    a: Quantity
    b: Quantity
    change: Quantity
    beside: Quantity
    doubt: str | None = None

    @property
    def moved(self) -> bool:
        """Whether it changed by more than the uncertainty of the change, by angles that may be trusted."""
        return self.doubt is None and abs(self.change.value) > self.change.U

    @property
    def moved_beside(self) -> bool:
        """Whether it moved against the rest by more than the uncertainty of that."""
        return self.doubt is None and abs(self.beside.value) > self.beside.U


@dataclass(frozen=True)
class Comparison:
    """What changed from survey A to survey B.

    common : the chord change that all stations share (the wing set down again, the whole jig tipped);
    None with fewer than three stations. missing : station and line that only one survey has. left_out : station
    and why it cannot be compared.
    """

    kind: Literal["later", "mirrored"]
    changes: tuple[AngleChange, ...]
    common: Quantity | None
    missing: tuple[tuple[str, Line], ...]
    findings: tuple[str, ...]
    left_out: tuple[tuple[str, str], ...] = ()

    def of(self, line: Line) -> tuple[AngleChange, ...]:
        """The changes of one line."""
        return tuple(c for c in self.changes if c.line == line)


def compare(a: Survey, b: Survey) -> Comparison:
    """What moved between two surveys of one wing, station by station.

    Raises UserError where both rest on the very same photos: no change in them is the wing's.
    """
    _refuse_same_photos(a, b)
    theirs = {s.station.name: s for s in b.stations}
    out = dict(_left_out(a, theirs))
    both = [
        (s.station.name, s, _anew(theirs[s.station.name]))
        for s in a.stations
        if s.station.name in theirs and s.station.name not in out
    ]
    gone = [s.station.name for s in a.stations if s.station.name not in theirs]
    gone += [n for n in theirs if n not in {s.station.name for s in a.stations}]
    missing = tuple((n, line) for n in gone for line in LINES)
    doubts = {s.name: why for s in b.job.stations if (why := _lean_changed(a.job, b.job, s.name))}
    found = _compared("later", both, missing, {}, doubts)
    return replace(found, left_out=tuple(out.items()))


def _refuse_same_photos(a: Survey, b: Survey) -> None:
    photos = [{sha for _, sha in s.provenance.photos if sha} for s in (a, b)]
    if not photos[0] or photos[0] != photos[1]:
        return
    n = len(photos[0])
    what = f"rest on the very same {n} photos" if n > 1 else "rest on the very same photo"
    edits = [f"station {s.name}" for s in b.job.stations if _edited(a.job, s)]
    edits += ["the root setting"] if a.root_setting != b.root_setting else []
    rule = f"{what}; only the job was changed ({', '.join(edits)})" if edits else f"{what}: nothing can have moved"
    raise UserError(
        "compare", rule, "photograph the stations again, make a survey of these photos, and compare that one"
    )


def _edited(job: Job, now: Station) -> bool:
    was = {s.name: s for s in job.stations}.get(now.name)
    return was != now


def _left_out(a: Survey, theirs: Mapping[str, StationResult]) -> Iterator[tuple[str, str]]:
    for s in a.stations:
        other = theirs.get(s.station.name)
        if other is None:
            continue
        if _photos(s) & _photos(other):
            yield s.station.name, "both surveys rest on the same photo of it, so it says nothing of movement"
        elif s.station.cards and other.station.cards and not set(s.station.cards) & set(other.station.cards):
            was, now = (", ".join(map(str, x.station.cards)) for x in (s, other))
            yield (
                s.station.name,
                f"the job gives it card {now} now and card {was} then: the photos may show two different ribs",
            )


def _photos(s: StationResult) -> set[str]:
    """The photos that weigh in, by hash."""
    return {p.sha256 for line in (s.chord, s.spar) for p in line.combined.photos if p.weight > 0}


def _lean_changed(a: Job, b: Job, name: str) -> str | None:
    """Why an angle may have changed by what the job states instead of by the wing."""
    was = {s.name: s for s in a.stations}.get(name)
    if was is None:
        return None
    now = b.station(name)
    if was.side != now.side:
        return f"the job calls it {now.side} now and {was.side} then, and the lean counts the other way"
    lean = [s.lean_deg if s.lean_deg is not None else j.wing.dihedral_deg for s, j in ((was, a), (now, b))]
    own = [s.lean_deg is not None for s in (was, now)]
    return None if lean[0] == lean[1] and own[0] == own[1] else "the job states another lean of the rib than then"


def _anew(new: StationResult) -> StationResult:
    """The later result, with the errors of what was hung or laid again under its own sources."""
    lines = [
        replace(line, quantity=None if line.quantity is None else _own(line.quantity))
        for line in (new.chord, new.spar, new.built_in)
    ]
    return replace(new, chord=lines[0], spar=lines[1], built_in=lines[2])


def _own(quantity: Quantity) -> Quantity:
    parts = [
        replace(c, source=f"{c.source} (later)") if c.source.startswith(HUNG_OR_LAID) else c
        for c in quantity.components
    ]
    return Quantity(quantity.value, tuple(parts))


def mirror(survey: Survey) -> Comparison:
    """Left against right at equal span: A right, B left, the design's own difference taken out."""
    by_name = {s.station.name: s for s in survey.stations}
    both = [(f"{left.name}/{right.name}", by_name[right.name], by_name[left.name]) for left, right in pairs(survey.job)]
    design = {name: {line: _design(b, line) - _design(a, line) for line in LINES} for name, a, b in both}
    return _compared("mirrored", both, (), design, {})


def _design(s: StationResult, line: Line) -> float:
    return _line(s, line).design_deg or 0.0


def _line(s: StationResult, line: Line) -> LineResult:
    return {"chord": s.chord, "spar": s.spar, "built-in": s.built_in}[line]


Triple = tuple[str, StationResult, StationResult]


def _compared(
    kind: Literal["later", "mirrored"],
    both: Sequence[Triple],
    missing: tuple[tuple[str, Line], ...],
    design: Mapping[str, Mapping[Line, float]],
    doubts: Mapping[str, str],
) -> Comparison:
    raw: list[AngleChange] = []
    lacking = list(missing)
    for name, old, new in both:
        for line in LINES:
            a, b = _line(old, line), _line(new, line)
            if a.quantity is not None and b.quantity is not None:
                change = (b.quantity - a.quantity).shifted(-design.get(name, {}).get(line, 0.0))
                doubt = _doubt(a) or _doubt(b) or doubts.get(name)
                raw.append(AngleChange(name, line, a.quantity, b.quantity, change, change, doubt))
            elif (a.quantity is None) != (b.quantity is None):
                lacking.append((name, line))
    common = _common([c.change for c in raw if c.line == "chord" and c.doubt is None])
    changes = tuple(_beside(c, common) for c in raw)
    return Comparison(kind, changes, common, tuple(lacking), tuple(_findings(kind, changes, common)))


def _doubt(line: LineResult) -> str | None:
    return line.combined.doubt


def _common(changes: Sequence[Quantity]) -> Quantity | None:
    """The change that most stations share: least squares with the scatter of the changes as their variance.

    The median tells which stations to ask: those within three robust standard deviations of it, so that one
    station that moved does not drag the rest along.
    """
    if len(changes) < 3:
        return None
    values = np.array([c.value for c in changes])
    off = np.abs(values - np.median(values))
    spread = max(1.4826 * float(np.median(off)), max(c.u for c in changes))
    near = [c for c, d in zip(changes, off, strict=True) if d <= 3 * spread]
    return fit(np.ones((len(near), 1)), near, np.eye(len(near)) * spread**2)[0]


def _beside(c: AngleChange, common: Quantity | None) -> AngleChange:
    if common is None or c.line == "built-in":
        return c  # the built-in angle knows nothing of how the wing stands
    return AngleChange(c.station, c.line, c.a, c.b, c.change, c.change - common, c.doubt)


def _findings(kind: str, changes: Sequence[AngleChange], common: Quantity | None) -> Iterator[str]:
    if kind == "mirrored":
        yield from (
            f"{c.station}: left minus right {degrees(c.change, sign=True)} on the {_name(c.line)}"
            for c in changes
            if c.moved
        )
        return
    shared = common is not None and abs(common.value) > common.U
    if common is not None and shared:
        yield (
            f"All stations turned alike by {degrees(common, sign=True)}: the wing stands differently, or the "
            "level reference does"
        )
    moved = [c for c in changes if (c.moved_beside if shared else c.moved)]
    for c in moved:
        if c.line == "built-in" and any(m.station == c.station and m.line == "chord" for m in moved):
            continue
        yield _moved(c, moved, shared)
    if not moved and not shared and any(c.doubt is None for c in changes):
        yield "Nothing moved by more than its uncertainty"


def _moved(c: AngleChange, moved: Sequence[AngleChange], shared: bool) -> str:
    by = c.beside if shared else c.change
    way = "nose-up" if by.value > 0 else "nose-down"
    text = f"{c.station}: {_name(c.line)} moved {degrees(by, sign=True)} ({way})"
    lines = {m.line for m in moved if m.station == c.station}
    if c.line == "chord" and lines == {"chord", "spar"}:
        text += ", the spar line with it: the jig or fitting moved"
    elif c.line == "chord" and "built-in" in lines and "spar" not in lines:
        text += ", the spar line did not: the rib moved on its spar"
    return text + (" against the rest" if shared else "")


def _name(line: Line) -> str:
    return "built-in angle" if line == "built-in" else f"{line} line"
