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
from functools import cached_property

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

    @cached_property
    def u(self) -> float:
        """Combined standard uncertainty."""
        return math.sqrt(math.fsum(u * u for u in self.loadings.values()))

    @cached_property
    def loadings(self) -> dict[str, float]:
        """Signed loading on each source, those of equal sources added; not to be changed."""
        sums: dict[str, float] = {}
        for c in self.components:
            sums[c.source] = sums.get(c.source, 0.0) + c.u
        return sums

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

    >>> root = Quantity(2.0, (Component("lens", "lens:a", 0.03), Component("line", "photo:1", 0.04)))
    >>> tip = Quantity(0.5, (Component("lens", "lens:a", 0.03), Component("line", "photo:2", 0.04)))
    >>> washout = combine([1, -1], [root, tip])
    >>> washout.value, round(root.u, 3), round(washout.u, 3)  # the lens cancels, the lines do not
    (1.5, 0.05, 0.057)
    """
    value = math.fsum(w * q.value for w, q in zip(weights, quantities, strict=True))
    sums: dict[str, float] = {}
    names: dict[str, str] = {}
    for w, q in zip(weights, quantities, strict=True):
        for c in q.components:
            sums[c.source] = sums.get(c.source, 0.0) + w * c.u
            names.setdefault(c.source, c.name)
    return Quantity(value, tuple(Component(names[source], source, u) for source, u in sums.items()))


def covariance(a: Quantity, b: Quantity) -> float:
    """Covariance of two quantities from the sources they share.

    a, b : whose components on equal sources multiply; the unit is the product of theirs (GUM F.1.2.3).

    >>> a = Quantity(1.0, (Component("lens", "lens:a", 0.03),))
    >>> b = Quantity(2.0, (Component("lens", "lens:a", 0.02), Component("line", "photo:2", 0.05)))
    >>> round(covariance(a, b), 6)
    0.0006
    """
    few, many = sorted((a.loadings, b.loadings), key=len)
    return math.fsum(u * many[source] for source, u in few.items() if source in many)


def u_of_difference(a: Quantity, b: Quantity) -> float:
    """Standard uncertainty of a - b, what they share taken out."""
    mine, theirs = a.loadings, b.loadings
    gaps = [u - theirs.get(source, 0.0) for source, u in mine.items()]
    gaps += [u for source, u in theirs.items() if source not in mine]
    return math.sqrt(math.fsum(g * g for g in gaps))


def _merged(components: Iterable[Component]) -> list[Component]:
    """One component a source, loadings added; the first name given to a source stays."""
    sums: dict[str, tuple[str, float]] = {}
    for c in components:
        name, u = sums.get(c.source, (c.name, 0.0))
        sums[c.source] = (name, u + c.u)
    return [Component(name, source, u) for source, (name, u) in sums.items()]
