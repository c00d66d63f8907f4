"""How often the cross-check names the right fault: simulated wings, a confusion table.

    python -m benchmarks.diagnosis [--wings 2000] [--seed 1]

Wings of 8 to 14 ribs with and without spar lines, cameras with u 0.03 to 0.10 deg (a level reference shared
by all, part of it), gauges with u 0.05 to 0.15 deg shown to 0.1. A fault's size is drawn so that what it does
to the readings exceeds 4 to 12 combined standard uncertainties of one pair (a swap, a turned sign, mixed
sides, a stuck display: at the pairs it moves most, two at least; rounding: half the step).
"""

from __future__ import annotations

import argparse
import math
import platform
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from rigging.crosscheck.check import crosscheck
from shared.gauge.readings import GaugeReading, GaugeReadings, Line
from shared.job.model import Gauge, Side, Station
from shared.quantity import Component, Quantity

FAULTS = (
    "none",
    "offset",
    "opposed",
    "sign",
    "complement",
    "swap",
    "station",
    "drift",
    "sticking",
    "rounding",
    "sides",
    "offset+station",
    "offset+swap",
    "sign+station",
    "offset+drift",
)
Key = tuple[str, Line]


@dataclass(frozen=True)
class Wing:
    """A simulated wing: what the camera saw, what the gauge should show (unrounded), the pair's u."""

    stations: tuple[Station, ...]
    camera: dict[Key, Quantity]
    true: dict[Key, float]
    gauge: Gauge
    u: float


def draw_wing(rng: np.random.Generator) -> Wing:
    """A wing with washout, unlike enough left and right, and its two witnesses' noise."""
    ribs = int(rng.integers(4, 8))
    spars = bool(rng.random() < 0.5)
    root, washout = rng.uniform(0.5, 3.0), rng.uniform(1.5, 4.5)
    u_line, u_level = rng.uniform(0.02, 0.08), rng.uniform(0.01, 0.04)
    gauge = Gauge(readings="g", u_deg=float(rng.uniform(0.05, 0.15)))
    stations, true, camera = [], {}, {}
    level = rng.normal(0, u_level)
    zero = rng.normal(0, gauge.u_deg / 2)
    sides: tuple[Side, Side] = ("right", "left")
    for side in sides:
        for i in range(ribs):
            name = f"{side[0].upper()}{i + 1}"
            span = 400.0 + 700 * i
            stations.append(Station(name, side, span, 1000.0, (), 0.0, 0.25))
            angle = root - washout * i / (ribs - 1) + rng.normal(0, 0.35)
            for line, value in (("chord", angle), ("spar", 90 + rng.normal(0, 0.3))):
                if line == "spar" and not spars:
                    continue
                key: Key = (name, line)  # type: ignore[assignment]
                true[key] = value + zero + rng.normal(0, gauge.u_deg * math.sqrt(0.75))
                camera[key] = Quantity(
                    value + level + rng.normal(0, u_line),
                    (Component("line", f"{name} {line}", u_line), Component("level", "level", u_level)),
                )
    u = math.sqrt(u_line**2 + u_level**2 + gauge.u_deg**2 + 0.01 / 12)
    return Wing(tuple(stations), camera, true, gauge, u)


def put_in(fault: str, wing: Wing, rng: np.random.Generator) -> tuple[dict[Key, float], tuple[str, ...]] | None:
    """Readings (unrounded) with the fault, and the stations it concerns; None if it would be too small."""
    read = dict(wing.true)
    keys = list(read)
    size = float(rng.uniform(4, 12) * wing.u * rng.choice([-1, 1]))
    limit = 4 * wing.u
    chords = [k for k in keys if k[1] == "chord"]
    who: tuple[str, ...] = ()
    before = dict(read)
    match fault:
        case "none":
            return read, ()
        case "offset":
            return {k: v + size for k, v in read.items()}, ()
        case "opposed":
            return {k: v + (size if k[0][0] == "R" else -size) for k, v in read.items()}, ()
        case "station":
            k = keys[int(rng.integers(len(keys)))]
            return {**read, k: read[k] + size}, (k[0],)
        case "drift":
            return {k: v + size * i / (len(keys) - 1) for i, (k, v) in enumerate(read.items())}, ()
        case "rounding":
            step = float(rng.choice([0.5, 1.0, 2.0]))
            if step / 2 < limit:
                return None
            return {k: step * round(v / step) for k, v in read.items()}, ()
        case "sign":
            read = {k: (180 - v if k[1] == "spar" else -v) for k, v in read.items()}
        case "complement":
            read = {k: 90 - v for k, v in read.items()}
        case "swap":
            a, b = rng.choice(len(chords), 2, replace=False)
            who = (chords[a][0], chords[b][0])
            for line in ("chord", "spar"):
                x, y = (who[0], line), (who[1], line)
                if x in read:
                    read[x], read[y] = read[y], read[x]  # type: ignore[index]
        case "sides":
            other = {"R": "L", "L": "R"}
            read = {k: read[(other[k[0][0]] + k[0][1:], k[1])] for k in keys}
        case "sticking":
            length = int(rng.integers(3, 5))
            start = int(rng.integers(0, len(chords) - length))
            run = chords[start : start + length]
            who = tuple(k[0] for k in run)
            for k in run[1:]:
                read[k] = read[run[0]]
            if sum(abs(read[k] - before[k]) > limit for k in run) < 2:
                return None
            return read, who
    moved = sum(abs(read[k] - before[k]) > limit for k in keys)
    return (read, who) if moved >= 2 else None


def simulate(fault: str, rng: np.random.Generator) -> tuple[Wing, GaugeReadings, tuple[str, ...]]:
    """A wing, its readings with the fault or the two faults in them, and the stations concerned."""
    while True:
        wing = draw_wing(rng)
        who: tuple[str, ...] = ()
        faulty = wing
        for part in sorted(fault.split("+"), key=lambda p: p in ("offset", "drift")):
            put = put_in(part, faulty, rng)
            if put is None:
                break
            faulty, who = replace(faulty, true=put[0]), who + put[1]
        else:
            step = wing.gauge.resolution_deg
            readings = tuple(GaugeReading(k[0], k[1], round(step * round(v / step), 6)) for k, v in faulty.true.items())
            return wing, GaugeReadings(readings), who


def named(fault: str, rng: np.random.Generator) -> tuple[str, bool]:
    """What the diagnosis says of one simulated wing, and whether it is right in kind and stations."""
    wing, readings, who = simulate(fault, rng)
    d = crosscheck(wing.camera, readings, wing.gauge, wing.stations).diagnosis
    if d.verdict is None:
        return "silent", False
    kinds = [("opposed" if f.variant == "opposed" else f.kind) for f in d.verdict.faults] or ["none"]
    order = {name: i for i, name in enumerate(("offset", "opposed", "sign", "complement"))}
    said = "+".join(sorted(kinds, key=lambda k: (order.get(k, 9), k)))
    stations = {s for f in d.verdict.faults for s in f.stations}
    wanted = "+".join(sorted(fault.split("+"), key=lambda k: (order.get(k, 9), k)))
    return said, said == wanted and stations == set(who)


def confusion(faults: Sequence[str], wings: int, seed: int) -> dict[str, tuple[Counter[str], int]]:
    """For each fault: how often each diagnosis was given, and how often it was right in full."""
    table = {}
    for i, fault in enumerate(faults):
        rng = np.random.default_rng([seed, i])
        said: Counter[str] = Counter()
        right = 0
        for _ in range(wings):
            what, good = named(fault, rng)
            said[what] += 1
            right += good
        table[fault] = (said, right)
    return table


def main() -> None:
    """Print the confusion table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--wings", type=int, default=2000, help="wings for each fault")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--faults", nargs="*", default=list(FAULTS))
    args = parser.parse_args()
    start = time.perf_counter()
    versions = f"Python {platform.python_version()}, NumPy {np.__version__}"
    print(f"{args.wings} wings each, seed {args.seed}; {versions}")
    print("right: kind and stations; silent: no explanation singled out\n")
    for fault, (said, right) in confusion(args.faults, args.wings, args.seed).items():
        wrong = args.wings - right - said["silent"]
        others = ", ".join(f"{k} {v}" for k, v in said.most_common(6))
        print(
            f"{fault:15s} right {right / args.wings:6.1%}  silent {said['silent'] / args.wings:6.1%}  "
            f"wrong {wrong / args.wings:6.1%}   said: {others}",
            flush=True,
        )
    print(f"\n{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
