"""A survey of the invented trainer without camera or photos, for tests of what shows a survey.

Angles, errors and faults are invented: an outer right bay that stands nose-down, spar line and all; one
left rib glued off its line; one photo without a level reference; an inclinometer that reads 0.3 high with
one reading wrong by a degree. Judged by the real evaluation.
"""

from __future__ import annotations

from datetime import datetime
from functools import cache

import numpy as np

from rigging.survey.model import Survey, evaluate
from shared.flags import Flag, FlagCode
from shared.gauge.readings import GaugeReading, GaugeReadings
from shared.job.model import Gauge, Glue, Jig, Job, Station, Wing
from shared.quantity import Component, Quantity
from shared.reading import Angle, Made, Photo, Reading

ROWS = (  # station, side, span mm, chord mm, design chord, true chord, true spar
    ("R1", "right", 400.0, 1200.0, 2.0, 1.921, 90.019),
    ("R2", "right", 1100.0, 1112.0, 1.5, 1.487, 89.890),
    ("R3", "right", 1800.0, 1024.0, 1.0, 1.114, 89.929),
    ("R4", "right", 2500.0, 936.0, 0.5, 0.662, 90.066),
    ("R5", "right", 3200.0, 848.0, 0.0, -0.671, 89.153),
    ("R6", "right", 3900.0, 760.0, -0.5, -1.363, 89.205),
    ("L1", "left", 400.0, 1200.0, 2.0, 2.025, 89.915),
    ("L2", "left", 1100.0, 1112.0, 1.5, 1.497, 90.133),
    ("L3", "left", 1800.0, 1024.0, 1.0, 1.682, 89.883),
    ("L4", "left", 2500.0, 936.0, 0.5, 0.519, 89.912),
    ("L5", "left", 3200.0, 848.0, 0.0, 0.074, 89.930),
    ("L6", "left", 3900.0, 760.0, -0.5, -0.425, 90.089),
)
REFUSED = "L5"
TOLERANCE = 0.25
WING = "Two-seat trainer <b>demo</b> & test"
"""The angle brackets are there to see that every output escapes them."""


def job() -> Job:
    """The trainer's job."""
    stations = tuple(
        Station(
            name,
            side,
            span,
            chord,
            (k + 1, k + 13),
            design,
            TOLERANCE,
            90.0,
            TOLERANCE,
            0.3,
            panel="outer right" if name in ("R5", "R6") else None,
        )
        for k, (name, side, span, chord, design, _, _) in enumerate(ROWS)
    )
    return Job(
        Wing(WING, "R1", dihedral_deg=0.0),
        stations,
        gauge=Gauge(resolution_deg=0.1, u_deg=0.1),
        jigs=(Jig("screw", "M6", 300.0, panel="outer right"),),
        glue=Glue(40, 60),
        marking_u_deg=0.03,
    )


def readings() -> tuple[Reading, ...]:
    """One photo a station, two of R4, a refusal, and a photo of something else (seed 7)."""
    rng = np.random.default_rng(7)
    out = [_reading(name, f"{name}.jpg", chord, spar, rng) for name, *_, chord, spar in ROWS]
    out.append(_reading("R4", "R4b.jpg", 0.662, 90.066, rng))
    nothing = Angle(None, "no station card in the photo")
    made = Made("0.1.0", None, None)
    holiday = Photo("holiday.jpg", "77" * 32, 4000, 3000, None, None)
    out.append(Reading(holiday, None, nothing, nothing, None, None, made))
    return tuple(out)


def gauge_readings() -> GaugeReadings:
    """What the inclinometer showed: 0.3 high, R4's chord wrong by another degree, to 0.1."""
    rng = np.random.default_rng(8)
    shown = []
    for name, *_, chord, spar in ROWS:
        for line, truth in (("chord", chord), ("spar", spar)):
            wrong = 1.0 if (name, line) == ("R4", "chord") else 0.0
            shown.append(GaugeReading(name, line, round(truth + 0.3 + wrong + float(rng.normal(0, 0.05)), 1)))
    return GaugeReadings(tuple(shown))


@cache
def example_survey() -> Survey:
    """The same survey at every call."""
    return evaluate(job(), readings(), gauge_readings(), now=datetime(2024, 5, 14, 18, 30))


def _reading(name: str, file: str, chord: float, spar: float, rng: np.random.Generator) -> Reading:
    photo = Photo(file, (file.encode().hex() * 32)[:64], 4000, 3000, "2024-05-14T18:00:00", "fieldcam")
    made = Made("0.1.0", "fieldcam-f1-4000x3000", "string, u 0.01")
    if name == REFUSED:
        reason = Angle(None, "no plumb line or level line found in the photo")
        return Reading(photo, name, reason, reason, "right", None, made)
    off = Flag(FlagCode.MARKS_OFF, "a reference mark lies 0.6 mm off the fitted line")
    flags = (off,) if name == "R3" else ()
    return Reading(
        photo,
        name,
        Angle(_quantity(file, "chord", chord, rng), flags=flags),
        Angle(_quantity(file, "spar", spar, rng)),
        "right",
        "plumb",
        made,
    )


def _quantity(file: str, line: str, truth: float, rng: np.random.Generator) -> Quantity:
    scale = 2.5 if line == "spar" else 1.0
    parts = (
        Component("rib plane tilt", f"photo:{file} tilt", 0.012 * scale),
        Component("pen waviness", f"photo:{file} pen {line}", 0.009 * scale),
        Component("string fit", f"photo:{file} string", 0.006),
        Component("lens", "lens:fieldcam axis 1", 0.004),
        Component("plumb line itself", "level:string", 0.01),
    )
    return Quantity(truth + float(rng.normal(0, 0.015 * scale)), parts)
