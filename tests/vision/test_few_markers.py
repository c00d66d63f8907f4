"""A card is named by three of its markers, and by no fewer: the gate `vision.cards.detect.MIN_MARKERS`."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from samples import TRAINER
from vision.cards import detect as cards
from vision.cards.detect import find_cards
from vision.image.photo import open_photo


def with_markers_left(left: int) -> tuple[np.ndarray, int]:
    """A sample photo with all but so many of its card's markers painted white; the card's number."""
    gray = open_photo(TRAINER / "photos" / "L1.jpg").gray.copy()
    (card,) = find_cards(gray)
    for corners in card.spec.marker_corners()[left:]:
        cv2.fillConvexPoly(gray, np.rint(card.at(corners)).astype(np.int32), 215)
    return gray, card.number


def test_three_markers_name_a_card_and_two_do_not(monkeypatch: pytest.MonkeyPatch) -> None:
    three, number = with_markers_left(3)
    assert [c.number for c in find_cards(three)] == [number]
    two, _ = with_markers_left(2)
    assert find_cards(two) == []
    monkeypatch.setattr(cards, "MIN_MARKERS", 4)
    assert find_cards(three) == []
