"""What one photo yields: angles with budgets, flags, reasons, advice, and how it was made.

Three channels, kept apart: a caller's mistake raises `UserError`; a photo that cannot be measured
gives a reading without a value and with a reason; a doubtful one gives a value with a flag.
Pixels in the evidence: (x, y), first pixel's centre (0, 0), y down, EXIF orientation applied.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from shared.cards import CardKind
from shared.flags import Flag
from shared.lines import Role
from shared.quantity import Quantity

Point = tuple[float, float]


@dataclass(frozen=True)
class Advice:
    """What would help most.

    u_now, u_then : U before and after, degrees, where it can be computed.
    """

    text: str
    u_now: float | None = None
    u_then: float | None = None


@dataclass(frozen=True)
class Angle:
    """One line's angle: a value with flags, or no value with a reason."""

    quantity: Quantity | None
    reason: str | None = None
    flags: tuple[Flag, ...] = ()


NO_RIB = "no rib: it has no chord line"
"""Why a place that is no rib has no chord angle."""


@dataclass(frozen=True)
class NamedAngle:
    """The angle to gravity of a line by name, counted as `shared.job.named` says: from level, arrow's end up positive, an
    upright line 90 + lean. relative : the same where nothing in the photo shows gravity; only differences say anything."""

    name: str
    angle: Angle
    relative: Quantity | None = None


@dataclass(frozen=True)
class SeenCard:
    """A station card found in the photo.

    outline : its printed board's four corners, pixels, in board order. corners : those used for the plane.
    rms_px : residual of the used corners in the joint solution.
    """

    kind: CardKind
    number: int
    outline: tuple[Point, ...]
    corners: tuple[Point, ...]
    rejected: tuple[Point, ...]
    rms_px: float


@dataclass(frozen=True)
class SeenLine:
    """A line found in the photo, or a candidate that was weighed.

    role : what it is to the reading; a candidate carries the reasons for and against it.
    path : points along the fitted line, pixels. width_mm : drawn width on the rib plane (NaN off it).
    evidence : name -> number, what spoke for and against. name : of a named line.
    """

    role: Role
    path: tuple[Point, ...]
    width_mm: float
    rms_px: float
    used: bool
    why: str
    evidence: tuple[tuple[str, float], ...] = ()
    name: str = ""


@dataclass(frozen=True)
class SeenMark:
    """A reference mark. off_mm : distance of its centre above the fitted chord line, mm on the rib plane."""

    kind: Literal["quartered", "cross"]
    at: Point
    off_mm: float
    u_mm: float


@dataclass(frozen=True)
class Evidence:
    """What the overlay draws; all points in pixels of the full photo.

    size : width, height of the photo. grid : polylines of the rib plane's millimetre grid.
    level_line : the rib plane's own level line through the middle of the chord line, against which
    the chord angle shows.
    """

    size: tuple[int, int]
    cards: tuple[SeenCard, ...] = ()
    lines: tuple[SeenLine, ...] = ()
    marks: tuple[SeenMark, ...] = ()
    grid: tuple[tuple[Point, ...], ...] = ()
    level_line: tuple[Point, ...] = ()


@dataclass(frozen=True)
class RibDifference:
    """How a rib stands against another one in the same photo: chord angle less the other's, degrees.

    What both share in the photo (gravity, lens, camera) has cancelled; it needs no level reference.
    """

    against: str
    quantity: Quantity


@dataclass(frozen=True)
class FoundLean:
    """The rib plane's lean as the photo itself shows it, degrees, top outboard positive, beside what the job states."""

    quantity: Quantity
    stated_deg: float
    u_stated_deg: float

    @property
    def off(self) -> float:
        """Distance from the stated lean, in standard uncertainties of that distance."""
        return abs(self.quantity.value - self.stated_deg) / math.hypot(self.quantity.u, self.u_stated_deg)


@dataclass(frozen=True)
class Measured:
    """One of the job's dimensions as one photo shows it: a value, or none and the reason.

    place, name : of the dimension. unit : of the quantity. paths : what it stands on, pixels: a point of each mark, points
    along each line or edge.
    """

    place: str
    name: str
    unit: Literal["mm", "deg"]
    quantity: Quantity | None
    reason: str | None = None
    flags: tuple[Flag, ...] = ()
    paths: tuple[tuple[Point, ...], ...] = ()


@dataclass(frozen=True)
class Photo:
    """Which photo it was. taken : EXIF date and time, ISO 8601 without zone, or None."""

    name: str
    sha256: str
    width: int
    height: int
    taken: str | None
    camera: str | None


@dataclass(frozen=True)
class Made:
    """How a reading was made."""

    version: str
    lens: str | None
    level: str | None
    settings: tuple[tuple[str, str], ...] = ()
    helped: bool = False


@dataclass(frozen=True)
class Reading:
    """One photo of one station.

    forward : which way the leading edge points in the photo. reference : the level references, as
    `shared.lines.reference_of` names them. foremost : whether the station's rib is the photo's foremost
    one; the readings of the ribs behind it are readings of the same photo. twist : against the foremost rib, or, at the
    foremost one, None. relative : the chord angle where nothing in the photo shows gravity: its unknown part is one source
    that the photo's other ribs share, so that only differences say anything. lean : where the photo determines it. lines :
    those that the job names at the station or place. dimensions : of the job, those whose cards the photo shows; the reading
    of a photo's foremost rib has them all.
    """

    photo: Photo
    station: str | None
    chord: Angle
    spar: Angle
    forward: Literal["left", "right"] | None
    reference: str | None
    made: Made
    flags: tuple[Flag, ...] = ()
    advice: tuple[Advice, ...] = ()
    evidence: Evidence | None = None
    foremost: bool = True
    twist: RibDifference | None = None
    relative: Quantity | None = None
    lean: FoundLean | None = None
    lines: tuple[NamedAngle, ...] = ()
    dimensions: tuple[Measured, ...] = ()

    @property
    def key(self) -> str:
        """What it is set aside by: the photo's SHA-256, and the station where that stands behind the photo's foremost."""
        return self.photo.sha256 if self.foremost else f"{self.photo.sha256} {self.station}"

    @property
    def measured(self) -> bool:
        """Whether the chord angle has a value; at a place that is no rib, whether any line or dimension has."""
        others = (*(line.angle.quantity for line in self.lines), *(m.quantity for m in self.dimensions))
        return self.chord.quantity is not None or (self.chord.reason == NO_RIB and any(q is not None for q in others))

    @property
    def built_in(self) -> Quantity | None:
        """Built-in angle (chord angle minus lean of the spar line), degrees; None unless both were read.

        What both share (level reference, rib plane, lens) cancels in it as it should.
        """
        if self.chord.quantity is None or self.spar.quantity is None:
            return None
        return (self.chord.quantity - self.spar.quantity).shifted(90.0)
