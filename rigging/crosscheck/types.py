"""What the cross-check of camera and inclinometer yields.

Degrees, nose-up positive; differences are camera - gauge.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from shared.flags import Flag
from shared.gauge.readings import Line, Oddity
from shared.job.model import Side
from shared.quantity import Quantity

Verdict = Literal[
    "none",
    "offset",
    "scale",
    "sign",
    "complement",
    "sense",
    "swap",
    "sides",
    "lines",
    "slip",
    "station",
    "drift",
    "step",
    "sticking",
    "rounding",
    "scatter",
]


@dataclass(frozen=True)
class Pair:
    """One line of one station, by camera and by gauge.

    shown_deg : mean of what the gauge showed. gauge : the same in the camera's sense, corrected by the
    gauge's profile when there is one. difference : camera - gauge, with what both share taken out.
    en : the En number. order : place in the sequence of reading, 0 first.
    """

    station: str
    side: Side
    line: Line
    camera: Quantity
    gauge: Quantity
    shown_deg: float
    difference: Quantity
    en: float
    order: int
    taken: str | None = None
    flags: tuple[Flag, ...] = ()

    @property
    def agrees(self) -> bool:
        """Whether |En| <= 1 (ISO/IEC 17043)."""
        return abs(self.en) <= 1.0


@dataclass(frozen=True)
class Interval:
    """A value with its 95 % confidence interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Agreement:
    """Bias and 95 % limits of agreement over n pairs (Bland and Altman, Lancet 1986), degrees.

    bias : mean of camera - gauge. sd : standard deviation of the differences.
    """

    n: int
    bias: Interval
    sd: float
    lower: Interval
    upper: Interval


@dataclass(frozen=True)
class Fault:
    """One elementary fault of the inclinometer readings.

    stations : those concerned (two for a swap, several for sticking, none for all). line : None for both.
    side : the side concerned, None for both.
    size : the fault's estimate in degrees where it has one (zero error, misreading, drift over the session).
    """

    kind: Verdict
    stations: tuple[str, ...] = ()
    line: Line | None = None
    side: Side | None = None
    size: Quantity | None = None
    variant: str = ""


@dataclass(frozen=True)
class Hypothesis:
    """One explanation of all differences: no fault, one fault or two, how probable, and in words.

    probability : posterior, the weighed hypotheses adding to 1. log_evidence : natural logarithm of the
    marginal likelihood. left_over : worst remaining |difference| over its standard uncertainty. after : what
    is left of the difference of each pair, in its standard uncertainties, in the order of the pairs.
    """

    faults: tuple[Fault, ...]
    probability: float
    log_evidence: float
    left_over: float
    text: str
    after: tuple[float, ...] = ()

    @property
    def kinds(self) -> tuple[Verdict, ...]:
        """Kinds of its faults, sorted; ("none",) without a fault."""
        return tuple(sorted(f.kind for f in self.faults)) or ("none",)


@dataclass(frozen=True)
class Diagnosis:
    """What the pattern of differences means.

    verdict : the explanation that the data single out; None when they cannot tell (`why_silent` says why).
    ranked : the best explanations, most probable first; ranked[1] is the runner-up.
    """

    verdict: Hypothesis | None
    runner_up: Hypothesis | None
    ranked: tuple[Hypothesis, ...]
    why_silent: str | None
    evidence: tuple[str, ...]
    advice: tuple[str, ...]

    @property
    def alarm(self) -> bool:
        """Whether a fault is named."""
        return self.verdict is not None and bool(self.verdict.faults)


@dataclass(frozen=True)
class CrossCheck:
    """Camera against inclinometer, all stations.

    agreement : over all pairs, None with fewer than three. by_line : the same for one line's pairs.
    camera_only, gauge_only : (station, line) that the other witness lacks.
    """

    pairs: tuple[Pair, ...]
    agreement: Agreement | None
    by_line: tuple[tuple[Line, Agreement], ...]
    diagnosis: Diagnosis
    camera_only: tuple[tuple[str, Line], ...] = ()
    gauge_only: tuple[tuple[str, Line], ...] = ()
    oddities: tuple[Oddity, ...] = ()
    flags: tuple[Flag, ...] = ()

    @property
    def disagreeing(self) -> tuple[Pair, ...]:
        """Pairs with |En| > 1."""
        return tuple(p for p in self.pairs if not p.agrees)
