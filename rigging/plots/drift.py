"""What moved between two surveys, station by station."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rigging.plots.canvas import (
    BLUE,
    GREY,
    ORANGE,
    Plot,
    look,
    name_ticks,
    new_figure,
    tidy_degrees,
    width_for,
)
from shared.quantity import Quantity
from shared.rounding import degrees


@dataclass(frozen=True)
class LineShift:
    """One line's angle in two surveys. change : second minus first, shared parts cancelled, degrees."""

    station: str
    line: str
    change: Quantity

    @property
    def moved(self) -> bool:
        """Whether it changed by more than the uncertainty of the change."""
        return abs(self.change.value) > self.change.U


def drift_plot(drifts: Sequence[LineShift], title: str = "What moved") -> Plot | None:
    """Change with its U at every station, from zero; None without any.

    Stations that moved by more than U are bold.
    """
    if not drifts:
        return None
    names = list(dict.fromkeys(d.station for d in drifts))
    lines = list(dict.fromkeys(d.line for d in drifts))
    with look():
        figure, (axes,) = new_figure(height=3.2, width=width_for(len(names)))
        figure.suptitle(title, x=0.01, ha="left", fontsize=10.5, weight="bold")  # it stands on its own
        axes.axhline(0, color=GREY, lw=0.8)
        for k, line in enumerate(lines):
            colour, marker = ((BLUE, "o"), (ORANGE, "^"), (GREY, "D"))[k % 3]
            own = [d for d in drifts if d.line == line]
            at = np.array([names.index(d.station) for d in own]) + 0.28 * (k - (len(lines) - 1) / 2)
            for x, d in zip(at, own, strict=True):
                axes.plot([x, x], [0, d.change.value], color=colour, lw=2.4, alpha=0.45)
                axes.errorbar(
                    x,
                    d.change.value,
                    d.change.U,
                    marker=marker,
                    color=colour,
                    mfc=colour if d.moved else "white",
                    ls="none",
                    label=f"{line} line" if d is own[0] else None,
                )
        name_ticks(axes, names)
        moved = {d.station for d in drifts if d.moved}
        for tick, station in zip(axes.get_xticklabels(), names, strict=True):
            tick.set_fontweight("bold" if station in moved else "normal")
        axes.set_ylabel("change, nose-up positive")
        tidy_degrees(axes)
        axes.margins(x=0.08, y=0.12)
        axes.legend(
            loc="upper center",
            bbox_to_anchor=(0.5, -0.1),
            ncols=3,
            title="filled, station in bold: moved by more than U",
            title_fontsize=8.5,
        )
    words = "; ".join(f"{d.station} {d.line} {degrees(d.change, True)}{', moved' if d.moved else ''}" for d in drifts)
    return Plot("drift", title, f"Change between two surveys with its U. {words}.", figure)
