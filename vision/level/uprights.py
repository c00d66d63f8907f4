"""What else stands upright in the photo, and what it says of a level reference.

Door frames, shelves, boards, pipes and posts stand plumb to a degree or so, wherever they are in the shop. Seen as a line in the
photo, such a thing lies in a plane through the camera, and gravity lies in that plane if it is plumb. A reference gives gravity
(with the rib's lean as stated), and each upright line its distance d from it, degrees. With a share w of plumb things among them,

    p(d | gravity g) = w N(d; 0, PLUMB_DEG) + (1 - w) / RANGE_DEG

Under "this reference is true" g is what it gives; under "it is not" g may be anything near. The likelihood ratio of the two
(Bayes; the lines independent) takes from a slanted string's probability where the whole shop stands otherwise. It adds nothing
where they agree: whatever hangs, hangs nearly plumb, a cable as well.
"""

from __future__ import annotations

import math

import numpy as np

from shared.lines import Shows
from shared.numerics.arrays import F64
from vision.evidence.belief import SHOWN_FROM, Belief
from vision.image.rectified import Plane
from vision.level.agree import down_in_plane, view_plane
from vision.solution.scene import Lean, LineSeen

PLUMB_DEG = 1.2
"""Standard deviation of how plumb shop fittings stand (by judgement: a door or a shelf is set with a spirit level, a pipe or a
jig's post is not). Half of it would take a true string down where a few poles lean by 2 degrees; twice it would let pass a
string that is 3 degrees aslant."""
SHARE = 0.4
"""Share of plumb things among the upright lines of a photo that are no string and no line on the rib (by judgement)."""
RANGE_DEG = 24.0
"""Range of the others: as far from upright as candidates are looked for (`views.UPRIGHT_DEG`), both ways."""
AWRY = 0.02
"""Probability that what agrees in a photo agrees on another direction: a shelf that leans, a rod and its shadow."""
COUNTED = ("rod", "edge", "seam")
LEAST = 0.5
"""Probability of being one of these from which on a line counts."""
LEAST_PLACES = 12
"""Places of a strip at which it must show: a fifth."""
SAME_DEG, SAME_MM = 0.4, 60.0
"""Two lines nearer to each other than both are of one thing: the edges of a pole, or it and its shadow (by judgement)."""
GRID_DEG = 0.25
"""Step of the directions tried."""


def speaks_for(plane: Plane, line: LineSeen, others: list[Belief], lean: Lean) -> float:
    """Likelihood ratio, that a reference is true against that it is not, of the upright things seen beside it; 1 at most.

    others : all upright candidates of the rib's view, sheet mm; those on the reference itself are left out.

    plane : of the rib. line : the reference, as seen. lean : of the rib, as stated.
    """
    planes = _planes(plane, line, others)
    if not len(planes):
        return 1.0
    down = math.radians(down_in_plane(plane, line, lean.deg, lean.outward))
    tilt = lean.outward * math.sin(math.radians(lean.deg))

    def likelihood(turn: F64) -> F64:
        """(n,) relative to lines of any direction, of gravity turned in the rib plane by (n,) rad."""
        flat = math.sqrt(1 - tilt**2)
        g = (
            flat * np.sin(down + turn)[:, None] * plane.along_u
            + flat * np.cos(down + turn)[:, None] * plane.along_v
            + tilt * plane.normal
        )
        d = np.degrees(np.arcsin(np.clip(g @ planes.T, -1, 1)))  # (n, lines)
        density = np.exp(-0.5 * (d / PLUMB_DEG) ** 2) / (PLUMB_DEG * math.sqrt(2 * math.pi))
        return np.asarray(np.prod(SHARE * density * RANGE_DEG + 1 - SHARE, axis=1))

    turns = np.radians(np.arange(-RANGE_DEG / 2, RANGE_DEG / 2 + GRID_DEG / 2, GRID_DEG))
    here, anywhere = float(likelihood(np.zeros(1))[0]), float(likelihood(turns).mean())
    return min(1.0, ((1 - AWRY) * here + AWRY * anywhere) / anywhere)


def _planes(plane: Plane, line: LineSeen, others: list[Belief]) -> F64:
    """(n, 3) normals of the planes of view of the upright things, one each."""
    own = plane.to_sheet(line.pixels) if line.role.shows is Shows.PLUMB else None
    kept: list[F64] = []
    normals: list[F64] = []
    for b in others:
        if sum(b.of(kind) for kind in COUNTED) < LEAST or (b.seen > SHOWN_FROM).sum() < LEAST_PLACES:
            continue
        near = [own] if own is not None else []
        if any(_one_thing(b.ends, other) for other in (*near, *kept)):
            continue
        kept.append(b.ends)
        n = view_plane(plane, plane.to_pixels(b.places[b.seen > SHOWN_FROM]))
        normals.append(n if n @ plane.along_u > 0 else -n)
    return np.array(normals).reshape(-1, 3)


def _one_thing(a: F64, b: F64) -> bool:
    """Whether two upright lines (n, 2) sheet mm are edges of one thing: near each other and parallel."""
    (u0, v0), (u1, v1) = a[0], a[-1]
    (p0, q0), (p1, q1) = b[0], b[-1]
    slopes = (u1 - u0) / (v1 - v0), (p1 - p0) / (q1 - q0)
    middle = (v0 + v1) / 2
    apart = abs(u0 + slopes[0] * (middle - v0) - p0 - slopes[1] * (middle - q0))
    return bool(apart < SAME_MM and abs(math.degrees(slopes[0] - slopes[1])) < SAME_DEG) or bool(apart < 4.0)
