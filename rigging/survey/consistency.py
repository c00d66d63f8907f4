"""Whether repeats agree, by how much their u must grow when they do not, and which of them stand off."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from rigging.survey.least_squares import chi_square, covariance_matrix
from shared.quantity import Component, Quantity, combine

SIGNIFICANCE = 0.01
"""Photos that agree less well than this chance allows contradict each other: one sound station in a hundred is then
doubted without need. Short of it the Birge ratio widens U, and nothing is said."""


def consistency(quantities: Sequence[Quantity]) -> tuple[float, int, float]:
    """Chi-square, degrees of freedom, and the chance of one as large (NaN, 0, NaN below two)."""
    dof = len(quantities) - 1
    if dof < 1:
        return math.nan, 0, math.nan
    from scipy.special import chdtrc

    value = chi_square(np.array([q.value for q in quantities]), covariance_matrix(quantities))
    return value, dof, float(chdtrc(dof, value))


def inflated(
    mean: Quantity, quantities: Sequence[Quantity], birge: float, what: str, hashes: Sequence[str]
) -> Quantity:
    """The mean with a component that brings the part of u that photos can differ in to `birge` times itself.

    What all photos share alike cannot make them disagree and is left as it is.
    """
    loads = [{c.source: c.u for c in combine((1.0,), (q,)).components} for q in quantities]
    alike = 0.0
    for source in set.intersection(*(set(each) for each in loads)):
        us = [each[source] for each in loads]
        if min(us) > 0 or max(us) < 0:
            alike += min(abs(u) for u in us) ** 2
    apart = max(mean.u**2 - alike, 0.0)
    extra = math.sqrt((birge**2 - 1) * apart)
    name = "photos disagree"
    return mean.plus(Component(name, f"repeats {what} {'+'.join(h[:8] for h in sorted(hashes))}", extra))


def outlying(quantities: Sequence[Quantity]) -> set[int]:
    """Indices of the fewest photos, a minority, without which the others agree."""
    rest = list(range(len(quantities)))
    out: set[int] = set()
    while len(rest) > 2 and 2 * (len(out) + 1) < len(quantities):
        left = [quantities[i] for i in rest]
        if consistency(left)[2] >= SIGNIFICANCE:
            break
        best = _most_at_odds(left)
        out.add(rest.pop(best))
    return out


def _most_at_odds(quantities: Sequence[Quantity]) -> int:
    """The one whose leaving brings chi-square down most."""
    without = [consistency([*quantities[:k], *quantities[k + 1 :]])[0] for k in range(len(quantities))]
    return int(np.argmin(without))
