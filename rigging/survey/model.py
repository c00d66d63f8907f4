"""A survey evaluated: everything known about a wing from one set of readings. What report and page show.

Degrees, nose-up positive; `Quantity` keeps shared components, so differences of any two of them are right.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, Literal

from rigging.crosscheck.types import CrossCheck, Pair
from rigging.order.happened import Happened
from rigging.order.state import SetUp
from rigging.survey.bonding import BondingWindow, ToCheck
from rigging.survey.corrections import Correction
from rigging.survey.decision import Decision
from rigging.survey.dimensions import DimensionResult, SidesResult
from rigging.survey.fairness import Fairness, Unfair
from rigging.survey.repeats import Combined
from rigging.survey.rib_or_jig import RibOrJig
from rigging.survey.wing import Symmetry, Twist, Washout
from shared.flags import Flag
from shared.gauge.readings import GaugeReadings
from shared.job.model import Job, Station
from shared.quantity import Quantity
from shared.reading import Reading

if TYPE_CHECKING:
    from calibration.gauge.profile import GaugeProfile
    from rigging.survey.named_lines import NamedResult
    from rigging.survey.span_level import SpanLevel
    from rigging.survey.two_lines import TwoLines

RootSetting = Literal["kept", "taken out"]
Stage = Literal["before glue", "after glue"]
State = Literal["conforming", "nonconforming", "undecided", "not measured"]


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
    state: State
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
    crosscheck : `rigging.crosscheck.check`'s comparison with the inclinometer, when there is one. lines : those that the job
    names. pairs : of lines whose built-in angle counts by itself. dimensions, sides : the job's lengths and angles in a
    plane, and left against right of each.
    setup : how far the set-up has come, step by step; it changes no angle and no decision.
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
    span_levels: tuple[SpanLevel, ...] = ()
    lines: tuple[NamedResult, ...] = ()
    pairs: tuple[TwoLines, ...] = ()
    dimensions: tuple[DimensionResult, ...] = ()
    sides: tuple[SidesResult, ...] = ()
    setup: SetUp = field(default_factory=SetUp)

    def station(self, name: str) -> StationResult:
        """The result of the station of this name. Raises KeyError."""
        for s in self.stations:
            if s.station.name == name:
                return s
        raise KeyError(name)


def evaluate(
    job: Job,
    readings: Sequence[Reading],
    gauge_readings: GaugeReadings | None = None,
    *,
    gauge_profile: GaugeProfile | None = None,
    set_aside: Mapping[str, str] | None = None,
    root_setting: RootSetting | None = None,
    now: datetime | None = None,
    happened: Happened | None = None,
) -> Survey:
    """Evaluate a set of readings as a survey of the job's wing.

    Parameters
    ----------
    readings : one a photo, any order; photos of no station of the job are listed as refused.
    gauge_readings, gauge_profile : the inclinometer's, for the cross-check.
    set_aside : photo name or SHA-256 -> the user's reason for leaving that photo out.
    root_setting : None takes the job's.
    now : local time without zone, for the bonding window and the provenance; None is the clock's.
    happened : what was turned, came and was said, and when: for the steps of the set-up. Beside that, what the inclinometer
        showed at a station before it was turned is left out.
    """
    from rigging.survey.evaluate import evaluate_survey
    from rigging.survey.station_lines import Asked

    asked = Asked(
        dict(set_aside or {}),
        root_setting or job.wing.root_setting,
        job.stage,
        now or datetime.now().replace(microsecond=0),
        happened or Happened(),
    )
    return evaluate_survey(job, readings, gauge_readings, gauge_profile, asked)
