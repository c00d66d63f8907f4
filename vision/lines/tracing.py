"""From a line found to a line measured: how it is cut up, how far to look aside, when two finds are one."""

from __future__ import annotations

import numpy as np

from shared.lines import Role
from shared.numerics.arrays import F64
from shared.numerics.small_sums import straight
from vision.image.photo import Picture
from vision.image.rectified import Plane
from vision.lines.hints import Hint
from vision.lines.measure import How, Stroke, measure_as
from vision.solution.scene import LineSeen

SEGMENT_MM = 14.0
"""Length of the segments in which a drawn line's centre is measured. By judgement: some thirty pen breadths, and half
of how far waviness reaches."""
SAME_INK_MM = 0.35
"""Two measured lines nearer than this at both ends are one. Less than a pen line's breadth."""
CLOSE_MM = 2.2
"""What is looked at to either side of a drawn line, mm, where the camera is so near that pixels no longer limit it."""
ECHO_MM = 4.0
"""A find that cannot be measured is an echo of another when it keeps this close to it. Half the window in which a line
is measured (`reach_px`, 3.2 mm) and a pen's breadth."""


def order(ends: F64) -> F64:
    """Left end first.

    ends : (2, 2) sheet mm.
    """
    return ends[np.argsort(ends[:, 0])]


def hinted_ends(plane: Plane, hint: Hint) -> F64:
    """(2, 2) sheet mm of a hint's two points, left (or upper) end first.

    plane : of the rib. hint : its points in pixels.
    """
    uv = plane.to_sheet(np.array([hint.a, hint.b], dtype=np.float64))
    return order(uv) if hint.role.across else uv[np.argsort(uv[:, 1])]


def segment(ends: F64) -> float:
    """Segment length for a line between two ends, mm: about 70 segments, never under 4 mm."""
    return max(
        4.0,
        min(SEGMENT_MM, float(np.linalg.norm(ends[1] - ends[0])) / 24),
        float(np.linalg.norm(ends[1] - ends[0])) / 70,
    )


def reach_px(scale: float) -> float:
    """How far to either side of a drawn line its profile is taken, pixels. scale : pixels a mm."""
    return float(np.clip(3.2 * scale, 7.0, max(14.0, CLOSE_MM * scale)))


def line_seen(
    role: Role,
    s: Stroke,
    own_deg: float = 0.0,
    own_source: str = "",
    own_name: str = "",
    zero_deg: float = 0.0,
) -> LineSeen:
    """A measured stroke as an observation.

    role : what line it is. s : as measured. own_deg, own_source, own_name, zero_deg : of the thing itself as a
    reference, degrees, see `LineSeen`.
    """
    return LineSeen(
        role,
        s.pixels,
        s.sigma_px,
        s.waviness.size,
        max(1.0, s.waviness.reach * s.px_per_mm),
        own_deg,
        own_source,
        own_name,
        zero_deg,
        s.shade_px,
    )


def same_ink(picture: Picture, plane: Plane, scale: float, blur: float, first: F64, other: F64) -> bool:
    """Measure two candidates with a narrow window: one line found twice comes to the same place, or to nothing.

    picture : the full photo. plane : of the rib. scale : pixels a mm. blur : standard deviation of the picture's,
    pixels. first, other : (2, 2) sheet mm.
    """

    def narrow(e: F64) -> Stroke | None:
        how = How(float(np.clip(2.0 * scale, 5, 8)), segment(e), blur, quick=True)
        return measure_as(picture.gray, plane, e[0], e[1], how)

    best, rival = narrow(order(first)), narrow(order(other))
    if rival is None or rival.kept.mean() < 0.5:
        # nothing to be measured there: an echo if it keeps close to the other, else too doubtful to dismiss
        one, two = (straight(e[:, 0], e[:, 1]) for e in (order(first), order(other)))
        span = np.array([max(first[:, 0].min(), other[:, 0].min()), min(first[:, 0].max(), other[:, 0].max())])
        return bool(np.abs(np.polyval(one, span) - np.polyval(two, span)).max() < ECHO_MM)
    if best is None:
        return False
    lines = [straight(g.uv[:, 0], g.uv[:, 1]) for g in (best, rival)]
    ends = np.array([max(best.uv[0, 0], rival.uv[0, 0]), min(best.uv[-1, 0], rival.uv[-1, 0])])
    return bool(np.abs(np.polyval(lines[0], ends) - np.polyval(lines[1], ends)).max() < SAME_INK_MM)
