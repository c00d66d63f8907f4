"""The job: the wing as designed, and what it is measured with. Loaded from one TOML file.

Plain frozen data; `shared.job.file` reads and checks the file. Lengths in mm, angles in degrees.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from shared.cards import CardKind
from shared.dimensions import Dimension
from shared.job.named import LinePair, NamedLine, Place

Side = Literal["left", "right", "centre"]
Sense = Literal["nose-up", "unsigned", "0-90", "0-180"]
SAME_SPAN_MM = 10.0
"""Stations left and right this near in span count as a pair."""


@dataclass(frozen=True)
class Station:
    """One rib at one place along the span.

    chord_deg, spar_deg : design angles, nose-up positive; the spar line as an inclinometer reads it (90 + lean).
    lean_deg : lean of the rib plane from plumb, positive when its top leans outboard
        (on a centre station: towards the right wing); None takes the wing's dihedral.
    built_in_tolerance_deg : allowed deviation of the chord angle relative to the spar line; None takes the
        chord's tolerance.
    spar_at : where the spar line crosses the chord line, as a fraction of the chord from the leading edge.
    card : kind of card to print for it; None leaves it to the rib's depth.
    """

    name: str
    side: Side
    span_mm: float
    chord_mm: float
    cards: tuple[int, ...]
    chord_deg: float
    chord_tolerance_deg: float
    spar_deg: float | None = None
    spar_tolerance_deg: float | None = None
    spar_at: float | None = None
    lean_deg: float | None = None
    u_lean_deg: float | None = None
    panel: str | None = None
    built_in_tolerance_deg: float | None = None
    card: CardKind | None = None


@dataclass(frozen=True)
class Wing:
    """What holds for the whole wing.

    root : name of the root station; washout is counted from it.
    dihedral_deg : ribs square to a spar with dihedral lean inboard by it. None: not stated.
    dihedral_tolerance_deg : allowed deviation of a spar's rise from the dihedral. None: it is not judged.
    u_lean_deg : standard uncertainty of the rib planes' lean. None: the tool's wide default.
    symmetry_tolerance_deg : allowed difference, left minus right.
    root_setting : "kept": every chord angle is judged as it stands to gravity; "taken out": the root's own
        deviation is taken off all others, as when the whole wing stands tilted in its supports.
    """

    name: str
    root: str
    dihedral_deg: float | None = None
    u_lean_deg: float | None = None
    symmetry_tolerance_deg: float = 0.2
    root_setting: Literal["kept", "taken out"] = "kept"
    dihedral_tolerance_deg: float | None = None


@dataclass(frozen=True)
class Level:
    """The level reference: its profile, or its uncertainty as a bare number of the shop.

    u_deg : standard uncertainty of the reference itself. zero_error_deg : what it reads on a true level.
    straightedge_mm : width, between its long edges, of a levelled straightedge held across the rib; None: none is.
    """

    profile: str | None = None
    u_deg: float = 0.02
    zero_error_deg: float = 0.0
    straightedge_mm: float | None = None


@dataclass(frozen=True)
class Gauge:
    """The inclinometer: its readings file, what it shows, how good it is.

    readings : path of the CSV, relative to the job file. u_deg : standard uncertainty beside the resolution's.
    sense : how it counts. profile : path of a calibration profile.
    """

    readings: str | None = None
    resolution_deg: float = 0.1
    u_deg: float = 0.1
    sense: Sense = "nose-up"
    profile: str | None = None


@dataclass(frozen=True)
class Jig:
    """How a rib, or a panel of ribs, is turned.

    kind : "screw" (a screw at `arm_mm` from the pivot), "shim" or "packing" (`step_mm` thick).
    thread : "M6", "1/4-20" or a pitch as "1.0 mm". clockwise : what a clockwise turn does to the nose.
    acts_on : "trailing" or "leading" edge side of the pivot. notch : smallest part of a turn worth giving.
    panel : which stations it moves (their `panel`); None moves each station on its own.
    at_span_mm : where along the span it acts, when a panel has several: between two jigs the panel takes up
        their turns in proportion (it twists evenly), beyond them it follows the nearer one.
    """

    kind: Literal["screw", "shim", "packing"] = "screw"
    thread: str | None = None
    arm_mm: float = 300.0
    clockwise: Literal["nose-up", "nose-down"] = "nose-up"
    notch: float = 0.125
    step_mm: float | None = None
    panel: str | None = None
    acts_on: Literal["trailing", "leading"] = "trailing"
    at_span_mm: float | None = None


@dataclass(frozen=True)
class Glue:
    """The bonding window, minutes from mixing. mixed_at : ISO 8601 local time, when known."""

    working_min: float
    gel_min: float
    mixed_at: str | None = None


@dataclass(frozen=True)
class Height:
    """Height of the spar at a station, mm, over any one level surface (a water level's, a laser's)."""

    station: str
    mm: float
    u_mm: float = 0.5


@dataclass(frozen=True)
class SparLevel:
    """A level laid along the spar: rise outboard, degrees, positive as dihedral."""

    side: Side
    deg: float
    u_deg: float = 0.1


@dataclass(frozen=True)
class Typed:
    """A check that a person reads off an instrument and types: a level on the root, a height from a water level.

    design, tolerance, u : in `unit`; tolerance is the allowed deviation either way, u a standard uncertainty.
    """

    name: str
    design: float
    tolerance: float
    u: float
    unit: Literal["deg", "mm"] = "deg"


@dataclass(frozen=True)
class Step:
    """One step of the set-up. checks : names as `shared.job.order.check_names` has them; none: done or not done.

    after : names of the steps that it hangs on.
    """

    name: str
    checks: tuple[str, ...] = ()
    after: tuple[str, ...] = ()


@dataclass(frozen=True)
class CardPrint:
    """How the station cards came out of the printer.

    scale, u_scale : measured over nominal length. stretch, u_stretch : down the sheet against across, relative.
    skew_deg, u_skew_deg : of the printed corner from 90 degrees, positive where the diagonal from the lower left is
    the longer. None: not measured. profile : path of a print profile, in place of all these. thickness_mm, u_thickness_mm :
    how far the printed face stands before the face that it lies on, paper with its backing, mm.
    """

    scale: float = 1.0
    u_scale: float = 0.005
    stretch: float | None = None
    u_stretch: float | None = None
    skew_deg: float | None = None
    u_skew_deg: float | None = None
    profile: str | None = None
    thickness_mm: float = 0.2
    u_thickness_mm: float = 0.2


@dataclass(frozen=True)
class Job:
    """A wing and how it is measured.

    folder : where the job file stands; relative paths count from it.
    lens : "auto" (profiles are matched by EXIF) or a profile's path.
    prints : how the station cards came out of the printer.
    marking_u_deg : how well the lines were drawn by hand; kept apart from the camera's own uncertainty.
    heights, spar_levels : for the spanwise level. typed, steps : the set-up's order. stage : where the work stands, when
    stated.
    only : which ribs of a photo are read: every one that is seen well enough, or the foremost alone.
    length_unit : that lengths are shown in. inch_fractions : of dimensions, in 64ths. decimal : sign in CSV files.
    places : faces that are no rib. lines : by name, at stations and places, beside each rib's chord
    and spar line. pairs : of lines, one set against the other. dimensions : lengths and angles asked for in a plane.
    """

    wing: Wing
    stations: tuple[Station, ...]
    folder: Path = Path()
    lens: str = "auto"
    lens_folder: str = "lens"
    level: Level = field(default_factory=Level)
    gauge: Gauge = field(default_factory=Gauge)
    jigs: tuple[Jig, ...] = ()
    glue: Glue | None = None
    prints: CardPrint = field(default_factory=CardPrint)
    marking_u_deg: float | None = None
    heights: tuple[Height, ...] = ()
    spar_levels: tuple[SparLevel, ...] = ()
    typed: tuple[Typed, ...] = ()
    steps: tuple[Step, ...] = ()
    stage: Literal["before glue", "after glue"] | None = None
    only: Literal["every", "foremost"] = "every"
    length_unit: Literal["mm", "in"] = "mm"
    decimal: Literal[".", ","] = "."
    places: tuple[Place, ...] = ()
    lines: tuple[NamedLine, ...] = ()
    pairs: tuple[LinePair, ...] = ()
    inch_fractions: bool = False
    dimensions: tuple[Dimension, ...] = ()

    def station(self, name: str) -> Station:
        """The station of this name. Raises KeyError."""
        for s in self.stations:
            if s.name == name:
                return s
        raise KeyError(name)

    def station_of_card(self, number: int) -> Station | None:
        """The station that a card number belongs to, or None."""
        return next((s for s in self.stations if number in s.cards), None)

    def owner_of_card(self, number: int) -> Station | Place | None:
        """The station or place that a card number belongs to, or None."""
        return next((f for f in self.faces if number in f.cards), None)

    @property
    def faces(self) -> tuple[Station | Place, ...]:
        """All that cards lie on: the stations, then the places."""
        return (*self.stations, *self.places)

    @property
    def gauge_lines(self) -> dict[tuple[str, str], Literal["chord", "spar"]]:
        """Each named line, by where it is and its name, as an inclinometer counts on it: like a chord or like a spar line."""
        return {line.key: "chord" if line.runs == "level" else "spar" for line in self.lines}

    def lines_at(self, name: str) -> tuple[NamedLine, ...]:
        """The named lines of a station or place."""
        return tuple(line for line in self.lines if line.at == name)
