"""Where in a photo a named line is looked for: its middle in the sheet, and which way about it runs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shared.job.named import NamedLine
from shared.numerics.arrays import F64
from vision.cards.detect import Card
from vision.image.rectified import Plane

CARD_NOT_SEEN = "its place is counted from card {number}, which is not in the photo"


@dataclass(frozen=True)
class Sought:
    """A named line as it is looked for. middle : (2,) sheet mm, None where the job does not say. along, across : (2,) unit
    vectors of the sheet, the way that it runs and square to it, by the card's own axes."""

    line: NamedLine
    middle: F64 | None
    along: F64
    across: F64

    @property
    def within_mm(self) -> float:
        """How far off its place it may lie."""
        return self.line.within_mm

    def off(self, ends: F64) -> float:
        """How far the line through two points (2, 2) sheet mm passes the middle, mm."""
        assert self.middle is not None
        t = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
        q = self.middle - ends[0]
        return float(t[0] * q[1] - t[1] * q[0])


def sought(line: NamedLine, plane: Plane, cards: tuple[Card, ...], numbers: tuple[int, ...]) -> Sought | str:
    """Where a line is looked for, or the reason why that cannot be said. cards : seen at its station or place. numbers : of
    all its cards, as the job lists them."""
    by_number = {c.number: c for c in cards}
    first = by_number.get(numbers[0]) if numbers else None
    if line.from_card_mm is not None and first is None:
        return CARD_NOT_SEEN.format(number=numbers[0])
    arrow, up, middle = _axes(first or cards[0], plane)
    runs = (arrow if arrow[0] > 0 else -arrow) if line.runs == "level" else -up
    across = np.array([-runs[1], runs[0]])
    if line.from_card_mm is None:
        return Sought(line, None, runs, across)
    x, y = line.from_card_mm
    return Sought(line, middle + x * arrow + y * up, runs, across)


def _axes(card: Card, plane: Plane) -> tuple[F64, F64, F64]:
    """Unit vectors of the sheet along the card's arrow and up it, and its middle, sheet mm."""
    w, h = card.spec.size_mm
    board = np.array([[w / 2, h / 2], [w / 2 + 10.0, h / 2]])
    middle, ahead = plane.to_sheet(card.at(board))
    arrow = (ahead - middle) / np.linalg.norm(ahead - middle)
    up = np.array([arrow[1], -arrow[0]])
    return arrow, (up if up[1] < 0 else -up), middle
