"""Live setting: the first photo read in full, every further one measured against it, and what follows for the screw.

A camera that was moved ends a comparison: the photo at hand is read in full and becomes a new first one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

from rigging.survey.corrections import Correction
from rigging.survey.model import Survey, evaluate
from shared.flags import in_doubt
from shared.job.model import Job
from shared.numerics.arrays import F64
from shared.quantity import Quantity
from shared.reading import Angle, Reading
from vision.image.photo import Picture
from vision.live.relative import Change, Start, begin, compare
from vision.reader import read_fully

State = Literal["waiting", "start", "seen", "not seen", "camera moved", "missing"]

LOOSE = (
    "the card has turned against the chord line: is it loose, or is the line taken for the chord line not on the rib?"
)


@dataclass(frozen=True)
class Moment:
    """What one photo of a live run told.

    angle : chord angle now, degrees; change : since the first photo (None in the first). turned_mm : slide of mid chord
    along and up. standing : the station's decision. turn : what is left to turn, in words. doubts : why not to trust it.
    since : name of the photo that counts as the first now.
    """

    number: int
    name: str
    at: datetime
    state: State
    reason: str = ""
    angle: Quantity | None = None
    change: Change | None = None
    deviation: Quantity | None = None
    standing: str = "not measured"
    turn: str = ""
    doubts: tuple[str, ...] = ()
    since: str = ""


class Run:
    """A live run at one station. Raises UserError where the job names a lens profile that cannot be read."""

    def __init__(self, job: Job, station: str) -> None:
        self.job, self.station = job, job.station(station)
        self.reading: Reading | None = None
        self.start: Start | None = None
        self._motion: F64 | None = None
        self._count = 0

    def feed(self, picture: Picture, at: datetime) -> Moment:
        """Take the next photo."""
        self._count += 1
        if self.start is None:
            return self._begun(picture, at, "start", "")
        change = compare(self.start, picture, self._motion)
        if change.camera.reason:
            return self._begun(picture, at, "camera moved", change.camera.reason, change)
        if change.turn is None:
            self._motion = None
            return Moment(
                self._count, picture.name, at, "not seen", change.reason, change=change, since=self.start.name
            )
        self._motion = change.motion
        assert self.reading is not None
        now = _turned(self.reading, change.turn)
        return self._told(
            Moment(self._count, picture.name, at, "seen", change=change, since=self.start.name),
            now,
            (LOOSE,) if change.loose else (),
        )

    def _begun(self, picture: Picture, at: datetime, state: State, why: str, change: Change | None = None) -> Moment:
        """Read a photo in full and count from it on."""
        seen = read_fully(picture, self.job)
        reading = seen.reading
        reason, begun = "", None
        if reading.station is not None and reading.station != self.station.name:
            reason = f"the photo shows {reading.station}, not {self.station.name}"
        elif reading.chord.quantity is None:
            reason = reading.chord.reason or "no chord angle"
        else:
            try:
                begun = begin(picture, seen, self.station.chord_mm)
            except ValueError as refused:
                reason = str(refused)
        if begun is None:
            self.start, self.reading, self._motion = None, None, None
            return Moment(
                self._count,
                picture.name,
                at,
                "camera moved" if state == "camera moved" else "waiting",
                f"{why}; {reason}" if why else reason,
                change=change,
            )
        self.reading, self.start, self._motion = reading, begun, None
        return self._told(
            Moment(self._count, picture.name, at, state, why, change=change, since=picture.name), reading, ()
        )

    def _told(self, moment: Moment, reading: Reading, doubts: tuple[str, ...]) -> Moment:
        survey = evaluate(self.job, [reading], now=moment.at)
        result = survey.station(self.station.name)
        doubts += tuple(dict.fromkeys(f.text for f in in_doubt(result.flags)))
        return replace(
            moment,
            angle=reading.chord.quantity,
            deviation=result.chord.deviation,
            standing="undecided" if doubts and result.state != "not measured" else result.state,
            turn="settle the doubt before anything is turned" if doubts else _left(survey, self.station.name),
            doubts=doubts,
        )


def _turned(first: Reading, turn: Quantity) -> Reading:
    """The first photo's reading after a turn of the whole rib: chord and spar line alike."""

    def moved(angle: Angle) -> Angle:
        return angle if angle.quantity is None else replace(angle, quantity=angle.quantity + turn)

    return replace(first, chord=moved(first.chord), spar=moved(first.spar))


def _left(survey: Survey, station: str) -> str:
    """What is left to turn. Where a panel's jigs turn other stations too, it is as if this one were alone on it."""
    fixes: list[Correction] = [c for c in survey.corrections if station in c.stations]
    if not fixes:
        return "the job has no jig that turns this station"
    return "; ".join(c.words for c in sorted(fixes, key=lambda c: not c.needed))
