"""Reads a window by one model for the whole row (`display_fit`, `display_likely`), in plain and in evened ink."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.display.fit import Fit, anywhere, best_shape, settled, shape_of, strip_of
from vision.display.glyphs import Glyphs, outline
from vision.display.ink import blind, full_level
from vision.display.likely import Placed, figures, judged, shares, stand_out
from vision.display.minus import DOUBT
from vision.display.parts import stands_on_ground
from vision.display.row import OVER, TALL, Part, Row, find_rows, parts, without_degree
from vision.display.segments import Cell, explained, stroke
from vision.display.spoken import spoken
from vision.display.tries import inks
from vision.display.types import F32, F64, Digit, DisplayReading, unread

LIT = 0.45
"""Share of full ink from which a pixel counts."""
LEAD = 0.35
"""How much more the row must be worth than the best one with light and dark exchanged, as a share."""
GO_ON = slice(8, 12)
"""Voids in which strokes would go on over and under the row."""
RIVAL = 0.88
"""Share of its worth from which a row of another shape stands against the best one."""
COVERED = 0.8, 0.92
"""Share of a figure's ink that its segments must cover: confidence 0 to 1."""


def read_whole(flat: F32, back: F64, decimals: int | None, crop: bool, quick: bool = False) -> DisplayReading:
    """What a window says, in the way of light in which its row is plainly worth more.

    flat : the window squared up; back : (3, 3), window to photo; decimals, crop : as in `read_display`; quick : in
    two inks only, where a reading is but to be confirmed. A reading without value has digits, and `light_digits`
    holds, only where one way of light is plainly worth more.
    """
    dark, light = (_Window(flat, back, light, decimals, crop) for light in (False, True))
    main, other = (light, dark) if light.worth > dark.worth else (dark, light)
    if main.worth <= 0:
        return unread("no row of digits found")
    found = main.reading(quick)
    if other.worth > (1 - LEAD) * main.worth:
        if found:
            return unread(f'"{found.text}" is hardly likelier than what is seen with light and dark exchanged')
        return replace(found, digits=())
    return replace(found, light_digits=main.light)


class _Window:
    """A window in one way of light: inks of it, and the row that fits the evened one best."""

    def __init__(self, flat: F32, back: F64, light: bool, decimals: int | None, crop: bool) -> None:
        self.unseen = blind(flat, light)
        self.inks = inks(flat, light, crop, True) + inks(flat, light, crop, False)
        self.back, self.light, self.decimals = back, light, decimals
        self.fit = _best_fit(_full(self.inks[0][0]))
        self.worth = self.fit.worth if self.fit is not None else 0.0

    def reading(self, quick: bool) -> DisplayReading:
        """On which two inks agree, and no other disagrees. quick : the first two are enough where they agree."""
        if self.fit is None or not self.fit.lefts:
            return unread("no row of digits found")
        tries: list[DisplayReading] = []
        for i in (0, 3, 1, 2):
            if quick and len(tries) == 2 and all(tries) and tries[0].text == tries[1].text:
                break
            found, seen = self.inks[i]
            full = _full(found)
            fit = self.fit if i == 0 else settled(full, self.fit.shape)
            tries.append(read_fit(fit, full, seen, self.back, self.light, self.decimals, self.unseen))
        if self.fit.rival > RIVAL:
            return unread("two rows of other heights or places are about as likely", tries[0].digits)
        given = [t for t in tries if t]
        best = max(tries, key=lambda t: (bool(t), t.confidence))
        if any(t.text != best.text for t in given):
            texts = ", ".join(sorted({f'"{t.text}"' for t in given}))
            return unread(f"reads {texts} according to how dark counts as lit", best.digits)
        if 2 * sum(t.reason == DOUBT and _figures(t) == _figures(best) for t in tries) >= len(tries):
            return unread(DOUBT, best.digits)
        if len(given) == 1:
            return unread(f'"{best.text}" is read only at one level of ink', best.digits)
        return best


def _figures(reading: DisplayReading) -> str:
    return "".join(d.char for d in reading.digits)


def _full(found: F32) -> F32:
    """Ink of which 1 is fully lit."""
    return np.asarray(found / max(full_level(found), 1e-6), dtype=np.float32)


def _best_fit(full: F32) -> Fit | None:
    starts = [shape_of(row, 0.55, 0.13, full.shape[1]) for row in find_rows(full, LIT)[:3]] + anywhere(full)[:1]
    return best_shape(full, starts) if starts else None


def read_fit(fit: Fit, full: F32, seen: F32, back: F64, light: bool, decimals: int | None,
             unseen: F32) -> DisplayReading:  # fmt: skip
    """What a fitted row says. full : ink, 1 where fully lit; seen : picture of the window; back : window to photo.

    unseen : `display_ink.blind` of the window.
    """
    strip, to = strip_of(full, fit.shape, TALL)
    strip = without_degree(strip, LIT)
    places = figures(strip, fit)
    if not 0 < len(places) < 8:
        return unread("no digits found" if not places else "more than seven digits in the row")
    thick = fit.shape.thick * TALL
    row = Row(strip, to, fit.shape.tall, len(places))
    mask = strip > LIT
    cells = [_cell(p, mask, fit) for p in places]
    share = shares(np.array([p.cores for p in places]), np.array([p.voids for p in places]))
    ground = np.array([min(max(p.voids[:2].min(), 0.0), 0.5) for p in places])[:, None]
    strokes = stand_out(share, (np.array([p.flanks for p in places]) - ground) / (1 - ground))
    clean = _without_specks(mask, 0.25 * thick * thick)
    broad = float(np.clip(stroke(mask, [c.part for c in cells]), thick, 1.5 * thick))
    digits = []
    for c, p, (char, on, sure), lit in zip(cells, places, judged(share, strokes), share, strict=True):
        covered = explained(clean, c, on, broad * p.scale)
        sure *= float(np.clip((0.55 - max(p.voids[:2])) / 0.2, 0, 1))
        sure *= float(np.clip((covered - COVERED[0]) / (COVERED[1] - COVERED[0]), 0, 1))
        digits.append(Digit(char, sure, tuple(float(v) for v in lit), outline(c, row, back)))
    if min(c.part.left for c in cells) <= 1 or max(c.part.right for c in cells) >= strip.shape[1] - 1:
        return unread("a digit is cut by the edge of the window", tuple(digits))
    voids = np.array([p.voids for p in places])
    if 2 * int((voids[:, GO_ON] > LIT).any(axis=1).sum()) > len(places):
        return unread("the digits' strokes go on beyond the row", tuple(digits))
    if not stands_on_ground(row, seen, mask, [c.part for c in cells]):
        return unread("no digits found")
    lit_cores = np.concatenate([p.cores[s > 0.5] for p, s in zip(places, share, strict=True)])
    holes = float(np.median([min(p.voids[:2]) for p in places]))
    levels = Glyphs(digits, max(holes, 0.0), float(np.median(lit_cores)) if len(lit_cores) else 1.0, LIT, 0.0)
    everything = [c.part for c in cells] + [p for p in parts(row, LIT) if not any(_within(p, c) for c in cells)]
    return spoken(row, levels, cells, everything, thick, light, decimals, mask, unseen)


def _without_specks(mask: NDArray[np.bool_], least: float) -> NDArray[np.bool_]:
    """The mask without connected ink of less than `least` pixels: noise, that no stroke is part of."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=8)
    return np.asarray(mask & (stats[:, cv2.CC_STAT_AREA] >= least)[labels])


def _cell(place: Placed, mask: NDArray[np.bool_], fit: Fit) -> Cell:
    """A figure's outline and the ink within it."""
    left, right = place.left * TALL, (place.left + fit.shape.width * place.scale) * TALL
    top, foot = OVER + TALL * (1 - place.scale), float(OVER + TALL)
    x0, y0 = max(round(left) - 2, 0), round(top) - 3
    rows, columns = np.nonzero(mask[y0 : round(foot) + 3, x0 : round(right) + 2])
    if not len(rows):
        return Cell(left, right, top, foot, Part(round(left), round(right), round(top), round(foot)))
    part = Part(x0 + int(columns.min()), x0 + int(columns.max()) + 1, y0 + int(rows.min()), y0 + int(rows.max()) + 1)
    return Cell(left, right, top, foot, part)


def _within(part: Part, cell: Cell) -> bool:
    """Whether most of a part stands in a figure's cell."""
    both = min(part.right, cell.right + 4) - max(part.left, cell.left - 4)
    return both > 0.6 * part.width
