"""Whole gauges with the printed tag beside the display, every second one upside down, read by the tag alone."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from display_gauge import draw_gauge, photograph
from display_render import TALL, Family, Shown

from vision.display.tag import FIRST_TAG, TAG_MM, TaughtDisplay, display_corners, find_tags, tag_picture

FIGURE_MM = 12.0
"""Height of the figures on the gauge."""


@dataclass(frozen=True)
class Tagged:
    """A photo, and where the display sits beside its tag. corners in `shown` are not to be used for reading."""

    shown: Shown
    taught: TaughtDisplay


def draw_tagged(rng: np.random.Generator, family: Family) -> Tagged:
    """A gauge with its tag in a photo; its display was taught as well as a hand marks corners."""
    gauge = draw_gauge(rng, family)
    module = round(TALL / FIGURE_MM * TAG_MM / 7)
    tag = tag_picture(FIRST_TAG, module).astype(np.float64)
    rows, columns = gauge.front.shape
    high = max(rows, len(tag) + 40)
    front = np.full((high, columns + len(tag) + 80), float(np.median(gauge.front[0])))
    front[:rows, :columns] = gauge.front
    top, left = (high - len(tag)) // 2, columns + 40
    front[top : top + len(tag), left : left + len(tag)] = 20 + 0.8 * tag
    middle = np.array([left, top]) + len(tag) / 2
    mm = (gauge.corners - middle) * (TAG_MM / (7 * module))
    mm = mm + rng.normal(0, 0.008 * float(mm[1, 0] - mm[0, 0]), (4, 2))
    taught = TaughtDisplay(FIRST_TAG, tuple((float(x), float(y)) for x, y in mm))
    corners, what = gauge.corners, gauge.what
    if rng.random() < 0.5:
        front = np.ascontiguousarray(front[::-1, ::-1])
        corners, what = np.array([front.shape[1], high]) - corners, f"{what} upside down"
    return Tagged(photograph(replace(gauge, front=front, corners=corners, what=what), rng), taught)


def by_tag(tagged: Tagged) -> np.ndarray | None:
    """(4, 2) pixels of the display, by the tag; None where the tag is not found."""
    image = cv2.copyMakeBorder(tagged.shown.image, 8, 8, 8, 8, cv2.BORDER_REPLICATE)
    tags = find_tags(np.asarray(image, dtype=np.uint8))
    return display_corners(tags[FIRST_TAG], tagged.taught) - 8 if FIRST_TAG in tags else None
