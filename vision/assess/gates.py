"""Quality gates: what a photo must be before a number is worth giving. Each threshold says why."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shared.flags import Flag, FlagCode
from vision.cards.detect import Card
from vision.solution.solve import Solution

MIN_PX_PER_MM = 0.9
"""Below this a 0.5 mm pen line is under half a pixel wide and a strip's markers under 10 px."""
MAX_BLUR_PX = 4.0
"""Flank width of the card's corners (tanh scale) beyond which thin lines are washed out. The flank's slope then has a
standard deviation of 3.6 pixels, and a line 2 pixels wide keeps a fifth of its depth."""
WORRY_BLUR_PX = 2.6
"""From here on the reader flags a soft photo: two thirds of what is refused, by judgement."""
MAX_SMEAR_PX, WORRY_SMEAR_PX = 5.0, 1.5
"""Length of a straight smear (shake) along the card's rows or columns. The smear itself is even, but a shutter that
reads the picture line by line is moved on meanwhile: read in twice the exposure, a smear of 3 px bends a picture of
3000 lines by 0.1 deg (common practice, no source). Photos held still show 0.0 to 0.6 px."""
FEWEST_CARD_EDGES = 3
"""Edges of a card in one direction, fewer than which, beside enough in the other, were smeared away. Three, for a
median that one wrong edge does not move."""
MAX_TILT_DEG = 55.0
"""Obliqueness of the rib plane at which a millimetre along it shrinks to 0.57 of itself. By judgement."""
WORRY_TILT_DEG = 35.0
"""From here on an oblique photo is flagged: the tangent, which errors of lens and plane grow with, is 0.7. By
judgement."""
MIN_CONTRAST = 18.0
"""Half the grey step between the card's black and white; less is fog, glare or darkness. By judgement: halved, corners
are fitted to noise; doubled, dim shops are refused."""
MAX_CORNER_RMS_PX = 1.0
"""Beyond it the cards contradict a flat rib by ten times a good photo's residual: no value is given."""
WORRY_CORNER_RMS_PX = 0.30
"""Residual of card corners: good photos show 0.03 to 0.10 px; a bent card or another lens shows more."""
MIN_CORNERS = 10
"""Corners that must be left of all cards: eight unknowns of a plane's homography take four of them, the rest must show
whether they fit."""


@dataclass(frozen=True)
class Verdict:
    """A reason to refuse, or None, and doubts."""

    reason: str | None = None
    flags: tuple[Flag, ...] = ()


def before_solving(cards: list[Card]) -> Verdict:
    """Gates that need only the cards' own pictures."""
    flags: list[Flag] = []
    best = max(cards, key=lambda c: c.px_per_mm)
    blur = min(c.blur_px for c in cards)
    contrast = max(c.contrast for c in cards)
    if best.px_per_mm < MIN_PX_PER_MM:
        return Verdict(
            f"the photo shows only {best.px_per_mm:.1f} pixels per millimetre; {MIN_PX_PER_MM} are needed: "
            "move closer or use the full resolution"
        )
    if blur > MAX_BLUR_PX:
        return Verdict("the photo is blurred (focus or shake): hold still, tap to focus on the card, take it again")
    smear = min(smear_px(c) for c in cards)
    if smear > MAX_SMEAR_PX:
        return Verdict("the photo is smeared in one direction (the camera moved): rest it on something, take it again")
    if contrast < MIN_CONTRAST:
        return Verdict("the card's black and white hardly differ (fog, glare or darkness): light the rib evenly")
    if sum(len(c.board) for c in cards) < MIN_CORNERS:
        return Verdict("fewer than 10 corners of the card are usable: nothing may hang or lie across it")
    if blur > WORRY_BLUR_PX:
        flags.append(FlagCode.BLURRED.flag(f"the photo is soft (corner flanks {blur:.1f} px wide)"))
    if smear > WORRY_SMEAR_PX:
        flags.append(
            FlagCode.SHAKEN.flag(f"the photo is smeared by {smear:.1f} px in one direction (the camera moved)")
        )
    return Verdict(None, tuple(flags))


def after_solving(solution: Solution) -> Verdict:
    """Gates on the fitted plane.

    solution : of the rib, with the corners' residuals.
    """
    n, t = solution.normal, solution.state.shift
    tilt = float(np.degrees(np.arccos(np.clip(abs(n @ t) / np.linalg.norm(t), 0, 1))))
    rms = max(solution.corner_rms)
    flags: list[Flag] = []
    if tilt > MAX_TILT_DEG:
        return Verdict(f"the rib is seen at {tilt:.0f} deg from square, more than {MAX_TILT_DEG:.0f}: stand before it")
    if rms > MAX_CORNER_RMS_PX:
        return Verdict(
            f"the card's corners miss a flat card by {rms:.2f} px: the card is bent, the cards do not lie in "
            "one plane, or the lens profile is another camera's"
        )
    if tilt > WORRY_TILT_DEG:
        flags.append(FlagCode.OBLIQUE.flag(f"the rib is seen at {tilt:.0f} deg from square"))
    if rms > WORRY_CORNER_RMS_PX:
        flags.append(
            FlagCode.CARD_MISFIT.flag(
                f"the card's corners miss a flat card by {rms:.2f} px (bent card, cards not in "
                "one plane, or another lens)"
            )
        )
    return Verdict(None, tuple(flags))


def smear_px(card: Card) -> float:
    """Length of a straight smear in one of the card's two directions that makes its edges as unequally sharp as
    they are: a box of length L adds L^2 / 12 to the blur's variance across it. Infinite where the edges of one
    direction are gone, 0 where there are too few. A smear along a diagonal blurs both alike and is left to
    the gate on blur."""
    e = card.edges
    if len(e.blur_px) < 2 * FEWEST_CARD_EDGES:
        return 0.0
    corner = card.at(np.array([[0.0, 0.0], [1.0, 0.0]]))
    along = (corner[1] - corner[0]) / np.linalg.norm(corner[1] - corner[0])
    upright = np.abs(e.normal @ along) > np.sqrt(0.5)
    if min(upright.sum(), (~upright).sum()) < FEWEST_CARD_EDGES:
        return float("inf")
    across, down = (float(np.median(e.blur_px[k])) for k in (upright, ~upright))
    return float(np.sqrt(12 * abs(across**2 - down**2)))
