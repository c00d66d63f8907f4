"""A drawn line that a person points at, found within the hand's error and measured."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from shared.numerics.arrays import F64
from vision.distances.rims import FAR_PX, POINTING_PX, TURN_PX, along, fine_segment
from vision.distances.sight import PlaneSight
from vision.lines.measure import Sampled, Stroke, measure, sample
from vision.lines.tracing import reach_px

BESIDE_PX = 3.0
"""From its middle, where a line's paper is looked at; and how far off a line counts as another one."""


@dataclass(frozen=True)
class Drawn:
    """A line. stroke : from the first pointed end to the second. rival : how likely another line beside it was meant, over its
    own."""

    stroke: Stroke
    rival: float


def measure_drawn(sight: PlaneSight, a: F64, b: F64) -> Drawn | None:
    """The line, darker or lighter than its ground, that runs about from a to b; None where none is seen.

    sight : the plane. a, b : (2,) sheet mm, where a person pointed.
    """
    found = _found(sight, a, b)
    if found is None:
        return None
    near, far, rival = found
    ends = np.stack([near, far])
    stroke = measure(
        sight.gray, sight.plane, near, far, half_px=reach_px(sight.scale), segment_mm=fine_segment(ends),
        blur_px=sight.blur, avoid=sight.boxes,
    )  # fmt: skip
    return None if stroke is None else Drawn(stroke, rival)


def _found(sight: PlaneSight, a: F64, b: F64) -> tuple[F64, F64, float] | None:
    """The likeliest line's ends, and its best rival's share; None where nothing stands out from its ground."""
    wide = sight.photo.picture.width / 4000.0
    reach, turns = max(FAR_PX * wide, 6.0), max(TURN_PX * wide, 4.0)
    seen = sample(sight.gray, sight.plane, a, b, reach + BESIDE_PX + 1, fine_segment(np.stack([a, b])))
    grey, w = seen.values, int(BESIDE_PX)
    middle, left, right = grey[:, w:-w], grey[:, : -2 * w], grey[:, 2 * w :]
    dip = np.minimum(left, right) - middle
    rise = middle - np.maximum(left, right)
    ridge = np.where(dip > 0, dip, np.where(rise > 0, -rise, 0.0)) / (grey.mean(1, keepdims=True) + 12.0)
    ridge[~seen.inside] = 0.0
    length = float(np.linalg.norm(b - a))
    offsets, turn, sums = along(ridge, seen.across[w], seen.place / length, (reach, turns))
    sums = np.abs(sums)
    ends = offsets[None, :, None] + turn[:, None, None] * np.array([-0.5, 0.5])
    worth = np.log(np.maximum(sums, 1e-9) / max(float(sums.max()), 1e-9))
    worth = worth - 0.5 * (ends**2).mean(2) / (POINTING_PX * wide) ** 2
    k, i = (int(x) for x in np.unravel_index(int(worth.argmax()), worth.shape))
    if sums[k, i] < 0.01 * len(seen.place):
        return None
    shift = seen.normal / float(np.median(seen.px_per_mm))
    return (
        a + ends[k, i, 0] * shift,
        b + ends[k, i, 1] * shift,
        _rival(ridge, seen, length, (reach, turns), (k, i), worth),
    )


def _rival(
    ridge: F64, seen: Sampled, length: float, reach: tuple[float, float], best: tuple[int, int], worth: F64
) -> float:
    """How likely the best other line was meant, over the best: what is left once the best's own ridge is taken out, so that a
    line that merely crosses it is none."""
    k, i = best
    place, first = seen.place / length, seen.across[int(BESIDE_PX)]
    offsets, turn, _ = along(ridge, first, place, reach)
    middle = offsets[i] + turn[k] * (place - 0.5)
    columns = first + np.arange(ridge.shape[1])
    rest = np.where(np.abs(columns - middle[:, None]) <= BESIDE_PX, 0.0, ridge)
    own, other = (np.abs(along(r, first, place, reach)[2]) for r in (ridge, rest))
    left = worth + np.log(np.maximum(other, 1e-9) / np.maximum(own, 1e-9))
    return float(np.exp(left.max() - worth[k, i]))
