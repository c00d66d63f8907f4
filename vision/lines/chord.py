"""Which line is the chord line.

Candidates are all straight stripes of pen width near the card. What speaks for one: its length against
the rib's chord, its continuity, the card and the reference marks along it, the job's design angle as a
wide gate (never as a pull). What speaks against it: running on past the rib, a laser's colour, a tilt
beyond the gate. Two of about equal right are not decided between: both are shown, with the remedy.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.image.rectified import Reduced, Sheet
from vision.image.ridges import level_ridges
from vision.lines.candidates import Stripe, find_stripes, profile_along
from vision.lines.marks import Mark, find_marks

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]
Box = tuple[float, float, float, float]

SHORTEST = 0.30
"""A chord line seen over less than this part of the chord is too short to measure."""
EQUAL_RIGHT = 0.60
"""A rival with more than this share of the best one's weight is of equal right."""
LONG, LESSER_RIGHT = 0.38, 0.25
"""A long line with more than this share raises a doubt: it may be the true one, half hidden."""
SAME_SURFACE = 0.20
"""Largest change of brightness from the card's edge to the line: more, and the rib's outline lies between."""
BESIDE_MM, SEEN_BESIDE = 15.0, 0.5
"""A line nearer to the card than this, and seen over this share of the stretch there, is on the rib as the card is."""
RUNS_ON = 0.02
"""How near to the edge of the photo, in chords, a line's end counts as running out of it."""
LOOK_FOR_MARKS = 4
"""How many of the best candidates are looked at for reference marks."""
WIDEST_MM = 3.6
"""Breadth of a line above which no pen drew it: pens go to 3 mm (common practice, no source), boards and shadows begin
there."""
GATE_DEG = 12.0
"""How far from the design angle a line is still looked at."""


@dataclass(frozen=True)
class Candidate:
    """A stripe weighed as the chord line. ends : (2, 2) sheet mm. weight : mm of line well seen, marks counted.
    against : why it is out, or empty. evidence : names and numbers. marks : on it."""

    ends: F64
    weight: float
    against: str
    evidence: tuple[tuple[str, float], ...]
    marks: tuple[Mark, ...]
    light: bool


@dataclass(frozen=True)
class ChordChoice:
    """The chosen candidate or the reason why none; all that were weighed, best first.

    rivalled : another long line is drawn on the rib, of lesser right.
    """

    chosen: Candidate | None
    reason: str
    candidates: tuple[Candidate, ...]
    rivalled: bool = False


def choose_chord(
    photo: Reduced,
    sheet: Sheet,
    boxes: list[Box],
    papers: list[F64],
    chord_mm: float,
    design_slope_deg: float,
    roll_free_deg: float,
    laser: Callable[[], F32],
    same_ink: Callable[[F64, F64], bool],
) -> ChordChoice:
    """Find and weigh.

    Parameters
    ----------
    photo : the grey picture, reduced, for a closer look at marks. sheet : the band round the cards.
    boxes, papers : (u0, v0, u1, v1) round the cards and the corners (4, 2) of their paper, sheet mm.
    design_slope_deg : expected slope of the line in the
    sheet, degrees, down to the right positive; roll_free_deg : how far gravity may stand from the sheet's
    v axis, degrees (camera roll), added to the gate. laser : makes the map of laser colour, (h, w) 0 to 1.
    same_ink : whether two candidates (2, 2) sheet mm turn out to be one line when measured in the full picture.
    """
    dark, light = level_ridges(sheet.image, reaches(sheet.mm_v), max(1, round(6 / sheet.mm_u)))
    depth = np.maximum(dark, light)
    depth[~sheet.valid] = 0.0
    for ring in papers:  # a card's own pattern is full of stripes
        depth[sheet.within(ring)] = 0.0
    limit = float(np.tan(np.radians(GATE_DEG + roll_free_deg))) * sheet.mm_u / sheet.mm_v
    stripes = find_stripes(
        depth,
        sheet.valid,
        limit,
        apart=max(2.0, 2.5 / sheet.mm_v),
        bridge=0.12 * chord_mm / sheet.mm_u,
        shortest=0.12 * chord_mm / sheet.mm_u,
        window=max(2, round(8 / sheet.mm_u)),
        most=10,
    )
    lighter = (light > dark).astype(np.float32)
    within = np.where(sheet.valid, depth, np.float32(np.nan))
    weighed = [
        _weigh(sheet, depth, lighter, within, s, boxes, chord_mm, design_slope_deg, roll_free_deg, laser)
        for s in stripes
    ]
    weighed = [
        _marked(photo, sheet, c, s, boxes) if k < LOOK_FOR_MARKS else (c, s)
        for k, (c, s) in enumerate(_by_weight(weighed))
    ]
    ordered = tuple(c for c, _ in _drop_echoes(depth, _by_weight(weighed)))
    fit = [c for c in ordered if not c.against]
    if not fit:
        return ChordChoice(
            None, "no drawn line near the card is long, straight and continuous enough to be the chord line", ordered
        )
    # two reference marks on one line and not on the other settle it
    least = 2 if len(fit[0].marks) >= 2 else 0
    rivals = [
        c
        for c in fit[1:]
        if c.weight > EQUAL_RIGHT * fit[0].weight and len(c.marks) >= least and not same_ink(fit[0].ends, c.ends)
    ]
    if rivals:
        return ChordChoice(
            None,
            "two lines have about equal right to be the chord line: add reference marks to the "
            "true one, rub the other out, or give a hint",
            ordered,
        )
    long = [c for c in fit[1:] if c.weight > LESSER_RIGHT * fit[0].weight and dict(c.evidence)["length, chords"] > LONG]
    return ChordChoice(fit[0], "", ordered, any(not same_ink(fit[0].ends, c.ends) for c in long))


def _by_weight(weighed: list[tuple[Candidate, Stripe]]) -> list[tuple[Candidate, Stripe]]:
    return sorted(weighed, key=lambda cs: -cs[0].weight * (not cs[0].against))


def reaches(mm: float) -> tuple[int, ...]:
    """Where the sides of a pen line are looked at, map rows: lines of 0.3 to 3 mm."""
    return tuple(sorted({max(2, round(1.5 / mm)), max(3, round(3.4 / mm))}))


def _weigh(
    sheet: Sheet,
    depth: F32,
    lighter: F32,
    within: F32,
    s: Stripe,
    boxes: list[Box],
    chord_mm: float,
    design_slope_deg: float,
    roll_free_deg: float,
    laser: Callable[[], F32],
) -> tuple[Candidate, Stripe]:
    """lighter : 1 where the map's stripe is light, else 0. within : the map, NaN where the photo does not reach."""
    slope_deg = float(np.degrees(np.arctan(s.slope * sheet.mm_v / sheet.mm_u)))
    s, outside = _fitted_to_chord(depth, s, chord_mm / sheet.mm_u)
    ends = sheet.uv(s.ends)
    length = float(np.linalg.norm(ends[1] - ends[0]))
    seen_mm = s.seen * sheet.mm_u
    span = slice(int(s.first), int(s.last) + 1)
    own = np.nan_to_num(profile_along(depth, s.row, s.slope), nan=-1.0)[span]
    is_light = (
        float(np.mean(profile_along(lighter, s.row, s.slope, slack=0)[span][own > 0.5 * s.depth] > 0.5)) > 0.5
        if (own > 0.5 * s.depth).any()
        else False
    )
    gap = max(_card_gap(b, sheet, s) for b in boxes)
    tone = min(_change_of_surface(sheet, b, s) for b in boxes)
    against = ""
    if outside * sheet.mm_u > 0.22 * chord_mm:
        against = "runs on past the rib"
    elif seen_mm < SHORTEST * chord_mm:
        against = "too short"
    elif s.cover < 0.55:
        against = "too broken"
    elif abs(slope_deg - design_slope_deg) > GATE_DEG + roll_free_deg:
        against = "too far from the design angle"
    elif gap > 0.12 * chord_mm:
        against = "not beside the card"
    elif tone > SAME_SURFACE:
        against = "on another surface than the card"
    # a laser goes on past the rib; nothing else that is out already needs the photo's colours
    coloured = _laser_share(laser(), s) if is_light and against in ("", "runs on past the rib") else 0.0
    if coloured > 0.4:
        against = "a laser line, by its colour"
    beside = max(_beside(b, sheet, depth, s) for b in boxes)
    inside = np.flatnonzero(np.isfinite(profile_along(within, s.row, s.slope)))
    margin = RUNS_ON * chord_mm / sheet.mm_u
    runs_on = bool(s.first - inside[0] < margin or inside[-1] - s.last < margin or outside > 2 * margin)
    if not against and runs_on and not (gap < BESIDE_MM and beside > SEEN_BESIDE):
        against = "runs on past the rib or out of the photo, away from the card"
    evidence = (
        ("length, chords", length / chord_mm),
        ("cover", s.cover),
        ("depth", s.depth),
        ("slope, deg", slope_deg),
        ("seen beyond, mm", outside * sheet.mm_u),
        ("laser colour", coloured),
        ("gap to the card, mm", gap),
        ("seen beside the card", beside),
        ("change of surface", tone),
    )
    return Candidate(ends, seen_mm * s.cover, against, evidence, (), is_light), s


def _marked(photo: Reduced, sheet: Sheet, c: Candidate, s: Stripe, boxes: list[Box]) -> tuple[Candidate, Stripe]:
    """The candidate with the reference marks on it; two double its weight and more."""
    if c.against:
        return c, s
    mm = min(sheet.mm_u, sheet.mm_v)
    marks = tuple(
        m for m in find_marks(photo, sheet.plane, c.ends, s.depth, mm) if not any(_within(b, m.uv) for b in boxes)
    )
    return replace(
        c,
        weight=c.weight * (1.0 + 0.6 * min(len(marks), 2)),
        marks=marks,
        evidence=(*c.evidence, ("marks on it", float(len(marks)))),
    ), s


def _fitted_to_chord(depth: F32, s: Stripe, chord: float) -> tuple[Stripe, float]:
    """The stretch of a stripe, no longer than a chord, that holds most of it; and how many columns of the
    stripe itself are seen outside of that. Clutter in line with the chord line must not lengthen it."""
    own = np.nan_to_num(profile_along(depth, s.row, s.slope), nan=-1.0)
    level = max(0.012, 0.35 * s.depth)
    seen = _soft(own) > level
    cols = np.arange(len(seen))
    total = np.r_[0.0, np.cumsum(seen)]
    width = min(len(seen) - 1, int(1.02 * chord))
    held = total[width:] - total[:-width]
    start = int(np.median(np.flatnonzero(held >= held.max() - 0.5)))
    inside = seen & (cols >= start) & (cols < start + width)
    if inside.sum() < 4:
        return s, 0.0
    first, last = int(np.flatnonzero(inside)[0]), int(np.flatnonzero(inside)[-1])
    # what noise or grain would show anyway: the same count on the lines beside it
    beside = [
        _soft(np.nan_to_num(profile_along(depth, s.row + off, s.slope), nan=-1.0)) > level for off in (-17, -11, 11, 17)
    ]
    net = seen - np.mean(beside, axis=0)
    chain = (cols >= s.first) & (cols <= s.last)
    outside = max(0.0, float(net[chain & ((cols < first) | (cols > last))].sum()))
    count = max(0.0, float(net[first : last + 1].sum()))
    return Stripe(
        s.row, s.slope, float(first), float(last), count / (last - first + 1), count, s.depth, s.runs
    ), outside


def _soft(profile: F64 | F32) -> F64:
    return np.convolve(profile, np.ones(3) / 3, mode="same")


def _within(box: Box, uv: F64, rim: float = 8.0) -> bool:
    return bool(box[0] - rim < uv[0] < box[2] + rim and box[1] - rim < uv[1] < box[3] + rim)


def _laser_share(laser: F32, s: Stripe) -> float:
    return float(np.nanmean(profile_along(laser, s.row, s.slope)[int(s.first) : int(s.last) + 1] > 0.5))


def _card_gap(box: Box, sheet: Sheet, s: Stripe) -> float:
    """Distance from the card to the line, mm; far when the card lies beyond the line's ends."""
    u0, v0, u1, v1 = box
    mid = sheet.index(np.array([[(u0 + u1) / 2, (v0 + v1) / 2]]))[0]
    over = max(s.first - mid[0], mid[0] - s.last, 0.0) * sheet.mm_u
    v = s.at(float(mid[0])) * sheet.mm_v + sheet.v0
    return float(np.hypot(max(v0 - v, v - v1, 0.0), max(0.0, over - 0.5 * (u1 - u0))))


def _beside(box: Box, sheet: Sheet, depth: F32, s: Stripe) -> float:
    """Share of a line that shows over a card's width and a little beyond, left and right, but not under it."""
    own = _soft(np.nan_to_num(profile_along(depth, s.row, s.slope), nan=-1.0))
    cols = np.arange(len(own))
    u, v = cols * sheet.mm_u + sheet.u0, (s.row + s.slope * cols) * sheet.mm_v + sheet.v0
    under = (u > box[0] - 4) & (u < box[2] + 4) & (v > box[1] - 4) & (v < box[3] + 4)
    part = (u > box[0] - 2 * BESIDE_MM) & (u < box[2] + 2 * BESIDE_MM) & ~under & (cols >= s.first) & (cols <= s.last)
    return float((own[part] > max(0.012, 0.35 * s.depth)).mean()) if part.sum() > 3 else 0.0


def _change_of_surface(sheet: Sheet, box: Box, s: Stripe) -> float:
    """Relative change of brightness from beside the card to beside the line, straight between the two."""
    mm = sheet.mm_v
    h, w = sheet.image.shape
    u = np.linspace(box[0] + 4, box[2] - 4, 15)
    cols = np.clip(np.rint((u - sheet.u0) / sheet.mm_u), 0, w - 1).astype(int)
    rows = s.row + s.slope * cols
    below = float(np.median(rows)) * mm + sheet.v0 > (box[1] + box[3]) / 2
    start = ((box[3] + 4 if below else box[1] - 4) - sheet.v0) / mm
    gap = float(np.median(rows)) - start if below else start - float(np.median(rows))
    if gap < 5.0 / mm:
        return 0.0
    sign = 1 if below else -1
    tones = []
    for base in (np.full(len(cols), start), rows - sign * 5.0 / mm):
        r = np.clip(np.rint(base[:, None] + sign * np.arange(0, max(2, int(3 / mm)))), 0, h - 1).astype(int)
        tones.append(float(np.median(sheet.image[r, cols[:, None]])))
    return abs(tones[1] - tones[0]) / (max(tones) + 10.0)


def _drop_echoes(depth: F32, weighed: list[tuple[Candidate, Stripe]]) -> list[tuple[Candidate, Stripe]]:
    """Take out finds that live only on a better one's ink: where they part from it they show nothing."""
    kept: list[tuple[Candidate, Stripe]] = []
    for c, s in weighed:
        echo = False
        for _, t in kept:
            cols = np.arange(int(s.first), int(s.last) + 1)
            apart = np.abs((s.row - t.row) + (s.slope - t.slope) * cols) > 2.6
            own = np.nan_to_num(profile_along(depth, s.row, s.slope, slack=0), nan=-1.0)[cols]
            if apart.mean() < 0.75 and (not apart.any() or own[apart].mean() < 0.5 * s.depth):
                echo = True
        if not echo:
            kept.append((c, s))
    return kept
