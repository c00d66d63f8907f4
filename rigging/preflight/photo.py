"""One photo: is it fit to be measured, what is seen in it, and how well will its angle be known? No angle is given.

Cards, sharpness and lens are looked at first; where they will do, the photo is read as `measure` reads it, so that what is
said here is what will come of it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import cv2
import numpy as np

from rigging.batch.find import Source
from rigging.batch.hints_file import hints_of
from rigging.preflight.dimensions import doubts_of
from shared.errors import UserError
from shared.job.model import Job, Station
from shared.job.named import Place
from shared.numerics.arrays import F32, U8
from shared.quantity import Quantity
from shared.reading import Advice, Reading
from vision.assess import gates
from vision.cards import mirrored
from vision.cards.detect import find_cards
from vision.cards.stations import name_station
from vision.image.photo import Picture, open_photo
from vision.image.photo_file import PhotoError
from vision.lines.hints import hint_from_text
from vision.reader import read_photo
from vision.solution.lens_choice import choose_lens

_SMOOTH = (1.5, 6.0)
"""The two smoothings that edges are looked at with, pixels."""


@dataclass(frozen=True)
class Trouble:
    """Something to mend. code : stable. grade : "missing" stops the measuring, "doubt" weakens it."""

    grade: Literal["missing", "doubt"]
    code: str
    text: str


@dataclass(frozen=True)
class PhotoCheck:
    """What one photo shows.

    station : as its cards say, or None. cards : kind and number of each. blur_px : flank width of the card's
    corners, None without a card. profile : a lens profile fits. chord, spar : the line was found; None where
    it was not looked for. reference : what shows gravity. marks : reference marks on the chord line. further : stations
    that stand behind. budget : of the chord angle's u, degrees, by name; empty where there is none. advice : what would
    make it smaller.
    """

    name: str
    station: str | None = None
    cards: tuple[tuple[str, int], ...] = ()
    blur_px: float | None = None
    profile: bool | None = None
    chord: bool | None = None
    reference: str | None = None
    spar: bool | None = None
    marks: int = 0
    further: tuple[str, ...] = ()
    budget: Mapping[str, float] = field(default_factory=dict)
    advice: tuple[Advice, ...] = ()
    troubles: tuple[Trouble, ...] = ()

    @property
    def U(self) -> float:
        """Expanded uncertainty to be expected of the chord angle, degrees; NaN where it is not known."""
        return 2.0 * math.hypot(*self.budget.values()) if self.budget else math.nan

    @property
    def fit(self) -> bool:
        """Whether it can be measured."""
        return not any(t.grade == "missing" for t in self.troubles)

    def but(self, code: str, text: str) -> PhotoCheck:
        """The same with a doubt more."""
        return replace(self, troubles=(*self.troubles, Trouble("doubt", code, text)))

    def stopped(self, code: str, text: str) -> PhotoCheck:
        """The same, ended for a reason."""
        return replace(self, troubles=(*self.troubles, Trouble("missing", code, text)))


def check_photo(source: Source, job: Job, *, lines: bool = True) -> PhotoCheck:
    """Check one photo. lines : look for the lines too. Never raises for what a photo holds."""
    check = PhotoCheck(source.name)
    if source.problem is not None:
        return check.stopped("unreadable", source.problem)
    try:
        picture = open_photo(source.path)
    except PhotoError as error:
        return check.stopped("unreadable", error.reason)
    cards = find_cards(picture.gray)
    named = name_station(cards, job)
    check = replace(
        check,
        cards=tuple((c.spec.kind, c.number) for c in cards),
        blur_px=min((c.blur_px for c in cards), default=None),
    )
    if named.station is None:
        if not cards and mirrored.is_mirrored(picture.gray):
            return check.stopped("mirrored", mirrored.REASON)
        return check.stopped("no-station", (named.reason or "") + ("" if cards else _softness(picture)))
    further = tuple(s.name for s, _ in named.further) if job.only == "every" else ()
    check = replace(check, station=named.station.name, further=further)
    verdict = gates.before_solving(list(named.cards))
    if verdict.reason:
        return check.stopped("unfit", verdict.reason)
    chosen = choose_lens(None, job, picture)
    for flag in (*verdict.flags, *chosen.flags):
        check = check.but(flag.code, flag.text)
    if chosen.lens is None:
        return check.stopped("lens", chosen.reason or "")
    check = replace(check, profile=chosen.lens.sound)
    if not lines:
        return check
    try:
        hints = [hint_from_text(text) for text in hints_of(source.path, source.name, ())]
    except UserError as error:
        return check.stopped("hints", str(error))
    return _read(check, read_photo(picture, job, hints=hints), named.station)


def _widest(reading: Reading) -> Quantity:
    """The named line with the largest uncertainty."""
    return max((line.angle.quantity for line in reading.lines if line.angle.quantity is not None), key=lambda q: q.u)


def _lines(check: PhotoCheck, reading: Reading) -> PhotoCheck:
    """What of the named lines was found, without their angles."""
    for line in reading.lines:
        if line.angle.quantity is None:
            check = check.but("line", f"{line.name}: {line.angle.reason}")
        for flag in line.angle.flags:
            check = check.but(flag.code, f"{line.name}: {flag.text}")
    return check


def _read(check: PhotoCheck, reading: Reading, station: Station | Place) -> PhotoCheck:
    """What the reading found, without its angles."""
    check = _lines(check, reading)
    for code, text in doubts_of(reading.dimensions):
        check = check.but(code, text)
    seen = reading.evidence
    roles = {line.role for line in seen.lines if line.used} if seen is not None else set()
    both = {"plumb", "level"} <= roles
    reference = "both" if both else "plumb" if "plumb" in roles else "level" if "level" in roles else None
    marks = len(seen.marks) if seen is not None else 0
    check = replace(check, chord="chord" in roles, reference=reading.reference or reference, marks=marks)
    told = {t.text for t in check.troubles}
    for flag in (*reading.flags, *reading.chord.flags):
        check = check if flag.text in told else check.but(flag.code, flag.text)
    chord = reading.chord.quantity
    if isinstance(station, Place):
        if not reading.measured:
            return check.stopped(
                "line", "none of its lines was read" if reading.lines else reading.chord.reason or "not measured"
            )
        return (
            replace(check, budget=_widest(reading).budget(), advice=reading.advice)
            if any(line.angle.quantity for line in reading.lines)
            else check
        )
    if chord is None:
        return check.stopped("level" if check.chord else "chord", reading.chord.reason or "not measured")
    check = replace(check, budget=chord.budget(), advice=reading.advice)
    if station.spar_deg is None:
        return check
    check = replace(check, spar=reading.spar.quantity is not None)
    return check if check.spar else check.but("spar", reading.spar.reason or "the spar line was not found")


def _softness(picture: Picture) -> str:
    width = edge_width(picture.gray)
    if not width > gates.MAX_BLUR_PX:
        return ""
    return f"; the photo is blurred, its sharpest edges {width:.0f} px wide: hold still, tap to focus"


def edge_width(gray: U8) -> float:
    """Blur of the sharpest edges of a picture, standard deviation in pixels; NaN where it has none.

    An edge blurred by b and smoothed by s has the slope 1 / sqrt(b^2 + s^2): two smoothings give b (after
    Elder and Zucker, IEEE TPAMI 20, 1998, 699, who choose the smoothing by the noise).
    """
    fine, coarse = (_slope(gray, s) for s in _SMOOTH)
    strong = coarse > max(float(np.quantile(coarse[::4, ::4], 0.995)), 0.5)
    if int(strong.sum()) < 100:
        return float("nan")
    ratio = np.clip((fine[strong] / coarse[strong]) ** 2, 1.0 + 1e-6, None)
    blur2 = (_SMOOTH[1] ** 2 - _SMOOTH[0] ** 2 * ratio) / (ratio - 1.0)
    return float(np.sqrt(max(float(np.quantile(blur2, 0.25)), 0.0)))


def _slope(gray: U8, smooth: float) -> F32:
    g = cv2.GaussianBlur(gray.astype(np.float32), (0, 0), smooth)
    return np.asarray(np.hypot(np.gradient(g, axis=0), np.gradient(g, axis=1)), dtype=np.float32)
