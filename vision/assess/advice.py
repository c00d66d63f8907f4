"""What limited a reading and what would help most, in plain words with numbers from its own budget.

Each remedy is tried out on the joint solution: the scene is changed as the remedy would change it (a better
reference, a known lean, a string in the middle, a second card) and solved again for its uncertainty.
"""

from __future__ import annotations

import numpy as np

from shared.quantity import K, Quantity
from shared.reading import Advice
from vision.detect import Detections
from vision.solution.propagate import Angles
from vision.solution.solve import Solution

WORTH_NAMING = 0.8
"""A remedy is named when it brings U below this share of what it is. By judgement: what gains less than a fifth is not
worth a second photo; halved, hardly any remedy would be named."""
NEAR_STRING = 0.12
"""Distance of the string from the foot of the perpendicular, in camera distances, that a person standing opposite it
keeps to (7 degrees askew; by judgement)."""


def advise(solution: Solution, result: Angles, found: Detections) -> tuple[Advice, ...]:
    """Remedies, the most helpful first; at most three.

    solution : of the rib. result : its angles with budgets, from which each remedy's gain in U is worked out. found :
    the lines.
    """
    chord = result.chord or max((q for _, q in result.named), key=lambda q: q.u, default=None)
    if chord is None or chord.u <= 0:
        return ()
    out: list[Advice] = []
    tilt = ("rib plane tilt", "card seating", "card print", "which way the card tilts", "lens")
    if len(solution.scene.cards) == 1:
        out.append(_advice("put a second card on the rib, far from the first", chord, _scaled(chord, 0.25, *tilt[:4])))
    middle = _string_offset(solution, found)
    if middle is not None and abs(middle) > NEAR_STRING:
        nearer = _scaled(chord, NEAR_STRING / abs(middle), "lean of the rib plane", *tilt)
        out.append(_advice("hang the string nearer the middle of the picture (or stand opposite to it)", chord, nearer))
    out.append(
        _advice(
            "measure the rib's lean with a level on its face and write it into the job",
            chord,
            _scaled(chord, 0.3, "lean of the rib plane"),
        )
    )
    if not solution.scene.lens.sound:
        out.append(_advice("calibrate the lens (ribangle calibrate lens)", chord, _scaled(chord, 0.05, "lens")))
    out.append(
        _advice(
            "draw the chord line with a straightedge and a thin, dark pen",
            chord,
            _scaled(chord, 0.4, "pen waviness", "chord line fit", "named line fit"),
        )
    )
    out.append(
        _advice(
            "use a taut string of a colour that stands out everywhere",
            chord,
            _scaled(chord, 0.3, "string fit", "string waviness"),
        )
    )
    good = [a for a in out if a.u_then is not None and a.u_now is not None and a.u_then < WORTH_NAMING * a.u_now]
    return tuple(sorted(good, key=lambda a: a.u_then or 0.0)[:3])


def _advice(text: str, now: Quantity, then: float) -> Advice:
    return Advice(f"{text}: U would fall from {now.U:.2f} to {K * then:.2f} deg", now.U, K * then)


def _scaled(q: Quantity, factor: float, *names: str) -> float:
    """u with some components made smaller."""
    return float(np.sqrt(sum((u * factor if n in names else u) ** 2 for n, u in q.budget().items())))


def _string_offset(solution: Solution, found: Detections) -> float | None:
    """The string's sideways distance from the foot of the perpendicular on the rib plane, in distances."""
    if found.gravity is None or not found.gravity.strings or found.chord_ends is None:
        return None
    n, t = solution.normal, solution.state.shift
    foot = n * float(n @ t)
    d = float(n @ t)
    s = found.gravity.strings[0].ends
    at = s.mean(0)
    p = found.plane.origin + at[0] * found.plane.along_u + at[1] * found.plane.along_v
    return float((p - foot) @ found.plane.along_u) / d
