"""The annotated picture: what was seen in a photo, what was weighed, and what came of it.

Drawn on the reduced photo, with straightened strips of the measured lines and a caption in words, so
that a reading can be judged by eye, on a phone, without the tool. Colours are those of Okabe and Ito
(Color Universal Design, 2008), told apart by line style and label as well.
"""

from __future__ import annotations

import string
from collections.abc import Mapping

import numpy as np
from PIL import Image, ImageDraw

from shared.lines import POINTED, Role
from shared.numerics.arrays import F64, U8
from shared.reading import Evidence, Point, Reading, SeenLine
from shared.rounding import number
from vision.overlay import dimensions, drawing
from vision.overlay.lettering import Colour, extent, face, label
from vision.overlay.picture import PictureLike, gray_of, reduced
from vision.overlay.placing import Occupancy, beside, leader
from vision.overlay.strips import length_px, straightened
from vision.overlay.words import PAPER, QUIET, Headline, Sentence, caption, sentences

__all__ = ["Headline", "PictureLike", "draw_overlay"]


COLOURS: dict[str, Colour] = {
    **{role.value: role.colour for role in Role},
    "rejected": (0, 94, 213),
    "card": (233, 180, 86),
    "mark": (167, 121, 204),
    "ink": (255, 255, 255),
}
ROLE_LABELS = {role.value: role.label for role in (*POINTED, Role.NAMED)}
MAX_CANDIDATES = 8
"""Rivals that get a letter; more would cover the picture."""
_STRIP_HALF_PX = 14.0
"""Photo pixels to either side of a line that its strip shows."""
_LEAST_STRETCH = 3.0
"""A strip is enlarged across its line at least so many times more than along it, so that bends show."""


def draw_overlay(
    source: PictureLike | U8,
    reading: Reading,
    max_width: int = 1600,
    *,
    headline: Headline | None = None,
    details: bool = False,
    further: tuple[Reading, ...] = (),
    values: Mapping[str, str] | None = None,
) -> U8:
    """The annotated picture.

    Parameters
    ----------
    source : a loaded photo, or its pixels as (h, w) or (h, w, 3) BGR uint8 or uint16, EXIF orientation
        applied.
    reading : what was read from it; its evidence says what to draw. Without evidence the photo and the
        words stand alone.
    max_width : width of the result at most, pixels.
    headline : the verdict and what to do, which stand right under the angle.
    further : of the ribs behind the foremost one in the same photo; their cards, lines and angles are shown as well.
    details : with the numbers by which cards and candidates were weighed.
    values : of the reading's dimensions by name, in words, where they are not to be in millimetres.

    Returns
    -------
    (H, W, 3) BGR uint8: the angle (or why there is none), verdict, what to do, the photo reduced, straightened strips of
    the measured lines, further words.
    """
    gray = gray_of(source)
    image = reduced(source, gray, max_width)
    width = image.shape[1]
    evidence = reading.evidence or Evidence(size=(gray.shape[1], gray.shape[0]))
    letters = _letters(evidence.lines, evidence.size)
    sheet = _Sheet(image, evidence.size)
    _draw_plane(sheet, evidence)
    _draw_lines(sheet, evidence, letters)
    behind = [(r.station or "", r.evidence) for r in further if r.evidence is not None]
    _draw_behind(sheet, [e for _, e in behind])
    _draw_dimensions(sheet, reading)
    _draw_labels(sheet, reading, evidence, letters, behind, details)
    head, rest = sentences(reading, letters, headline, details, further, values or {})
    parts = [caption(head, width), sheet.image, *_strips(gray, evidence, width), caption(rest, width)]
    return np.concatenate(parts, axis=0)


class _Sheet:
    """The reduced picture, with the scale from the photo's pixels to its own."""

    def __init__(self, image: U8, size: tuple[int, int]) -> None:
        self.image = image
        self.scale = image.shape[1] / size[0]
        self.unit = image.shape[1] / 800.0  # a thin stroke
        self.thin = max(1, round(self.unit))

    def points(self, path: tuple[Point, ...]) -> F64:
        """Pixels of the photo to pixels of the sheet (first pixel's centre is (0, 0) in both)."""
        return np.asarray((_finite(path) + 0.5) * self.scale - 0.5, dtype=np.float64)


def _finite(path: tuple[Point, ...]) -> F64:
    """Points (n, 2), those left out that are nowhere."""
    points: F64 = np.asarray(path, dtype=np.float64).reshape(-1, 2)
    return points[np.isfinite(points).all(axis=1)]


def _letters(lines: tuple[SeenLine, ...], size: tuple[int, int]) -> dict[int, str]:
    """Index of each candidate that is shown -> its letter; near-copies with one reason are shown once."""
    shown: list[int] = []
    for i, line in enumerate(lines):
        if line.role is Role.CANDIDATE or not line.used:
            copies = (k for k in shown if lines[k].why == line.why and _close(lines[k], line, size[0] / 60))
            if line.path and next(copies, None) is None:
                shown.append(i)
    return dict(zip(shown[:MAX_CANDIDATES], string.ascii_uppercase, strict=False))


def _close(a: SeenLine, b: SeenLine, within: float) -> bool:
    """Whether two lines run beside each other: both ends of one within so many pixels of the other's line."""
    p, q = np.array(a.path[0]), np.array(a.path[-1])
    along = (q - p) / max(float(np.linalg.norm(q - p)), 1e-9)
    off = (np.array([b.path[0], b.path[-1]]) - p) @ np.array([-along[1], along[0]])
    return bool(np.all(np.abs(off) < within))


def _draw_plane(sheet: _Sheet, evidence: Evidence) -> None:
    drawing.grid(sheet.image, [sheet.points(p) for p in evidence.grid], COLOURS["ink"], 0.45)
    for card in evidence.cards:
        drawing.stroke(sheet.image, sheet.points(card.outline), COLOURS["card"], sheet.thin, closed=True)
        drawing.dots(sheet.image, sheet.points(card.corners), COLOURS["card"], 1.6 * sheet.unit)
        drawing.crosses(sheet.image, sheet.points(card.rejected), COLOURS["rejected"], 2.5 * sheet.unit, sheet.thin)


def _draw_lines(sheet: _Sheet, evidence: Evidence, letters: dict[int, str]) -> None:
    unit, thin = sheet.unit, sheet.thin
    drawing.dashes(sheet.image, sheet.points(evidence.level_line), COLOURS["ink"], thin, 8 * unit, 20 * unit)
    for i in letters:  # first, so that they lie under what was taken
        path = sheet.points(evidence.lines[i].path)
        drawing.dashes(sheet.image, path, COLOURS[Role.CANDIDATE], thin, 7 * unit, 9 * unit)
    for line in evidence.lines:
        if line.used and line.role in ROLE_LABELS:
            drawing.rails(sheet.image, sheet.points(line.path), COLOURS[line.role], 3.5 * unit, thin)
    for mark in evidence.marks:
        for at in sheet.points((mark.at,)):
            drawing.ring(sheet.image, at, COLOURS["mark"], 9 * unit, thin)


def _draw_behind(sheet: _Sheet, behind: list[Evidence]) -> None:
    """Cards and measured lines of the ribs behind: thinner, without grid and corners."""
    for evidence in behind:
        for card in evidence.cards:
            drawing.stroke(sheet.image, sheet.points(card.outline), COLOURS["card"], sheet.thin, closed=True)
        for line in evidence.lines:
            if line.used and line.role in POINTED:
                drawing.rails(sheet.image, sheet.points(line.path), COLOURS[line.role], 2.5 * sheet.unit, sheet.thin)


def _draw_dimensions(sheet: _Sheet, reading: Reading) -> None:
    """Marks ringed, lines and edges dotted, what they stand between joined."""
    for path in dimensions.lines(reading):
        drawing.dots(sheet.image, sheet.points(path), dimensions.COLOUR, 2.0 * sheet.unit)
    for at in sheet.points(dimensions.spots(reading)):
        drawing.ring(sheet.image, at, dimensions.COLOUR, 7 * sheet.unit, sheet.thin)
    for _, path in dimensions.between(reading):
        drawing.dashes(sheet.image, sheet.points(path), dimensions.COLOUR, sheet.thin, 3 * sheet.unit, 9 * sheet.unit)


def _draw_labels(
    sheet: _Sheet,
    reading: Reading,
    evidence: Evidence,
    letters: dict[int, str],
    behind: list[tuple[str, Evidence]],
    details: bool,
) -> None:
    width, height = sheet.image.shape[1], sheet.image.shape[0]
    font = face(max(11, round(width / 48)), bold=True)
    board = Occupancy((width, height))
    for line in evidence.lines:
        board.avoid(sheet.points(line.path))
    for card in evidence.cards:
        board.keep_clear(sheet.points(card.outline))
    words: list[tuple[str, Colour, F64]] = []
    for i, line in enumerate(evidence.lines):
        if line.used and line.role in ROLE_LABELS and line.path:
            words.append((line.name or ROLE_LABELS[line.role], COLOURS[line.role], sheet.points(line.path)))
        elif i in letters:
            words.append((letters[i], COLOURS[Role.CANDIDATE], sheet.points(line.path)))
    words += [
        (
            f"card {c.number}" + (f", {c.rms_px:.2f} px" if details else ""),
            COLOURS["card"],
            sheet.points((*c.outline, c.outline[0])),
        )
        for c in evidence.cards
        if c.outline
    ]
    words += [
        (
            f"{number(m.off_mm, 2, sign=True)} mm",
            COLOURS["mark"],
            sheet.points((m.at, m.at)) + 9 * sheet.unit * np.array([[-1.0, 0.0], [1.0, 0.0]]),
        )
        for m in evidence.marks
        if np.isfinite((m.off_mm, *m.at)).all()
    ]
    words += [
        (f"{station}: {line.role.label}", COLOURS[line.role], sheet.points(line.path))
        for station, other in behind
        for line in other.lines
        if line.used and line.role in POINTED and line.path
    ]
    words += [(name, dimensions.COLOUR, sheet.points(path)) for name, path in dimensions.between(reading)]
    if evidence.level_line:
        words.append(("level", COLOURS["ink"], sheet.points(evidence.level_line)))
    words += _nose(reading, evidence, sheet)
    placed: list[tuple[tuple[float, float], str, Colour]] = []
    for text, colour, path in words:
        if len(path) == 0:
            continue
        size = extent(text, font)
        corner = board.place(beside(path, size, 6 * sheet.unit), size)
        placed.append((corner, text, colour))
        drawing.stroke(sheet.image, leader(corner, size, path, 14 * sheet.unit), colour, sheet.thin)
    canvas = Image.fromarray(sheet.image)
    pen = ImageDraw.Draw(canvas)
    for corner, text, colour in placed:
        label(pen, corner, text, colour, font)
    sheet.image = np.asarray(canvas, dtype=np.uint8)


def _nose(reading: Reading, evidence: Evidence, sheet: _Sheet) -> list[tuple[str, Colour, F64]]:
    chord = next((line for line in evidence.lines if line.role is Role.CHORD and line.used), None)
    if chord is None or not chord.path or reading.forward is None:
        return []
    path = sheet.points(chord.path)
    if len(path) == 0:
        return []
    end = path[np.argmax(path[:, 0]) if reading.forward == "right" else np.argmin(path[:, 0])]
    text = "nose →" if reading.forward == "right" else "← nose"
    return [(text, COLOURS["ink"], np.stack([end, end + 0.01]))]


def _strips(gray: U8, evidence: Evidence, width: int) -> list[U8]:
    """The measured lines straightened, each under a line of words."""
    out = []
    for line in evidence.lines:
        path = _finite(line.path)
        if not line.used or line.role not in ROLE_LABELS or len(path) < 2 or length_px(path) < 50:
            continue
        height = round(width / 22)
        enlarged = height / (2 * _STRIP_HALF_PX)
        wide = min(width, round(length_px(path) * enlarged / _LEAST_STRETCH))
        across = enlarged * length_px(path) / wide
        strip = straightened(gray, path, wide, height, _STRIP_HALF_PX)
        picture = np.full((height, width, 3), PAPER, dtype=np.uint8)
        picture[:, :wide] = strip[:, :, None]
        tick, middle = width // 60, height // 2
        for edge in (slice(0, tick), slice(wide - tick, wide)):
            picture[middle - 1 : middle + 2, edge] = COLOURS[line.role]
        words = f"{line.name or ROLE_LABELS[line.role]} straightened, stretched {across:.0f} times across: fit at mid-height"
        out += [caption([Sentence(words, QUIET, 1 / 46)], width, margin=width // 160), picture]
    return out
