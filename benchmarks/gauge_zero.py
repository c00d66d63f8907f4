"""How often 2u of an inclinometer's zero covers the truth: reversal pairs on one spot, at several noises.

    python -m benchmarks.gauge_zero [--draws 1000] [--seed 1]

A display of 0.1 deg; one spot, anywhere within 3 deg; the gauge's noise from a fifth of a step to two steps.
"""

from __future__ import annotations

import argparse

import numpy as np

from calibration.gauge.fit import fit_gauge
from calibration.gauge.log import parse_log

STEP = 0.1
PAIRS = (3, 5, 10)
NOISES = (0.02, 0.05, 0.08, 0.12, 0.20)


def covered(pairs: int, noise: float, draws: int, seed: int) -> float:
    """Share of draws in which the zero lies within 2u."""
    rng = np.random.default_rng([seed, pairs, round(1000 * noise)])
    inside = 0
    for _ in range(draws):
        spot, zero = rng.uniform(-3, 3), rng.uniform(-0.5, 0.5)
        shown = np.round((np.array([spot, -spot]) + zero + rng.normal(0, noise, (pairs, 2))) / STEP) * STEP
        rows = "\n".join(f"a,{x:.1f},{y:.1f}" for x, y in shown)
        profile = fit_gauge(parse_log(f"spot,reading,turned\n{rows}\n"), STEP, "g", "2026-05-16T10:00:00").profile
        inside += abs(profile.zero_deg - zero) < 2 * profile.u_zero_deg
    return inside / draws


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--draws", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    print("pairs  " + "  ".join(f"noise {n:.2f}" for n in NOISES))
    for pairs in PAIRS:
        print(
            f"{pairs:5d}  " + "  ".join(f"{covered(pairs, n, args.draws, args.seed):10.1%}" for n in NOISES), flush=True
        )


if __name__ == "__main__":
    main()
