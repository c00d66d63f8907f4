"""A survey of the invented trainer, put together without the camera, for tests of what shows a survey.

Its angles, errors and faults are invented: an outer right bay that stands nose-down, spar line and all,
and one left rib glued off its line. Everything is computed here by plain quantity arithmetic.
"""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np

from rigging.bonding import BondingWindow, ToCheck
from rigging.corrections import Correction, Moved
from rigging.crosscheck_types import Agreement, CrossCheck, Diagnosis, Fault, Hypothesis, Interval, Pair
from rigging.decision import Decision, decide
from rigging.repeats import Combined, PhotoUse
from rigging.rib_or_jig import RibOrJig
from rigging.survey import LineResult, Provenance, Refusal, StationResult, Survey
from rigging.wing import Fairness, Symmetry, Twist, Unfair, Washout
from shared.job import Glue, Jig, Job, Station, Wing
from shared.quantity import Component, Quantity
from shared.reading import Advice, Flag

ROWS = (  # station, side, span mm, chord mm, design chord, true chord, true spar
    ("R1", "right", 400, 1200, 2.0, 1.921, 90.019),
    ("R2", "right", 1100, 1112, 1.5, 1.487, 89.890),
    ("R3", "right", 1800, 1024, 1.0, 1.114, 89.929),
    ("R4", "right", 2500, 936, 0.5, 0.662, 90.066),
    ("R5", "right", 3200, 848, 0.0, -0.671, 89.153),
    ("R6", "right", 3900, 760, -0.5, -1.363, 89.205),
    ("L1", "left", 400, 1200, 2.0, 2.025, 89.915),
    ("L2", "left", 1100, 1112, 1.5, 1.497, 90.133),
    ("L3", "left", 1800, 1024, 1.0, 1.682, 89.883),
    ("L4", "left", 2500, 936, 0.5, 0.519, 89.912),
    ("L5", "left", 3200, 848, 0.0, 0.074, 89.930),
    ("L6", "left", 3900, 760, -0.5, -0.425, 90.089),
)
REFUSED = "L5"
TOLERANCE = 0.25


def _decide(d: Quantity, tolerance: float = TOLERANCE) -> Decision:
    decision = decide(d, tolerance)
    if decision.outcome == "undecided":
        return replace(decision, advice=(Advice("photograph it once more from elsewhere", d.U, 0.7 * d.U),))
    return decision


def _read(name: str, line: str, truth: float, rng: np.random.Generator) -> Quantity:
    u = {"rib plane tilt": 0.012, "pen waviness": 0.009, "string fit": 0.006}
    scale = 2.5 if line == "spar" else 1.0
    parts = [
        Component(part, f"photo:{name} {part}{line if part == 'pen waviness' else ''}", size * scale)
        for part, size in u.items()
    ]
    parts += [
        Component("lens", "lens:fieldcam axis 1", 0.004),
        Component("plumb line itself", "level:string", 0.01),
    ]
    off = float(rng.normal(0, 0.015 * scale))
    return Quantity(truth + off, tuple(parts))


def _line(name: str, line: str, q: Quantity | None, design: float) -> LineResult:
    if q is None:
        reason = "no plumb line or level line found in the photo"
        use = PhotoUse(f"{name}.jpg", "5e" * 32, None, "refused", 0.0, why=reason)
        combined = Combined(None, (use,), math.nan, 0, math.nan, math.nan, reason=reason)
        return LineResult(line, combined, None, design, TOLERANCE, None, None, reason=reason)
    use = PhotoUse(f"{name}.jpg", (name.lower().encode().hex() * 32)[:64], q, "used", 1.0, 0.0, 0.0)
    marked = q.plus(Component("marking of the line by hand", f"marking:{name} {line}", 0.03))
    off = marked.shifted(-design)
    flags = (
        (Flag("mark-off-line", "a reference mark lies 0.6 mm off the fitted line"),) if name == "R3" else ()
    )
    return LineResult(
        line,
        Combined(q, (use,), math.nan, 0, math.nan, math.nan),
        marked,
        design,
        TOLERANCE,
        off,
        _decide(off),
        flags,
    )


def _split(spar: LineResult, built: LineResult) -> RibOrJig:
    if spar.deviation is None or built.deviation is None:
        return RibOrJig("untold", None, None, None, None, "Not measured.", "", "")
    jig, rib = _decide(spar.deviation), _decide(built.deviation)
    cause = {(True, True): "both", (True, False): "jig", (False, True): "rib", (False, False): "neither"}[
        (jig.outcome == "nonconforming", rib.outcome == "nonconforming")
    ]
    words = {
        "jig": "The jig leans, the rib is right in itself.",
        "rib": "The rib is off its line; the jig is right.",
        "both": "Jig and rib are both off.",
        "neither": "Neither jig nor rib is off.",
    }[cause]
    return RibOrJig(
        cause,
        spar.deviation,
        built.deviation,
        jig,
        rib,
        words,
        "Turn the jig: chord and spar line come right together." if cause == "jig" else words,
        "Only regluing cures it." if cause == "rib" else words,
    )


def _pairs(results: dict[str, tuple[LineResult, LineResult]], rng: np.random.Generator) -> tuple[Pair, ...]:
    pairs = []
    for name, lines in results.items():
        for line in lines:
            if line.quantity is None:
                continue
            wrong = 1.0 if (name, line.line) == ("R4", "chord") else 0.0
            shown = round((line.quantity.value + 0.3 + wrong + float(rng.normal(0, 0.05))) * 10) / 10
            gauge = Quantity(
                shown,
                (
                    Component("inclinometer", f"gauge:{name}{line.line}", 0.1),
                    Component("inclinometer resolution", f"gauge:{name}{line.line} r", 0.029),
                ),
            )
            off = line.combined.quantity - gauge
            side = "left" if name.startswith("L") else "right"
            pairs.append(
                Pair(
                    name,
                    side,
                    line.line,
                    line.combined.quantity,
                    gauge,
                    shown,
                    off,
                    off.value / off.U,
                    len(pairs),
                )
            )
    return tuple(pairs)


def _agreement(pairs: tuple[Pair, ...]) -> Agreement:
    d = np.array([p.difference.value for p in pairs])
    bias, sd, n = float(d.mean()), float(d.std(ddof=1)), len(d)
    half = 2.07 * sd / math.sqrt(n)

    def around(v: float, h: float) -> Interval:
        return Interval(v, v - h, v + h)

    return Agreement(
        n, around(bias, half), sd, around(bias - 1.96 * sd, 1.7 * half), around(bias + 1.96 * sd, 1.7 * half)
    )


def _crosscheck(results: dict[str, tuple[LineResult, LineResult]], rng: np.random.Generator) -> CrossCheck:
    pairs = _pairs(results, rng)
    zero = Fault("offset", size=Quantity(0.3, (Component("fit", "fit", 0.02),)))
    best = Hypothesis(
        (zero, Fault("station", ("R4",), "chord")),
        0.97,
        -12.0,
        1.4,
        "The inclinometer reads 0.30° high throughout, and the chord of R4 was misread by 1.0°.",
    )
    other = Hypothesis((zero,), 0.02, -16.0, 9.8, "The inclinometer reads 0.35° high throughout.")
    return CrossCheck(
        pairs,
        _agreement(pairs),
        (),
        Diagnosis(
            best,
            other,
            (best, other),
            None,
            ("22 of 22 differences have one sign",),
            ("zero the inclinometer and read R4 again",),
        ),
        gauge_only=((REFUSED, "chord"), (REFUSED, "spar")),
    )


def _job() -> Job:
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
        Wing("Two-seat trainer <demo & test>", "R1", dihedral_deg=0.0),
        stations,
        jigs=(Jig("screw", "M6", 300.0, panel="outer right"),),
        glue=Glue(40, 60),
        marking_u_deg=0.03,
    )


def _correction(results: dict[str, tuple[LineResult, LineResult]], job: Job) -> Correction:
    names = ("R5", "R6")
    mean = Quantity(0.8, (Component("all", "fit", 0.03),))
    moved = tuple(
        Moved(n, results[n][0].deviation, results[n][0].deviation.shifted(0.8), TOLERANCE) for n in names
    )
    turns = math.tan(math.radians(0.8)) * 300 / 1.0
    return Correction(
        job.jigs[0],
        names,
        mean,
        turns,
        4.25,
        0.16,
        True,
        "Turn the M6 screw of the outer right panel 4 1/4 turns clockwise (nose-up).",
        moved,
    )


@cache
def example_survey() -> Survey:
    """The same survey at every call (seed 7)."""
    rng = np.random.default_rng(7)
    job = _job()
    results: dict[str, tuple[LineResult, LineResult]] = {}
    for name, *_, design, chord, spar in ROWS:
        q, s = (
            (None, None)
            if name == REFUSED
            else (_read(name, "chord", chord, rng), _read(name, "spar", spar, rng))
        )
        results[name] = (_line(name, "chord", q, design), _line(name, "spar", s, 90.0))
    check = _crosscheck(results, rng)
    stations = tuple(_station(job, s, results, check) for s in job.stations)
    symmetry = tuple(p for r in stations if (p := r.symmetry) is not None and r.station.side == "left")
    out = [s.station.name for s in stations if s.state == "nonconforming"]
    verdict = (
        f"Not right yet: {', '.join(out)} are outside tolerance, {REFUSED} is not measured, the rest conform."
    )
    return Survey(
        job,
        "kept",
        "before glue",
        verdict,
        (
            "R5 and R6: the jig of the outer right bay leans by 0.8°; turn it, do not touch the ribs.",
            "L3: the rib itself is 0.68° nose-up, its spar line is right.",
        ),
        stations,
        symmetry,
        (Twist("right wing", ("R1", "R6"), Quantity(-0.94, (Component("fit", "t", 0.01),)), -0.714),),
        (
            Unfair(
                "left",
                "station",
                ("L3",),
                None,
                Quantity(0.66, (Component("fit", "t", 0.03),)),
                "L3 stands 0.66° above the line through L2 and L4.",
            ),
        ),
        (_correction(results, job),),
        (ToCheck("L5", "not measured"), ToCheck("L3", "outside tolerance")),
        BondingWindow(12.0, 28.0, 48.0, "28 minutes of working time left."),
        check,
        (
            Refusal("L5.jpg", REFUSED, results[REFUSED][0].reason or ""),
            Refusal("holiday.jpg", None, "no station card in the photo"),
        ),
        (Flag("lens-age", "the lens profile is 400 days old"),),
        Provenance(
            "0.1.0",
            "2024-05-14T18:30:00",
            tuple((f"{n}.jpg", (n.lower().encode().hex() * 32)[:64]) for n in results),
            ("fieldcam-f1-4000x3000, 14 photos, 0.21 px, 2023-04-10",),
            ("plumb line, u 0.01°",),
            (("root", "kept"), ("benign flags", "none")),
            "ab" * 32,
            "cd" * 32,
        ),
    )


def _station(
    job: Job, station: Station, results: dict[str, tuple[LineResult, LineResult]], check: CrossCheck
) -> StationResult:
    chord, spar = results[station.name]
    built = _built_in(station, chord, spar)
    state = chord.decision.outcome if chord.decision else "not measured"
    return StationResult(
        station,
        state,
        f"{station.name} is {state}.",
        chord,
        spar,
        built,
        _washout(job, station, results),
        _symmetry(station, results),
        _fairness(station, results),
        _split(spar, built),
        tuple(p for p in check.pairs if p.station == station.name),
        chord.flags,
    )


def _built_in(station: Station, chord: LineResult, spar: LineResult) -> LineResult:
    if chord.quantity is None or spar.quantity is None:
        return LineResult(
            "built-in", chord.combined, None, station.chord_deg, TOLERANCE, None, None, reason=chord.reason
        )
    q = (chord.quantity - spar.quantity).shifted(90.0)
    off = q.shifted(-station.chord_deg)
    return LineResult(
        "built-in",
        Combined(q, (), math.nan, 0, math.nan, math.nan),
        q,
        station.chord_deg,
        TOLERANCE,
        off,
        _decide(off),
    )


def _washout(job: Job, station: Station, results: dict[str, tuple[LineResult, LineResult]]) -> Washout | None:
    root, own = results[job.wing.root][0].quantity, results[station.name][0].quantity
    if root is None or own is None or station.name == job.wing.root:
        return None
    q = root - own
    design = job.station(job.wing.root).chord_deg - station.chord_deg
    return Washout(station.name, q, design, q.shifted(-design), _decide(q.shifted(-design)))


def _symmetry(station: Station, results: dict[str, tuple[LineResult, LineResult]]) -> Symmetry | None:
    left, right = f"L{station.name[1:]}", f"R{station.name[1:]}"
    a, b = results[left][0].quantity, results[right][0].quantity
    return (
        None if a is None or b is None else Symmetry(left, right, station.span_mm, a - b, _decide(a - b, 0.2))
    )


def _fairness(station: Station, results: dict[str, tuple[LineResult, LineResult]]) -> Fairness | None:
    number = int(station.name[1:])
    names = [f"{station.name[0]}{n}" for n in (number - 1, number + 1)]
    near = [results[n][0].deviation if n in results else None for n in names]
    own = results[station.name][0].deviation
    if own is None or near[0] is None or near[1] is None:
        return None
    return Fairness(station.name, (names[0], names[1]), own - (near[0] + near[1]).scaled(0.5), False)
