"""What to turn, which way and by how much; and what that does to the neighbours.

A jig is asked to take out the spar line's deviation: a rib set wrong on its spar is not for the jig. The
chord's serves only where the job gives no spar line; one that was not read leaves the jig alone. One rigid
panel, one turn for all its stations; with several jigs the panel twists evenly between them. Weighted
least squares over the panel's stations.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from rigging.survey.decision import decide
from rigging.survey.instructions import instruction
from rigging.survey.least_squares import fit
from rigging.survey.threads import pitch_mm
from shared.job.model import Jig, Job, Station
from shared.numerics.arrays import F64
from shared.quantity import Quantity
from shared.rounding import degrees, number


@dataclass(frozen=True)
class Moved:
    """What a set of corrections does to one station, degrees: its deviation now and afterwards."""

    station: str
    before: Quantity
    after: Quantity
    tolerance_deg: float


@dataclass(frozen=True)
class Correction:
    """One jig's correction.

    change_deg : turn asked of the jig, nose-up positive (before rounding to its smallest step).
    amount : turns of the screw, clockwise positive, or mm of shim or packing, to put in positive.
    rounded : the same in whole smallest steps. u_amount : its standard uncertainty.
    words : the instruction, as a person would do it. needed : False when nothing should be turned.
    """

    jig: Jig
    stations: tuple[str, ...]
    change_deg: Quantity
    amount: float
    rounded: float
    u_amount: float
    needed: bool
    words: str
    moved: tuple[Moved, ...] = ()


@dataclass(frozen=True)
class Standing:
    """What a correction needs to know of a station, degrees from design, nose-up positive.

    chord : deviation of the chord. jig : deviation of the spar line, None where it was not read.
    doubt : why it must not be acted on.
    """

    station: Station
    chord: Quantity | None
    jig: Quantity | None
    doubt: str | None = None

    @property
    def target(self) -> tuple[Quantity, float] | None:
        """What the jig is to take out, and its tolerance; None when nothing is known or it is doubtful."""
        if self.doubt is not None:
            return None
        if self.jig is not None and self.station.spar_tolerance_deg is not None:
            return self.jig, self.station.spar_tolerance_deg
        if self.chord is None or self.station.spar_deg is not None:
            return None
        return self.chord, self.station.chord_tolerance_deg

    @property
    def out_of_tolerance(self) -> bool:
        """Whether the chord is shown to be out of tolerance."""
        return (
            self.doubt is None
            and self.chord is not None
            and decide(self.chord, self.station.chord_tolerance_deg).outcome == "nonconforming"
        )


def corrections(job: Job, standings: Mapping[str, Standing]) -> tuple[Correction, ...]:
    """A correction for every jig of the job with a station that was measured, panels first."""
    out: list[Correction] = []
    moved_by_panel: set[str] = set()
    for panel in dict.fromkeys(j.panel for j in job.jigs if j.panel is not None):
        jigs = sorted((j for j in job.jigs if j.panel == panel), key=lambda j: j.at_span_mm or 0.0)
        on_it = [standings[s.name] for s in job.stations if s.panel == panel and s.name in standings]
        moved_by_panel |= {s.name for s in job.stations if s.panel == panel}
        out += _panel(jigs, on_it)
    for jig in (j for j in job.jigs if j.panel is None):
        for s in job.stations:
            if s.name not in moved_by_panel and s.name in standings:
                out += _panel([jig], [standings[s.name]])
    return tuple(out)


def closed(found: Sequence[Correction], why: str) -> tuple[Correction, ...]:
    """The corrections with nothing left to turn. why : what stands against it, as "the glue has gelled"."""
    return tuple(
        replace(
            c,
            needed=False,
            rounded=0.0,
            moved=tuple(replace(m, after=m.before) for m in c.moved),
            words=f"{_of(c.jig, c.stations)}: {why}, turn nothing; it stands {degrees(-c.change_deg, sign=True)} off",
        )
        if c.needed
        else c
        for c in found
    )


def effect(jig: Jig, amount: float) -> float:
    """Turn, degrees nose-up, that an amount (turns clockwise, or mm put in) gives: atan(travel / arm)."""
    return math.degrees(math.atan2(amount * _travel_per_amount(jig), jig.arm_mm))


def amount_for(jig: Jig, change_deg: float) -> float:
    """Amount (turns clockwise, or mm put in) for a turn of `change_deg` nose-up: arm tan(change) / travel."""
    return jig.arm_mm * math.tan(math.radians(change_deg)) / _travel_per_amount(jig)


def smallest(jig: Jig) -> float:
    """The smallest amount worth giving: a notch of a turn, or one shim."""
    return jig.notch if jig.kind == "screw" else float(jig.step_mm or 1.0)


def _travel_per_amount(jig: Jig) -> float:
    """Travel at the arm, mm nose-up, of one turn clockwise or one mm put in."""
    if jig.kind == "screw":
        return pitch_mm(jig.thread or "") * (1.0 if jig.clockwise == "nose-up" else -1.0)
    return 1.0 if jig.acts_on == "leading" else -1.0


def shares(jigs: Sequence[Jig], span_mm: Sequence[float]) -> F64:
    """(stations, jigs) share of each jig's turn that a station takes: even twist between, constant beyond."""
    if len(jigs) == 1:
        return np.ones((len(span_mm), 1))
    at = [j.at_span_mm or 0.0 for j in jigs]
    return np.column_stack([np.interp(span_mm, at, row) for row in np.eye(len(jigs))])


def _panel(jigs: Sequence[Jig], standings: Sequence[Standing]) -> list[Correction]:
    known = [(s, t) for s in standings if (t := s.target) is not None]
    names = tuple(s.station.name for s in standings)
    if not known:
        out = [s.station.name for s in standings if s.out_of_tolerance]
        return [_unread(j, names, out) for j in jigs] if out else []
    targets = [q for _, (q, _) in known]
    extra = np.diag([(tolerance / 2) ** 2 for _, (_, tolerance) in known])
    try:
        turns = fit(shares(jigs, [s.station.span_mm for s, _ in known]), targets, extra)
    except np.linalg.LinAlgError:
        return [
            Correction(
                j,
                names,
                Quantity(0.0),
                0.0,
                0.0,
                math.nan,
                False,
                f"{_of(j, names)}: too few stations measured to tell its {len(jigs)} jigs apart; "
                "measure a station near each",
            )
            for j in jigs
        ]
    wrong = any(decide(q, tolerance).outcome == "nonconforming" for _, (q, tolerance) in known)
    drafts = [_draft(j, names, -turn, wrong) for j, turn in zip(jigs, turns, strict=True)]
    moved = _moved(jigs, standings, drafts)
    return [replace(d, moved=moved) for d in drafts]


def _draft(jig: Jig, names: tuple[str, ...], change: Quantity, wrong: bool) -> Correction:
    amount = amount_for(jig, change.value)
    step = smallest(jig)
    rounded = round(amount / step) * step
    u_amount = abs(amount_for(jig, change.value + change.u) - amount)
    needed = wrong and abs(change.value) > change.U and rounded != 0
    if needed:
        words = f"{_of(jig, names)}: {instruction(jig, rounded)} ({degrees(change, sign=True)} asked)"
    elif wrong:
        words = (
            f"{_of(jig, names)}: leave it; its stations do not lie off alike, and no turn of it mends "
            f"them ({degrees(change, sign=True)} would be best)"
        )
    else:
        words = (
            f"{_of(jig, names)}: leave it, no spar line on it (or chord, where that alone was read) is "
            "shown to be wrong"
        )
    return Correction(jig, names, change, amount, rounded if needed else 0.0, u_amount, needed, words)


def _unread(jig: Jig, names: tuple[str, ...], wrong: list[str]) -> Correction:
    words = (
        f"{_of(jig, names)}: leave it until the spar line is read; the chord of {', '.join(wrong)} "
        "alone does not tell rib from jig"
    )
    return Correction(jig, names, Quantity(0.0), 0.0, 0.0, math.nan, False, words)


def _of(jig: Jig, names: tuple[str, ...]) -> str:
    where = f" at {number(jig.at_span_mm, 0)} mm" if jig.at_span_mm is not None else ""
    return f"jig of panel {jig.panel}{where} ({', '.join(names)})" if jig.panel else f"jig of {names[0]}"


def _moved(jigs: Sequence[Jig], standings: Sequence[Standing], drafts: Sequence[Correction]) -> tuple[Moved, ...]:
    turns = np.array([effect(d.jig, d.rounded) for d in drafts])
    out = []
    for s, share in zip(standings, shares(jigs, [s.station.span_mm for s in standings]), strict=True):
        before, tolerance = s.chord, s.station.chord_tolerance_deg
        if before is None:
            before, tolerance = s.jig, s.station.spar_tolerance_deg or tolerance
        if before is not None:
            out.append(Moved(s.station.name, before, before.shifted(float(share @ turns)), tolerance))
    return tuple(out)
