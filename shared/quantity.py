"""A value with its uncertainty kept in parts, so that what two values share stays shared.

Follows JCGM 100:2008 (GUM): the value is linear in independent unit variates, each named by its
*source* ("photo:3fa2 line", "lens:fieldcam-f1 axis 3"). A component is the signed loading of the
value on one source, in the value's unit. Two values that carry the same source are correlated
through it; in their difference it cancels as far as the loadings agree (GUM 5.2.2 and F.1.2.3).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

K = 2.0
"""Coverage factor of U, about 95 % for a normal distribution (GUM 6.3)."""


@dataclass(frozen=True)
class Component:
    """One part of an uncertainty.

    name : for people ("rib plane tilt"); several components may carry the same name.
    source : the independent variate behind it; equal sources are one and the same error.
    u : signed standard uncertainty, the value's change for one standard deviation of the source.
    """

    name: str
    source: str
    u: float


@dataclass(frozen=True)
class Quantity:
    """A value and its components. An unknown uncertainty is NaN, never zero."""

    value: float
    components: tuple[Component, ...] = ()

    @property
    def u(self) -> float:
        """Combined standard uncertainty."""
        return math.sqrt(math.fsum(c.u * c.u for c in _merged(self.components)))

    @property
    def U(self) -> float:
        """Expanded uncertainty, k = 2."""
        return K * self.u

    def budget(self) -> dict[str, float]:
        """Standard uncertainty by component name, largest first."""
        sums: dict[str, float] = {}
        for c in _merged(self.components):
            sums[c.name] = sums.get(c.name, 0.0) + c.u * c.u
        return {n: math.sqrt(s) for n, s in sorted(sums.items(), key=lambda item: -item[1])}

    def without(self, *names: str) -> Quantity:
        """The same value without the components of these names."""
        return Quantity(self.value, tuple(c for c in self.components if c.name not in names))

    def plus(self, *components: Component) -> Quantity:
        """The same value with further components."""
        return Quantity(self.value, self.components + components)

    def shifted(self, by: float) -> Quantity:
        """The value moved by an exact number."""
        return Quantity(self.value + by, self.components)

    def __neg__(self) -> Quantity:
        return combine((-1.0,), (self,))

    def __add__(self, other: Quantity) -> Quantity:
        return combine((1.0, 1.0), (self, other))

    def __sub__(self, other: Quantity) -> Quantity:
        return combine((1.0, -1.0), (self, other))

    def scaled(self, factor: float) -> Quantity:
        """The quantity times an exact number.

        factor : of either sign; value and every loading are multiplied by it.
        """
        return combine((factor,), (self,))


def combine(weights: Sequence[float], quantities: Sequence[Quantity]) -> Quantity:
    """Weighted sum of quantities; loadings on a shared source add with their signs (GUM eq. 16).

    weights : one for each quantity, exact numbers. Raises ValueError where their numbers differ.
    """
    value = math.fsum(w * q.value for w, q in zip(weights, quantities, strict=True))
    parts = [
        Component(c.name, c.source, w * c.u) for w, q in zip(weights, quantities, strict=True) for c in q.components
    ]
    return Quantity(value, tuple(_merged(parts)))


def covariance(a: Quantity, b: Quantity) -> float:
    """Covariance of two quantities from the sources they share.

    a, b : whose components on equal sources multiply; the unit is the product of theirs (GUM F.1.2.3).
    """
    theirs = {c.source: c.u for c in _merged(b.components)}
    return math.fsum(c.u * theirs.get(c.source, 0.0) for c in _merged(a.components))


def _merged(components: Iterable[Component]) -> list[Component]:
    """One component a source, loadings added; the first name given to a source stays."""
    sums: dict[str, tuple[str, float]] = {}
    for c in components:
        name, u = sums.get(c.source, (c.name, 0.0))
        sums[c.source] = (name, u + c.u)
    return [Component(name, source, u) for source, (name, u) in sums.items()]
