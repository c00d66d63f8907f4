"""Whether the gauge calibration's U = 2u covers the truth 95 % of the time.

python -m benchmarks.gauge_fit [--draws 1000]
"""

from __future__ import annotations

import argparse
import math
import platform

import numpy as np

from calibration.gauge.fit import fit_gauge
from calibration.gauge.log import Log, Observation, Spot

KNOWN = (0, 10, 30, 60, 90)
CASES: tuple[tuple[int, tuple[int, ...], float, float, float, int], ...] = (
    (1, (), 0.05, 0.1, 0.0, 1),
    (3, (), 0.05, 0.1, 0.0, 1),
    (10, (), 0.03, 0.1, 0.0, 1),
    (10, (), 0.10, 0.1, 0.0, 1),
    (3, (), 0.05, 0.1, 0.0, 5),
    (5, (), 0.02, 0.05, 0.0, 1),
    (0, KNOWN, 0.05, 0.1, 0.0, 1),
    (3, KNOWN, 0.05, 0.1, 0.12, 1),
)


def draw(rng: np.random.Generator, pairs: int, known: tuple[int, ...], scatter: float, step: float,
         hysteresis: float, repeats: int, zero: float = 0.27, scale: float = 0.004) -> Log:  # fmt: skip
    """The log of a simulated gauge: reversal pairs on unknown spots, known angles with u 0.01 deg."""
    spots: list[Spot] = []
    seen: list[Observation] = []

    def shown(true: float) -> float:
        return round(step * round((zero + true + rng.normal(0, scatter)) / step), 6)

    for i in range(pairs):
        angle = rng.normal(0, 1)
        spots.append(Spot(f"p{i}", None, math.nan))
        for _ in range(repeats):
            seen.append(Observation(i, 1, 0, shown((1 + scale) * angle), 1))
            seen.append(Observation(i, -1, 0, shown(-(1 + scale) * angle), 1))
    for k in known:
        spots.append(Spot(f"k{k}", float(k), 0.01))
        true = (1 + scale) * (k + rng.normal(0, 0.01))
        for side in (1, -1) if hysteresis else (0,):
            seen.append(Observation(len(spots) - 1, 1, side, shown(true + side * hysteresis / 2), 1))
    return Log(tuple(spots), tuple(seen), (), None)


def main() -> None:
    """Print the coverage in each setting."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--draws", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    print(f"{args.draws} draws, seed {args.seed}; Python {platform.python_version()}, NumPy {np.__version__}")
    print("pairs  known  scatter  step  hysteresis  repeats   covered by 2u: zero  scale  hysteresis")
    for number, case in enumerate(CASES):
        rng = np.random.default_rng([args.seed, number])
        inside = np.zeros(3)
        for _ in range(args.draws):
            p = fit_gauge(draw(rng, *case), case[3], "g", "2025-04-03T10:00:00").profile
            off = (p.zero_deg - 0.27, p.scale - 0.004, p.hysteresis_deg - case[4])
            inside += [abs(e) <= 2 * math.sqrt(p.covariance[i][i]) for i, e in enumerate(off)]
        told = ("zero", "scale", "hysteresis")
        shares = [f"{s / args.draws:.1%}" if t in p.measured else "-" for s, t in zip(inside, told, strict=True)]
        print(f"{case[0]:5d}  {len(case[1]):5d}  {case[2]:7.2f}  {case[3]:4.2f}  {case[4]:10.2f}  {case[5]:7d}"
              f"{shares[0]:>24s}{shares[1]:>7s}{shares[2]:>12s}", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
