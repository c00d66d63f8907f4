"""Whether two photos are one picture saved twice: sent by a messenger, scaled down, turned into another format.

Such a copy has another SHA-256 but is no second witness. Held in the hand, no two photos show a card at the same
pixels; so two that do are one picture, or two from a tripod within moments, which are hardly two witnesses either.
"""

from __future__ import annotations

import numpy as np

from shared.reading import Reading

SAME_PART = 5e-4
"""Corners of a card this near, as a part of the picture's width (2 px of 4000), are at the same place: saving anew moves
them by a tenth of a pixel, a hand by tens."""


def same_picture(a: Reading, b: Reading) -> bool:
    """Whether two readings of different files are of one picture. Photos that tell different times are two."""
    if a.station != b.station or a.evidence is None or b.evidence is None:
        return False
    if a.photo.taken and b.photo.taken and a.photo.taken != b.photo.taken:
        return False
    cards = [{c.number: c.outline for c in r.evidence.cards} for r in (a, b) if r.evidence is not None]
    shared = [n for n in cards[0] if n in cards[1] and len(cards[0][n]) == len(cards[1][n]) == 4]
    if not shared:
        return False
    sizes = [max(r.photo.width, 1) for r in (a, b)]
    gaps = [np.array(cards[0][n]) / sizes[0] - np.array(cards[1][n]) / sizes[1] for n in shared]
    return bool(max(float(np.abs(g).max()) for g in gaps) <= SAME_PART)
