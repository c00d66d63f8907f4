"""A card behind a hand in a live run: its own turn is not known then, the rib's is."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from shop import draw
from shop.chance import good_scene
from shop.jobs import job_for, lens_for

from vision.image.photo import Picture
from vision.live.relative import Start, begin, compare
from vision.reader import read_fully

SCENE = good_scene(46_001, "panels", "plumb")


@pytest.fixture(scope="module")
def start() -> Start:
    picture = Picture.from_array(draw(SCENE)[0])
    seen = read_fully(picture, job_for(SCENE), lens=lens_for(SCENE.camera, np.random.default_rng(1)))
    return begin(picture, seen, SCENE.chord_mm)


@pytest.mark.parametrize("hidden", [0, 1])
def test_a_card_behind_a_hand_leaves_the_other_to_be_followed(start: Start, hidden: int) -> None:
    assert len(start.cards) == 2
    card = start.found[hidden]
    photo = draw(SCENE, 6)[0]
    cv2.fillPoly(photo, [np.rint(card.at(card.spec.paper())).astype(np.int32)], (120, 140, 170))
    change = compare(start, Picture.from_array(photo))
    assert change.turn is not None, change.reason
    assert abs(change.turn.value) < 2.5 * change.turn.u and not change.loose


def test_both_cards_behind_a_hand_are_told_of(start: Start) -> None:
    photo = draw(SCENE, 6)[0]
    for card in start.found:
        cv2.fillPoly(photo, [np.rint(card.at(card.spec.paper())).astype(np.int32)], (120, 140, 170))
    change = compare(start, Picture.from_array(photo))
    assert change.turn is None and "something stands before them" in change.reason
