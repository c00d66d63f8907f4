"""A survey evaluated: everything known about a wing from one set of readings. What report and page show.

Degrees, nose-up positive; `Quantity` keeps shared components, so differences of any two of them are right.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from rigging.bonding import BondingWindow, ToCheck
from rigging.corrections import Correction
from rigging.crosscheck_types import CrossCheck, Pair
from rigging.decision import Decision
from rigging.fairness import Fairness, Unfair
from rigging.repeats import Combined
from rigging.rib_or_jig import RibOrJig
from rigging.wing import Symmetry, Twist, Washout
from shared.job import Job, Station
from shared.quantity import Quantity
from shared.reading import Flag

RootSetting = Literal["kept", "taken out"]
Stage = Literal["before glue", "after glue"]


@dataclass(frozen=True)
class LineResult:
    """One line of one station (chord or spar line) or its built-in angle.

    combined : the camera's angle from all photos. quantity : the same with the marking of the line by
    hand added, which the decision uses (None: no value, `reason` says why).
    deviation : from design, the root's deviation taken out when the survey is so set.
    """

    line: Literal["chord", "spar", "built-in"]
    combined: Combined
    quantity: Quantity | None
    design_deg: float | None
    tolerance_deg: float | None
    deviation: Quantity | None
    decision: Decision | None
    flags: tuple[Flag, ...] = ()
    reason: str | None = None


@dataclass(frozen=True)
class Refusal:
    """A photo without a value, or without a station, and the reason."""

    photo: str
    station: str | None
    reason: str


@dataclass(frozen=True)
class StationResult:
    """Everything about one station.

    state : the chord's decision, or "not measured". headline : one sentence.
    gauge : the inclinometer's word beside the camera's, with En numbers, chord and spar line.
    """

    station: Station
    state: Literal["conforming", "nonconforming", "undecided", "not measured"]
    headline: str
    chord: LineResult
    spar: LineResult
    built_in: LineResult
    washout: Washout | None
    symmetry: Symmetry | None
    fairness: Fairness | None
    rib_or_jig: RibOrJig
    gauge: tuple[Pair, ...] = ()
    flags: tuple[Flag, ...] = ()


@dataclass(frozen=True)
class Provenance:
    """How the survey was made. photos : name and SHA-256. settings : name and value, as recorded."""

    version: str
    evaluated_at: str
    photos: tuple[tuple[str, str], ...]
    lenses: tuple[str, ...]
    levels: tuple[str, ...]
    settings: tuple[tuple[str, str], ...] = ()
    job_sha256: str | None = None
    gauge_sha256: str | None = None


@dataclass(frozen=True)
class Survey:
    """The whole wing.

    verdict : the outcome in one sentence. findings : what stands wrong, one sentence each, gravest first.
    crosscheck : `rigging.crosscheck`'s comparison with the inclinometer, when there is one.
    """

    job: Job
    root_setting: RootSetting
    stage: Stage | None
    verdict: str
    findings: tuple[str, ...]
    stations: tuple[StationResult, ...]
    symmetry: tuple[Symmetry, ...]
    twist: tuple[Twist, ...]
    unfair: tuple[Unfair, ...]
    corrections: tuple[Correction, ...]
    order: tuple[ToCheck, ...]
    bonding: BondingWindow | None
    crosscheck: CrossCheck | None
    refusals: tuple[Refusal, ...]
    flags: tuple[Flag, ...]
    provenance: Provenance

    def station(self, name: str) -> StationResult:
        """The result of the station of this name. Raises KeyError."""
        for s in self.stations:
            if s.station.name == name:
                return s
        raise KeyError(name)
