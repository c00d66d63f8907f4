"""The published layout of `survey.json`. Degrees, nose-up positive; null is unknown. Additions only."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta, Struct

State = Literal["conforming", "nonconforming", "undecided", "not measured"]
StepState = Literal["to do", "right", "wrong", "open again"]
Sha256 = Annotated[str, Meta(pattern="^[0-9a-f]{64}$")]


class Angle(Struct, frozen=True, forbid_unknown_fields=True):
    """A value, degrees (of a dimension in its unit); u its standard, U its expanded uncertainty (k = 2); budget: u by
    component, largest first."""

    value: float | None
    u: float | None
    U: float | None
    budget: dict[str, float | None]


class Judged(Struct, frozen=True, forbid_unknown_fields=True):
    """A deviation against a tolerance (ISO 14253-1), with the probability of conformance (JCGM 106)."""

    outcome: Literal["conforming", "nonconforming", "undecided"]
    deviation: float | None
    U: float | None
    tolerance: float
    p_conforming: float | None
    why: str | None
    advice: tuple[str, ...]


class Line(Struct, frozen=True, forbid_unknown_fields=True):
    """One line of a station, or its built-in angle; reason says why there is no angle."""

    angle: Angle | None
    design: float | None
    tolerance: float | None
    deviation: Angle | None
    decision: Judged | None
    photos: tuple[str, ...]
    flags: tuple[str, ...]
    reason: str | None


class Washout(Struct, frozen=True, forbid_unknown_fields=True):
    """Root's chord angle minus the station's."""

    angle: Angle
    design: float
    decision: Judged


class RibOrJig(Struct, frozen=True, forbid_unknown_fields=True):
    """The deviation split into jig (lean of the spar line) and rib (built-in angle)."""

    cause: str
    jig: Angle | None
    rib: Angle | None
    words: str
    before_glue: str
    after_glue: str


class Station(Struct, frozen=True, forbid_unknown_fields=True):
    """One station; span_mm from the centre line."""

    name: str
    side: Literal["left", "right", "centre"]
    span_mm: float
    state: State
    headline: str
    chord: Line
    spar: Line
    built_in: Line
    washout: Washout | None
    rib_or_jig: RibOrJig
    flags: tuple[str, ...]


class NamedLine(Struct, frozen=True, forbid_unknown_fields=True):
    """A line that the job names, counted as the job counts it; gravity: from level, the arrow's end up positive."""

    at: str
    name: str
    to: str
    positive: str
    state: State
    headline: str
    line: Line
    gravity: Angle | None
    gauge: float | None
    En: float | None
    todo: str


class TwoLines(Struct, frozen=True, forbid_unknown_fields=True):
    """One line set against another: how its base stands and what is built in between them, off design."""

    at: str
    line: str
    base: str
    cause: str
    base_off: Angle | None
    built_off: Angle | None
    words: str
    todo: str


class SpanLevel(Struct, frozen=True, forbid_unknown_fields=True):
    """Rise of a side's spar outboard (side "both": the roll, left tip high)."""

    side: str
    how: str
    rise: Angle
    design: float | None
    words: str


class Symmetry(Struct, frozen=True, forbid_unknown_fields=True):
    """Left minus right, the design's own difference taken out."""

    left: str
    right: str
    span_mm: float
    angle: Angle
    decision: Judged


class Dimension(Struct, frozen=True, forbid_unknown_fields=True):
    """A length (mm) or angle (degrees) in a plane, between two features; limits says what limits its U."""

    place: str
    name: str
    kind: str
    between: tuple[str, str]
    unit: Literal["mm", "deg"]
    value: Angle | None
    design: float | None
    tolerance: float | None
    deviation: Angle | None
    decision: Judged | None
    photos: tuple[str, ...]
    flags: tuple[str, ...]
    limits: str
    reason: str | None


class Sides(Struct, frozen=True, forbid_unknown_fields=True):
    """Left minus right of one dimension, the designs' own difference taken out."""

    name: str
    left: str
    right: str
    unit: Literal["mm", "deg"]
    value: Angle
    decision: Judged | None


class Correction(Struct, frozen=True, forbid_unknown_fields=True):
    """One jig. change: turn asked, nose-up; amount: turns (clockwise positive) or mm, in whole steps."""

    words: str
    needed: bool
    stations: tuple[str, ...]
    change: Angle
    amount: float


class Pair(Struct, frozen=True, forbid_unknown_fields=True):
    """Camera and inclinometer on one line; difference is camera minus gauge."""

    station: str
    line: Literal["chord", "spar"]
    shown: float
    camera: float | None
    gauge: float | None
    difference: float | None
    U_difference: float | None
    En: float | None
    agrees: bool


class Agreement(Struct, frozen=True, forbid_unknown_fields=True):
    """Bias and 95 % limits of agreement."""

    n: int
    bias: float
    sd: float
    lower: float
    upper: float


class Check(Struct, frozen=True, forbid_unknown_fields=True):
    """The cross-check; meaning is the diagnosis singled out, or why_silent says why there is none."""

    pairs: tuple[Pair, ...]
    agreement: Agreement | None
    meaning: str | None
    probability: float | None
    why_silent: str | None


class StepCheck(Struct, frozen=True, forbid_unknown_fields=True):
    """One check of a step. state: as of the step; why: value, reason, or what was turned since."""

    name: str
    state: StepState
    why: str


class Step(Struct, frozen=True, forbid_unknown_fields=True):
    """One step of the set-up. after: steps that it hangs on; waits: those of them that are not right."""

    name: str
    state: StepState
    checks: tuple[StepCheck, ...]
    after: tuple[str, ...]
    waits: tuple[str, ...]
    why: str


class Refusal(Struct, frozen=True, forbid_unknown_fields=True):
    """A photo without a value."""

    photo: str
    station: str | None
    reason: str


class Photo(Struct, frozen=True, forbid_unknown_fields=True):
    """A photo by name and hash."""

    name: str
    sha256: str


class Made(Struct, frozen=True, forbid_unknown_fields=True):
    """How it was made."""

    version: str
    evaluated_at: str
    photos: tuple[Photo, ...]
    lenses: tuple[str, ...]
    levels: tuple[str, ...]
    settings: dict[str, str]
    job_sha256: Sha256 | None
    gauge_sha256: Sha256 | None


class Report(Struct, frozen=True, forbid_unknown_fields=True):
    """The whole file."""

    format: Literal["ribangle report 1"]
    cautions: tuple[str, ...]
    wing: str
    root: str
    root_setting: Literal["kept", "taken out"]
    stage: Literal["before glue", "after glue"] | None
    verdict: str
    findings: tuple[str, ...]
    stations: tuple[Station, ...]
    symmetry: tuple[Symmetry, ...]
    corrections: tuple[Correction, ...]
    crosscheck: Check | None
    refusals: tuple[Refusal, ...]
    flags: tuple[str, ...]
    made: Made
    lines: tuple[NamedLine, ...]
    pairs: tuple[TwoLines, ...]
    span_levels: tuple[SpanLevel, ...]
    dimensions: tuple[Dimension, ...]
    sides: tuple[Sides, ...]
    steps: tuple[Step, ...]
    next: str
