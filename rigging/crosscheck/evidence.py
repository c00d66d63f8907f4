"""How well an explanation fits: the marginal likelihood of all differences, unknown sizes integrated out.

Differences are Gaussian with the covariance of camera and gauge together, shared components and all; a
pattern of unknown size adds one rank to it. Rank updates keep thousands of explanations cheap
(matrix determinant lemma and Woodbury's identity; any textbook of linear algebra).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rigging.crosscheck.layout import Candidate, Layout
from shared.numerics.arrays import F64, I64, Bools


@dataclass(frozen=True)
class Noise:
    """Covariance of the differences (n, n) without the gauge's shared part; that part's loadings (n, b)."""

    own: F64
    shared: F64


@dataclass(frozen=True)
class Stack:
    """H explanations as arrays: order, sign, shift (H, n); patterns (H, n, k); log prior and bonus (H,)."""

    order: I64
    sign: F64
    shift: F64
    patterns: F64
    prior: F64


def stack(first: Sequence[Candidate]) -> Stack:
    """Single candidates as arrays."""
    return Stack(
        np.array([c.order for c in first]),
        np.array([c.sign for c in first]),
        np.array([c.shift for c in first]),
        np.array([_placed(c) for c in first])[:, :, None],
        np.array([np.log(c.prior) + c.bonus for c in first]),
    )


def _placed(c: Candidate) -> F64:
    """A candidate's own pattern at the pairs where its readings belong."""
    return c.sign * c.pattern[c.order] if c.of_gauge else c.pattern


@dataclass(frozen=True)
class Catalogue:
    """All N candidates as arrays: order, sign, shift, raw pattern (N, n); of_gauge and log prior with bonus (N,)."""

    order: I64
    sign: F64
    shift: F64
    raw: F64
    of_gauge: Bools
    prior: F64

    @classmethod
    def of(cls, every: Sequence[Candidate]) -> Catalogue:
        """Gather candidates once; pairs of them are then cheap."""
        return cls(
            np.array([c.order for c in every]),
            np.array([c.sign for c in every]),
            np.array([c.shift for c in every]),
            np.array([c.pattern for c in every]),
            np.array([c.of_gauge for c in every]),
            np.array([np.log(c.prior) + c.bonus for c in every]),
        )


def pair_up(known: Catalogue, at: int, others: I64, price: float) -> Stack:
    """Candidate `at` together with each of the others, arrays as in `Stack`; `price` is added to the log prior.

    The readings are first put right by the other, then by `at`: right = sa * (so * g[oo] + co)[oa] + ca.
    """
    mine_order, mine_sign = known.order[at], known.sign[at]
    order = known.order[others][:, mine_order]
    sign = mine_sign * known.sign[others][:, mine_order]
    shift = mine_sign * known.shift[others][:, mine_order] + known.shift[at]
    raw = known.raw[others]
    moved = sign * np.take_along_axis(raw, order, axis=1)
    theirs = np.where(known.of_gauge[others][:, None], moved, raw)
    own = known.raw[at]
    mine = sign * own[order] if known.of_gauge[at] else np.broadcast_to(own, sign.shape)
    prior = known.prior[others] + known.prior[at] + price
    return Stack(order, sign, shift, np.stack([mine, theirs], axis=2), prior)


def corrected(layout: Layout, s: Stack) -> F64:
    """(H, n) readings put right by each explanation; a signless gauge takes the camera's sign."""
    right = s.sign * layout.gauge[s.order] + s.shift
    if layout.signless:
        foot = np.array([90.0 if line == "spar" else 0.0 for line in layout.lines])
        right = foot + np.abs(right - foot) * np.where(layout.camera >= foot, 1.0, -1.0)
    return np.asarray(right, dtype=np.float64)


def log_evidence(layout: Layout, noise: Noise, s: Stack) -> F64:
    """(H,) log marginal likelihood of the differences under each explanation (without 2 pi)."""
    d = layout.camera - corrected(layout, s)
    shared = s.sign[:, :, None] * noise.shared[s.order]
    u = np.concatenate([shared, s.patterns], axis=2)
    factor = np.linalg.cholesky(noise.own)
    inverse = np.linalg.inv(factor)
    white = d @ inverse.T
    loads = np.matmul(inverse, u)
    inner = np.matmul(loads.transpose(0, 2, 1), loads) + np.eye(u.shape[2])
    along = np.matmul(loads.transpose(0, 2, 1), white[:, :, None])
    taken = np.matmul(along.transpose(0, 2, 1), np.linalg.solve(inner, along))[:, 0, 0]
    _, logdet = np.linalg.slogdet(inner)
    fixed = float(np.log(np.diag(factor)).sum())
    return np.asarray(-0.5 * ((white**2).sum(axis=1) - taken) - 0.5 * logdet - fixed)


def with_noise(noise: Noise, c: Candidate) -> Noise:
    """The noise as the candidate has it."""
    own = noise.own * c.stretch**2
    if c.widen is not None:
        own = own + np.diag(c.widen)
    return Noise(own, noise.shared)
