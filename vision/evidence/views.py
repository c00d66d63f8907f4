"""Where each family of lines is looked for about a rib: its raster, its surroundings, its candidates."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from shared.numerics.arrays import F32, F64, U8, Box
from vision.evidence.candidates import Candidates, find_candidates
from vision.evidence.raster import COLOUR_REDUCTION, Family, Raster, lay_raster
from vision.evidence.strips import SPAN, WIDE, Context
from vision.image.photo import Picture
from vision.image.rectified import Plane, Reduced

LEVEL_DEG, UPRIGHT_DEG = 14.0, 12.0
"""Largest slope of a level line and of an upright one in the sheet: camera roll and rib angle, and roll and
perspective. A hand's roll is within 5 degrees, a rib's angle within 9, a string's within 7 (common practice, no
source)."""
ABOUT_CARDS = 0.14
"""How far above and below the cards a chord line may lie, chords (common practice, no source: ribs are up to 17 % deep)."""
RIB_ABOVE, RIB_BELOW = 0.11, 0.07
"""Where a line across the rib alone is looked for, chords from the chord line. A rib is deeper above its chord line
than below (common practice, no source)."""
BEYOND = 0.02
"""How far beyond the chord line's ends an upright line is looked for, chords. For a string that hangs at the nose or
tail; farther off nothing crosses the chord line."""
MOST_CANDIDATES: dict[str, int] = {"level": 16, "upright": 16, "across": 12}
"""Candidates of each kind that the witness looks at: the true one was among the first 10, 10 and 8 in all photos of
`training/recall.py`."""
SAME_LINE_MM = {"level": 2.0, "upright": 3.0}
"""Lines of a family nearer to each other than this are one. Four times the breadth of a pen line; of a thick cord with
its shadow."""
COARSE = 4
"""Factor from the quarter-size colour picture down to that of the surroundings. 16 times in all: what surrounds a strip
is shown, not measured."""
CARD_RIM_MM = 2.5
"""What is hidden round a card's paper. By judgement: the shadow of a card's edge."""


@dataclass(frozen=True)
class Photograph:
    """A picture's reduced versions, made once. scale : pixels a mm on the rib."""

    picture: Picture
    half: Reduced
    small: U8
    tiny: U8
    scale: float

    @classmethod
    def of(cls, picture: Picture, scale: float) -> Photograph:
        """Of a picture with `scale` pixels a millimetre on the rib."""
        small = picture.small_colour()
        h, w = small.shape[0] // COARSE, small.shape[1] // COARSE
        tiny = cv2.resize(small[: h * COARSE, : w * COARSE], (w, h), interpolation=cv2.INTER_AREA)
        return cls(picture, Reduced(picture.half(), 2, 2), small, np.asarray(tiny, dtype=np.uint8), scale)


@dataclass(frozen=True)
class View:
    """One family of lines about a rib: where it was looked for, what surrounds it, the candidates."""

    raster: Raster
    context: Context
    candidates: Candidates


def level_view(photo: Photograph, plane: Plane, papers: list[F64], others: list[F64], chord_mm: float) -> View:
    """Level lines within a chord of the cards. papers, others : (4, 2) sheet mm of the own cards' and other cards' paper.

    photo : with its reduced versions. plane : of the rib. chord_mm : of the rib.
    """
    ring = np.concatenate(papers)
    (u0, v0), (u1, v1) = ring.min(0), ring.max(0)
    middle = plane.to_pixels(np.array([[(u0 + u1) / 2, (v0 + v1) / 2]]))[0]
    rim = plane.to_sheet(np.array([[0.0, middle[1]], [photo.picture.width - 1.0, middle[1]]]))[:, 0]
    left, right = max(u0 - chord_mm, rim.min()), min(u1 + chord_mm, rim.max())
    box = (left, v0 - ABOUT_CARDS * chord_mm, right, v1 + ABOUT_CARDS * chord_mm)
    step = (max(8.0 / photo.scale, (right - left) / 511), 2.0 / photo.scale)
    raster = lay_raster(photo.half.further(4, 1), photo.small, plane, "level", box, step)
    return _view(photo, raster, papers, others, chord_mm, _Hunt(LEVEL_DEG, chord_mm, MOST_CANDIDATES["level"]))


def upright_view(
    photo: Photograph, plane: Plane, papers: list[F64], others: list[F64], chord_mm: float, chord: F64, across: bool
) -> View:
    """Upright lines between the chord line's ends (2, 2) sheet mm: over the photo's whole height, or across the rib only.

    photo, plane, papers, others, chord_mm : as for `level_view`. chord : the chord line's ends. across : true for
    lines that are drawn across the rib, false for what hangs or stands before it.
    """
    middle = chord.mean(0)
    x = plane.to_pixels(middle[None])[0, 0]
    rim = plane.to_sheet(np.array([[x, 8.0], [x, photo.picture.height - 9.0]]))[:, 1]
    v0, v1 = (
        (middle[1] - RIB_ABOVE * chord_mm, middle[1] + RIB_BELOW * chord_mm)
        if across
        else (max(rim.min(), middle[1] - chord_mm), min(rim.max(), middle[1] + chord_mm))
    )
    beyond = BEYOND * chord_mm
    box = (float(chord[:, 0].min()) - beyond, float(v0), float(chord[:, 0].max()) + beyond, float(v1))
    raster = lay_raster(
        photo.half.further(1, 4), photo.small, plane, "upright", box, (8.0 / photo.scale, 2.0 / photo.scale)
    )
    length = 0.12 * chord_mm if across else 0.6 * chord_mm
    return _view(
        photo,
        raster,
        papers,
        others,
        chord_mm,
        _Hunt(UPRIGHT_DEG, length, MOST_CANDIDATES["across" if across else "upright"]),
    )


@dataclass(frozen=True)
class _Hunt:
    """What candidates are looked for: at most so steep, so long, so many, within a stretch along the raster, mm."""

    slope_deg: float
    length_mm: float
    most: int
    part: tuple[float, float] | None = None


@dataclass(frozen=True)
class Window:
    """Where lines of one family are looked for. box : (u0, v0, u1, v1) sheet mm, all that the witness sees along them. part :
    (2,) mm along them, within which they must show. length_mm : of the line."""

    family: Family
    box: Box
    part: tuple[float, float]
    length_mm: float


def window_view(
    photo: Photograph, plane: Plane, papers: list[F64], others: list[F64], chord_mm: float, window: Window
) -> View:
    """Lines within a window. papers, others : as of `level_view`.

    photo, plane, chord_mm : as there. window : where and how steep.
    """
    along = 0 if window.family == "level" else 1
    reduced = photo.half.further(4, 1) if window.family == "level" else photo.half.further(1, 4)
    step = (max(8.0 / photo.scale, (window.box[along + 2] - window.box[along]) / 511), 2.0 / photo.scale)
    raster = lay_raster(reduced, photo.small, plane, window.family, window.box, step)
    slope = LEVEL_DEG if window.family == "level" else UPRIGHT_DEG
    most = MOST_CANDIDATES["level" if window.family == "level" else "across"]
    return _view(photo, raster, papers, others, chord_mm, _Hunt(slope, window.length_mm, most, window.part))


def _view(
    photo: Photograph,
    raster: Raster,
    papers: list[F64],
    others: list[F64],
    chord_mm: float,
    hunt: _Hunt,
) -> View:
    covered = _painted(raster, papers + others, [1] * len(papers + others)) > 0
    hide = covered
    if hunt.part is not None:
        along = raster.start[0] + raster.step[0] * np.arange(covered.shape[1])
        hide = covered | (along < hunt.part[0]) | (along > hunt.part[1])
    candidates = find_candidates(
        raster, hide, float(np.tan(np.radians(hunt.slope_deg))), hunt.length_mm, hunt.most, SAME_LINE_MM[raster.family]
    )
    wide = _surroundings(photo, raster, chord_mm)
    cards = _painted(wide, papers + others, [1] * len(papers) + [-1] * len(others))
    return View(raster, Context(wide, cards, covered), candidates)


def _surroundings(photo: Photograph, raster: Raster, chord_mm: float) -> Raster:
    """The raster's box, as much wider as the strips show, from the tiny picture."""
    h, w = raster.grey.shape
    family: Family = raster.family
    more = 0.5 * WIDE[family] * chord_mm
    half = 0.5 * SPAN[family] * chord_mm
    a0, a1 = raster.start[0], raster.start[0] + w * raster.step[0]
    a0, a1 = min(a0, (a0 + a1) / 2 - half), max(a1, (a0 + a1) / 2 + half)
    b0, b1 = raster.start[1] - more, raster.start[1] + h * raster.step[1] + more
    step = (chord_mm / 100, chord_mm / 100)
    box = (a0, b0, a1, b1) if family == "level" else (b0, a0, b1, a1)
    grey = np.asarray(cv2.cvtColor(photo.tiny, cv2.COLOR_BGR2GRAY), dtype=np.uint8)
    factor = COLOUR_REDUCTION * COARSE
    return lay_raster(Reduced(grey, factor, factor), photo.tiny, raster.plane, family, box, step, factor)


def _painted(raster: Raster, rings: list[F64], values: list[int]) -> F32:
    """(h, w) float32 of a raster: each ring (n, 2) sheet mm, with a rim, filled with its value, 0 elsewhere."""
    out = np.zeros(raster.grey.shape, dtype=np.float32)
    for ring, value in zip(rings, values, strict=True):
        middle = ring.mean(0)
        wider = middle + (ring - middle) * (1 + CARD_RIM_MM / np.linalg.norm(ring - middle, axis=1, keepdims=True))
        at = np.clip(raster.index(wider), -2e4, 2e4)
        cv2.fillConvexPoly(out, np.rint(at * 16).astype(np.int32), float(value), shift=4)
    return out
