"""The budget of an uncertainty as bars, largest first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from rigging.plots.canvas import BLUE, Plot, look, new_figure
from shared.quantity import K, Quantity
from shared.rounding import number, places

MOST_BARS = 10


def shares(quantity: Quantity) -> list[tuple[str, float, float]]:
    """(name, u in degrees, share of the variance 0 to 1), largest first; NaN shares when u is unknown."""
    total = quantity.u**2
    return [(name, u, u * u / total if total > 0 else float("nan")) for name, u in quantity.budget().items()]


def mean_budget(quantities: Sequence[Quantity]) -> dict[str, float]:
    """Root mean square of each component over several quantities, largest first."""
    sums: dict[str, float] = {}
    for q in quantities:
        for name, u in q.budget().items():
            sums[name] = sums.get(name, 0.0) + u * u
    order = sorted(sums.items(), key=lambda item: -item[1])
    return {name: float(np.sqrt(s / len(quantities))) for name, s in order}


def largest(budget: Mapping[str, float], most: int) -> list[tuple[str, float]]:
    """The components, largest first; those beyond `most` put together (root of the sum of squares)."""
    parts = sorted(budget.items(), key=lambda item: -item[1])
    if len(parts) <= most:
        return parts
    rest = float(np.sqrt(sum(u * u for _, u in parts[most - 1 :])))
    return [*parts[: most - 1], (f"the other {len(parts) - most + 1}", rest)]


def budget_plot(budget: Mapping[str, float], title: str, name: str = "budget") -> Plot | None:
    """Bars of u by component, largest first, and the sum of squares below; None for an empty budget.

    budget : component name -> standard uncertainty, degrees.
    """
    if not budget:
        return None
    parts = largest(budget, MOST_BARS)
    total = float(np.sqrt(sum(u * u for _, u in parts)))
    n = places(K * total) + 1
    rows = [*parts, ("all together, u", total)]
    with look():
        figure, (axes,) = new_figure(height=0.9 + 0.3 * len(rows))
        at = np.arange(len(rows))[::-1]
        bars = axes.barh(at, [u for _, u in rows], height=0.66, color=BLUE, edgecolor=BLUE)
        bars[-1].set(facecolor="white", hatch="////")
        for y, (_, u) in zip(at, rows, strict=True):
            share = f"  {100 * u * u / total**2:.0f} %" if y and total > 0 else ""
            axes.annotate(
                f"{number(u, n)}°{share}", (u, float(y)), (4, 0), textcoords="offset points", va="center", fontsize=9
            )
        axes.set_yticks(at, [label for label, _ in rows])
        figure.supxlabel("standard uncertainty u, and its share of u² in percent", fontsize=9)
        axes.set_xlim(0, 1.35 * total)
        axes.xaxis.set_major_formatter(lambda v, _: f"{v:g}°")
        axes.grid(axis="y", visible=False)
    words = "; ".join(f"{label} {number(u, n)} degrees" for label, u in rows)
    return Plot(name, title, f"{title}, largest first. {words}.", figure)
