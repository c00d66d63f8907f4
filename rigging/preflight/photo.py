"""One photo: is it fit to be measured, and what is seen in it? No angle is computed.

Goes the reader's own way up to where measuring would begin (cards, station, lens, rib plane, lines), so that
what is found here is what the reader will find.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from rigging.batch.find import Source
from shared.job.model import Job, Station
from vision.assess import gates
from vision.cards import mirrored
from vision.cards.detect import Card, find_cards
from vision.cards.stations import name_station
from vision.detect import Detections, detect
from vision.image.photo import Picture, open_photo
from vision.image.photo_file import PhotoError
from vision.solution.lens_choice import choose_lens
from vision.solution.solve import Lean, Scene, Solution, solve, starts

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
    it was not looked for. reference : what shows gravity. marks : reference marks on the chord line.
    further : stations that stand behind.
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
    troubles: tuple[Trouble, ...] = ()

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
    scene = Scene(chosen.lens, named.cards, (), Lean(0.0, 10.0, "none", 1.0), picture.sha256[:12])
    return _lines(check, picture, job, named.station, named.cards, named.others, _plane(scene))


def _lines(
    check: PhotoCheck,
    picture: Picture,
    job: Job,
    station: Station,
    cards: tuple[Card, ...],
    others: tuple[Card, ...],
    plane: Solution | None,
) -> PhotoCheck:
    if plane is None:
        return check.stopped("unfit", "the card's pose could not be solved for: photograph it less obliquely")
    verdict = gates.after_solving(plane)
    if verdict.reason:
        return check.stopped("unfit", verdict.reason)
    for flag in verdict.flags:
        check = check.but(flag.code, flag.text)
    found = detect(picture, plane, cards, others, station, job, ())
    check = _found(check, found, station)
    return check.stopped("level" if check.chord else "chord", found.reason) if found.reason else check


def _found(check: PhotoCheck, found: Detections, station: Station) -> PhotoCheck:
    check = replace(check, chord=found.chord_ends is not None, reference=found.reference, marks=len(found.marks))
    if found.reason or station.spar_deg is None:
        return check
    if any(line.role == "spar" for line in found.lines):
        return replace(check, spar=True)
    return replace(check, spar=False).but(
        "spar", (found.spar.reason if found.spar else None) or "the spar line was not found"
    )


def _plane(scene: Scene) -> Solution | None:
    """The rib plane from the cards alone: the better of a flat card's two poses."""
    solutions = []
    for start in starts(scene):
        try:
            solutions.append(solve(scene, start))
        except np.linalg.LinAlgError:
            continue
    return min(solutions, key=lambda s: s.cost, default=None)


def _softness(picture: Picture) -> str:
    width = edge_width(picture.gray)
    if not width > gates.MAX_BLUR_PX:
        return ""
    return f"; the photo is blurred, its sharpest edges {width:.0f} px wide: hold still, tap to focus"


def edge_width(gray: NDArray[np.uint8]) -> float:
    """Blur of the sharpest edges of a picture, standard deviation in pixels; NaN where it has none.

    An edge blurred by b and smoothed by s has the slope 1 / sqrt(b^2 + s^2): two smoothings tell b (after
    Elder and Zucker, IEEE TPAMI 20, 1998, 699, who choose the smoothing by the noise).
    """
    fine, coarse = (_slope(gray, s) for s in _SMOOTH)
    strong = coarse > max(float(np.quantile(coarse[::4, ::4], 0.995)), 0.5)
    if int(strong.sum()) < 100:
        return float("nan")
    ratio = np.clip((fine[strong] / coarse[strong]) ** 2, 1.0 + 1e-6, None)
    blur2 = (_SMOOTH[1] ** 2 - _SMOOTH[0] ** 2 * ratio) / (ratio - 1.0)
    return float(np.sqrt(max(float(np.quantile(blur2, 0.25)), 0.0)))


def _slope(gray: NDArray[np.uint8], smooth: float) -> NDArray[np.float32]:
    g = cv2.GaussianBlur(gray.astype(np.float32), (0, 0), smooth)
    return np.asarray(np.hypot(np.gradient(g, axis=0), np.gradient(g, axis=1)), dtype=np.float32)
