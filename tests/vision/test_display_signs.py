"""What stands beside the digits: a lost digit is told from words, rings and triangles, whatever stands over what."""

import cv2
import numpy as np
import pytest

from vision.display.row import OVER, TALL, Part
from vision.display.segments import Cell
from vision.display.signs import point_after, unexplained

THICK = 14.0


def beside(draw):
    """What is said of a strip with one digit's cell at 200 to 255 and what `draw` puts beside it."""
    mask = np.zeros((TALL + 2 * OVER, 420), np.uint8)
    draw(mask)
    cell = Cell(200.0, 255.0, float(OVER), float(OVER + TALL), Part(200, 255, OVER, OVER + TALL))
    return unexplained([cell], [cell.part], mask > 0, THICK)


@pytest.mark.parametrize("gap", [0, 8, 16])
@pytest.mark.parametrize("at", [100, 300])
def test_a_one_that_was_not_taken_for_a_digit_is_told(gap, at):
    def draw(mask):
        middle = OVER + TALL // 2
        mask[OVER + 10 : middle - gap // 2, at : at + 14] = 1
        mask[middle + (gap + 1) // 2 : OVER + TALL - 10, at : at + 14] = 1

    assert "tall stroke" in beside(draw)


def test_ring_word_and_triangle_over_each_other_are_no_tall_stroke():
    def ring_and_word(mask):
        cv2.circle(mask, (290, OVER + 12), 8, 1, 3)
        cv2.putText(mask, "ABS", (270, OVER + 56), cv2.FONT_HERSHEY_SIMPLEX, 0.7, 1, 3)

    def triangle_over_word(mask):
        cv2.fillPoly(mask, [np.array([[300, OVER + 10], [330, OVER + 10], [315, OVER + 36]])], 1)
        cv2.putText(mask, "HOLD", (270, OVER + 66), cv2.FONT_HERSHEY_SIMPLEX, 0.7, 1, 3)

    def frame(mask):
        cv2.line(mask, (0, OVER), (20, mask.shape[0] - 1), 1, 4)

    assert beside(ring_and_word) == ""
    assert beside(triangle_over_word) == ""
    assert beside(frame) == ""


def test_a_point_is_held_against_the_next_best_place():
    assert point_after(np.array([0.15, 0.95, 0.05]), None)[:2] == (1, pytest.approx(0.98, abs=0.02))
    at, sure, why = point_after(np.array([0.3, 0.6, 0.05]), None)
    assert at == 1 and sure < 0.75 and not why
    assert point_after(np.array([0.4, 0.95, 0.05]), None)[2] == "a decimal point is doubtful"
