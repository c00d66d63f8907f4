"""How often the cross-check names the right fault: simulated wings, a confusion table.

    python -m benchmarks.diagnosis [--wings 2000] [--clean 10000] [--few] [--seed 1] [--workers 2]

Wings of 8 to 14 ribs (--few: of 5 or 6) with and without spar lines, cameras with u 0.03 to 0.10 deg (a level reference shared
by all, part of it), gauges with u 0.05 to 0.15 deg shown to 0.1. A fault's size is drawn so that what it does
to the readings exceeds 4 to 12 combined standard uncertainties of one pair (a swap, a turned sign, mixed
sides, a stuck display, slipped rows: at the pairs it moves most, two at least; rounding: half the step; figures
exchanged and a shifted point: the reading so written). Right is a diagnosis of the kinds put in, at their stations;
"open" one that singles out none and lists what it may be; of a scale error and spar lines off by one amount, which
look alike, either name is right.
"""

from __future__ import annotations

import argparse
import math
import platform
import time
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import nullcontext
from dataclasses import dataclass, replace

import numpy as np

from rigging.crosscheck.check import crosscheck
from rigging.crosscheck.types import Fault
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
    "digits",
    "point",
    "drift",
    "step",
    "chip",
    "spar lines",
    "scale",
    "lines",
    "slip",
    "sticking",
    "rounding",
    "sides",
    "offset+station",
    "offset+swap",
    "sign+station",
    "offset+drift",
    "offset+side sign",
    "offset+point",
)
ALIKE = {"scale": "spar lines", "chip": "step", "digits": "station", "point": "station", "side sign": "sign"}
"""Faults put in -> what the diagnosis calls them."""
Key = tuple[str, Line]


@dataclass(frozen=True)
class Wing:
    """A simulated wing: what the camera saw, what the gauge should show (unrounded), the pair's u."""

    stations: tuple[Station, ...]
    camera: dict[Key, Quantity]
    true: dict[Key, float]
    gauge: Gauge
    u: float


def draw_wing(rng: np.random.Generator, few: bool = False, spars: bool | None = None) -> Wing:
    """A wing with washout, unlike enough left and right, and its two witnesses' noise. few : of 5 or 6 ribs."""
    ribs = 3 if few else int(rng.integers(4, 8))
    short = few and bool(rng.random() < 0.5)
    spars = bool(rng.random() < 0.5) if spars is None else spars
    root, washout = rng.uniform(0.5, 3.0), rng.uniform(1.5, 4.5)
    u_line, u_level = rng.uniform(0.02, 0.08), rng.uniform(0.01, 0.04)
    gauge = Gauge(readings="g", u_deg=float(rng.uniform(0.05, 0.15)))
    stations, true, camera = [], {}, {}
    level = rng.normal(0, u_level)
    zero = rng.normal(0, gauge.u_deg / 2)
    sides: tuple[Side, Side] = ("right", "left")
    for side in sides:
        for i in range(ribs - (short and side == "left")):
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
        case "step" | "chip":
            first = int(rng.integers(2, len(keys) - 2))
            last = len(keys) if fault == "step" else min(first + int(rng.integers(2, 5)), len(keys) - 1)
            return {k: v + size * (first <= i < last) for i, (k, v) in enumerate(read.items())}, ()
        case "spar lines":
            return {k: v + size * (k[1] == "spar") for k, v in read.items()}, ()
        case "scale":
            return {k: v * (1 + size / 90) for k, v in read.items()}, ()
        case "digits" | "point":
            k = keys[int(rng.integers(len(keys)))]
            v = round(read[k], 1)
            wrong = (
                v * 10 if fault == "point" else math.copysign(float(f"{abs(v):04.1f}"[::-1].replace(".", "")) / 10, v)
            )
            if k[1] == "spar" or abs(wrong - read[k]) < limit or abs(wrong) > 180:
                return None
            return {**read, k: wrong}, (k[0],)
        case "lines":
            name = next((s for s, line in reversed(keys) if line == "spar"), "")
            read[name, "chord"], read[name, "spar"] = read[name, "spar"], read[name, "chord"]
            return read, (name,)
        case "slip":
            first = int(rng.integers(0, len(chords) - 3))
            run = chords[first:]
            who = tuple(k[0] for k in run)
            for k, old in zip(run, run[1:] + run[:1], strict=True):
                read[k] = before[old]
        case "side sign":
            read = {k: (v if k[0][0] == "R" else 180 - v if k[1] == "spar" else -v) for k, v in read.items()}
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
            start = int(rng.integers(0, max(len(chords) - length, 1)))
            run = chords[start : start + length]
            who = tuple(k[0] for k in run)
            for k in run[1:]:
                read[k] = read[run[0]]
            if sum(abs(read[k] - before[k]) > limit for k in run) < 2:
                return None
            return read, who
    moved = sum(abs(read[k] - before[k]) > limit for k in keys)
    return (read, who) if moved >= 2 else None


def simulate(fault: str, rng: np.random.Generator, few: bool = False) -> tuple[Wing, GaugeReadings, tuple[str, ...]]:
    """A wing, its readings with the fault or the two faults in them, and the stations concerned."""
    spars = True if {"spar lines", "scale", "lines"} & set(fault.split("+")) else None
    while True:
        wing = draw_wing(rng, few, spars)
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


def label(fault: Fault) -> str:
    """A fault of a diagnosis as this table calls it."""
    if fault.variant == "opposed":
        return "opposed"
    if fault.kind == "scale" or (fault.kind == "offset" and fault.line == "spar" and fault.side is None):
        return "spar lines"
    if fault.kind == "offset" and (fault.line or fault.side):
        return " ".join(w for w in (fault.side, fault.line, "offset") if w)
    return fault.kind


def named(fault: str, rng: np.random.Generator, few: bool = False) -> tuple[str, bool]:
    """What the diagnosis says of one simulated wing, and whether it is right in kind and stations."""
    wing, readings, who = simulate(fault, rng, few)
    d = crosscheck(wing.camera, readings, wing.gauge, wing.stations).diagnosis
    if d.verdict is None:
        return "open", False
    said = "+".join(sorted(map(label, d.verdict.faults))) or "none"
    wanted = "+".join(sorted(ALIKE.get(p, p) for p in fault.split("+")))
    stations = {s for f in d.verdict.faults for s in f.stations}
    return said, said == wanted and stations == set(who)


def _share(fault: str, few: bool, seeds: tuple[int, ...], wings: int) -> tuple[Counter[str], int]:
    rng = np.random.default_rng(seeds)
    told = [named(fault, rng, few) for _ in range(wings)]
    return Counter(what for what, _ in told), sum(right for _, right in told)


def confusion(
    faults: Sequence[str], wings: int, seed: int, few: bool = False, workers: int = 0
) -> dict[str, tuple[Counter[str], int]]:
    """For each fault: how often each diagnosis was given, and how often it was right in full."""
    table = {}
    size = 250
    with ProcessPoolExecutor(workers) if workers else nullcontext() as pool:
        spread = pool.map if pool is not None else map
        for fault in faults:
            number = FAULTS.index(fault)
            parts = [min(size, wings - k) for k in range(0, wings, size)]
            seeds = [(seed, number, k) for k in range(len(parts))]
            found = list(spread(_share, [fault] * len(parts), [few] * len(parts), seeds, parts))
            table[fault] = (sum((c for c, _ in found), Counter()), sum(right for _, right in found))
    return table


def main() -> None:
    """Print the confusion table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--wings", type=int, default=2000, help="wings for each fault")
    parser.add_argument("--clean", type=int, default=10000, help="wings without a fault")
    parser.add_argument("--few", action="store_true", help="5 or 6 ribs")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--faults", nargs="*", default=list(FAULTS))
    args = parser.parse_args()
    start = time.perf_counter()
    ribs = "5 or 6" if args.few else "8 to 14"
    print(f"{ribs} ribs, seed {args.seed}; Python {platform.python_version()}, NumPy {np.__version__}")
    print("right: kind and stations; open: no explanation singled out\n")
    for fault in args.faults:
        wings = args.clean if fault == "none" else args.wings
        said, right = confusion([fault], wings, args.seed, args.few, args.workers)[fault]
        wrong = wings - right - said["open"]
        others = ", ".join(f"{k} {v}" for k, v in said.most_common(6))
        print(
            f"{fault:16s} {wings:5d} right {right / wings:6.1%}  open {said['open'] / wings:6.1%}  "
            f"wrong {wrong / wings:6.2%}   said: {others}",
            flush=True,
        )
    print(f"\n{time.perf_counter() - start:.0f} s")


if __name__ == "__main__":
    main()
