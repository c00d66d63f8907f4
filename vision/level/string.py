"""A hanging string, measured: on and about the rib first, then followed outwards as far as it shows."""

from __future__ import annotations

import numpy as np

from shared.numerics.arrays import F64, U8
from shared.numerics.small_sums import straight
from vision.image.rectified import Plane
from vision.lines.measure import How, Stroke, measure_as, shaded
from vision.lines.rib import RibFace
from vision.lines.tracing import segment

FAIR_PX = 0.30
"""Scatter of a string's centres in the grey picture beyond which its colour is looked at as well: good ones have a
third. It saves the time of decoding the colour."""
ABOUT_PX = 200
"""How far from a string as found its path may lead, pixels, with what is looked at on its sides. It saves memory."""
FURTHER = 2.15
"""How many times as far as before a string is followed in one step. By judgement: somewhat more than double, so that
few steps reach the picture's edge and the direction so far still predicts the place."""
DRIFT_PX = 2.0
"""How far following a string further may move it on the stretch measured before. Twenty times a good string's scatter:
more means that another line was followed."""
LEAST_KEPT = 0.25
"""Least share of a string's segments that must lie on its line. By judgement: doubled, strings half hidden by rib and
card are refused."""
FAIR_KEPT = 0.6
"""The same from which the grey picture alone will do. It saves the time of decoding the colour."""
STILL_PX, STILL_TIMES, STILL_KEPT = 0.2, 1.5, 0.75
"""A string followed further is still the same while its scatter grows to no more than this, in pixels or times what it
was, and while this share of what was kept before still is. By judgement."""
SHORTEST_STRING = 0.12
"""A string measured over less than this, in chords, is too short. As `vision.level.gravity.SHORTEST_LEVEL_LINE`."""
ABOUT_RIB = 0.13
"""How far above and below the chord line a string is measured first, chords. A little more than
`vision.evidence.views.RIB_ABOVE`, the deepest rib."""
CLOSE_MM = 2.2
"""What is looked at to either side of a string, mm, where the camera is so near that pixels no longer limit it."""
RIM_PX = 8.0
"""Pixels at the picture's upper and lower edge that are left out. By judgement: what a profile askew to the edge
needs."""


def measure_string(rib: RibFace, ends: F64, crossing: F64 | None) -> Stroke | None:
    """A string's stroke in the grey picture; where it hardly shows there, in the colour that shows it best. None where it
    cannot be measured over SHORTEST_STRING of the chord.

    ends : (2, 2) sheet mm, upper end first. crossing : (2,) sheet mm, where it crosses the chord line. What was found may
    be a few pixels askew: the string is measured about there first and followed outwards, each time by what the stretch so
    far predicts. None (a hint): measured from end to end at once.

    rib : the one that it hangs before.
    """
    picture, plane, chord_mm, scale = rib.photo.picture, rib.plane, rib.chord_mm, rib.photo.scale
    blur, boxes = rib.blur, rib.boxes
    near = float(np.clip(3.0 * scale, 7, max(12.0, CLOSE_MM * scale)))
    d = (ends[1] - ends[0]) / (ends[1, 1] - ends[0, 1])  # per mm down
    x = plane.to_pixels(ends[:1])[0, 0]
    rim = plane.to_sheet(np.array([[x, RIM_PX], [x, picture.height - 1 - RIM_PX]]))[:, 1]
    top, bottom = max(float(rim[0]), float(ends[0, 1])), min(float(rim[1]), float(ends[1, 1]))
    middle, reach = (ends[0], 0.0) if crossing is None else (crossing, ABOUT_RIB * chord_mm)
    first = (
        (ends[0], ends[1]) if crossing is None else (middle - d * reach, middle + d * min(reach, bottom - middle[1]))
    )

    def traced(image: U8, a: F64, b: F64, rounds: int = 2) -> Stroke | None:
        return measure_as(
            image,
            plane,
            a,
            b,
            How(
                near,
                segment(np.stack([a, b])),
                blur,
                avoid=boxes,
                any_sign=True,
                rounds=rounds,
                quick=True,
            ),
        )

    def begun(image: U8) -> Stroke | None:
        best = traced(image, *first)
        return best if crossing is None or (best is not None and best.kept.mean() >= LEAST_KEPT) else None

    def outwards(image: U8, best: Stroke) -> Stroke:
        if crossing is None:
            return best
        at, rounds, far = first, 2, reach
        while at[0][1] > top + 1 or at[1][1] < bottom - 1:
            far *= FURTHER
            a, b = line_ends(best, max(top, middle[1] - far), min(bottom, middle[1] + far))
            # half-way, the stretch so far predicts the place well enough for one round to tell whether to go on
            for more in (2,) if a[1] <= top + 1 and b[1] >= bottom - 1 else (1, 2):
                stroke = traced(image, a, b, more)
                if stroke is not None and _followed(plane, best, stroke):
                    best, at, rounds = stroke, (a, b), more
                    break
            else:
                return best if rounds == 2 else traced(image, *at) or best
        return best

    start = begun(picture.gray)
    best = None if start is None else outwards(picture.gray, start)
    if (
        best is not None
        and best.kept.mean() > FAIR_KEPT
        and scatter(best) < FAIR_PX
        and best.length_mm > SHORTEST_STRING * chord_mm
    ):
        return shaded(best)
    colour = picture.full_colour()
    channels = [] if colour is None else [_channel(colour, k, plane.to_pixels(ends)) for k in range(3)]
    starts = [(stroke, image) for image in channels if (stroke := begun(image)) is not None]
    if starts:  # the channel that shows the string best about the rib shows it best farther out
        start, image = min(starts, key=lambda s: _vague(s[0]))
        other = outwards(image, start)
        if best is None or _vague(other) < _vague(best):
            best = other
    return None if best is None or best.length_mm < SHORTEST_STRING * chord_mm else shaded(best)


def scatter(stroke: Stroke) -> float:
    """Scatter of a string's centres, pixels.

    stroke : as measured. Independent noise and waviness of its centres, added as variances.
    """
    return float(np.hypot(np.median(stroke.sigma_px), stroke.waviness.size))


def line_ends(stroke: Stroke, v0: float, v1: float) -> tuple[F64, F64]:
    """The points of a stroke's straight line at two heights, sheet mm.

    stroke : as measured. v0, v1 : mm. Two points (2,), in this order.
    """
    slope, at = straight(stroke.uv[:, 1], stroke.uv[:, 0])
    return np.array([slope * v0 + at, v0]), np.array([slope * v1 + at, v1])


def _channel(colour: U8, k: int, ends: F64) -> U8:
    """(h, w) one channel of a picture (h, w, 3) about the upright line through two pixels (2, 2); zero far from it."""
    h, w, _ = colour.shape
    x = ends[0, 0] + (ends[1, 0] - ends[0, 0]) / (ends[1, 1] - ends[0, 1]) * (np.array([0.0, h]) - ends[0, 1])
    left, right = (int(k) for k in np.clip([x.min() - ABOUT_PX, x.max() + ABOUT_PX], 0, w))
    out = np.zeros((h, w), dtype=np.uint8)
    out[:, left:right] = colour[:, left:right, k]
    return out


def _followed(plane: Plane, before: Stroke, after: Stroke) -> bool:
    """Whether a string followed further is still the string measured so far."""
    return bool(
        after.kept.mean() >= LEAST_KEPT
        and _moved(plane, before, after) <= DRIFT_PX
        and scatter(after) <= max(STILL_TIMES * scatter(before), STILL_PX)
        and _kept_share(after, before.uv[0, 1], before.uv[-1, 1]) >= STILL_KEPT * before.kept.mean()
    )


def _kept_share(stroke: Stroke, v0: float, v1: float) -> float:
    """Share of a string's segments between two heights, sheet mm, that lie on its line."""
    first = stroke.uv[0, 1] - stroke.place[stroke.kept][0]
    v = first + stroke.place
    part = (v >= v0 - 1) & (v <= v1 + 1)
    return float(stroke.kept[part].mean()) if part.any() else 0.0


def _moved(plane: Plane, before: Stroke, after: Stroke) -> float:
    """How far a longer measurement lies from a shorter one at the shorter one's ends, pixels."""
    v0, v1 = float(before.uv[0, 1]), float(before.uv[-1, 1])
    one, other = (plane.to_pixels(np.stack(line_ends(s, v0, v1))) for s in (before, after))
    return float(np.abs(one - other).max())


def _vague(stroke: Stroke) -> float:
    """How poorly a stroke fixes a slope: scatter over length and count."""
    return float(scatter(stroke) / np.sqrt(stroke.kept.sum()) / stroke.length_mm)
