"""How true the witness's probabilities are: python -m training.reliability FIT/judged-level-0.npz [...] --kind chord

Files as `training.fit` leaves them, of strips whose phones were not trained on, all of one family and the same strips; their
networks are asked together, as in the reader. Prints, by bins of the probability of a kind, how many strips are of it.
"""

from __future__ import annotations

import argparse
import itertools
from pathlib import Path

import numpy as np

from shared.numerics.arrays import F64
from vision.evidence.kinds import KINDS
from vision.evidence.witness import cautious

BINS = (0.0, 0.001, 0.01, 0.05, 0.2, 0.5, 0.8, 0.95, 0.99, 0.999, 1.0)


def shares(paths: list[Path]) -> tuple[F64, np.ndarray]:
    """Probabilities (n, kinds) of the networks together, and the true kinds (n,)."""
    parts, truths = [], []
    for path in paths:
        with np.load(path) as z:
            parts.append(z["z"].astype(np.float64))
            truths.append(z["truth"])
    if any((t != truths[0]).any() for t in truths[1:]):
        raise SystemExit("the files do not hold the same strips: fit them on the same data")
    logits = cautious(np.concatenate(parts))
    e = np.exp(logits - logits.max(1, keepdims=True))
    return np.asarray(e / e.sum(1, keepdims=True)), truths[0]


def table(p: F64, true: np.ndarray) -> str:
    """A Markdown table. p : (n,) probability of a kind. true : (n,) bool, whether a strip is of it."""
    lines = ["| probability | strips | mean probability | of the kind |", "|---|--:|--:|--:|"]
    for low, high in itertools.pairwise(BINS):
        inside = (p >= low) & ((p < high) if high < 1 else (p <= high))
        if inside.any():
            share = f"{100 * p[inside].mean():.2f} % | {100 * true[inside].mean():.2f} % ({int(true[inside].sum())})"
            lines.append(f"| {low:g} to {high:g} | {int(inside.sum())} | {share} |")
    return "\n".join(lines)


def main() -> None:
    """Command line."""
    p = argparse.ArgumentParser(description=__doc__)
    p.add_argument("judged", type=Path, nargs="+")
    p.add_argument("--kind", choices=KINDS, action="append", required=True)
    a = p.parse_args()
    probability, truth = shares(a.judged)
    for kind in a.kind:
        k = KINDS.index(kind)
        print(f"{kind}: {len(truth)} strips\n\n{table(probability[:, k], truth == k)}\n")


if __name__ == "__main__":
    main()
