"""Left minus right along the span, with its tolerance."""

from __future__ import annotations

import numpy as np

from rigging.plots.canvas import BAND, BLUE, GREY, Plot, look, name_ticks, new_figure, tidy_degrees, width_for
from rigging.survey.model import Survey
from shared.rounding import degrees

_FACES = {"conforming": BLUE, "nonconforming": "white", "undecided": "#9cc6df"}


def symmetry_plot(survey: Survey) -> Plot | None:
    """Left minus right at every pair of stations; None without a pair."""
    pairs = survey.symmetry
    if not pairs:
        return None
    with look():
        figure, (axes,) = new_figure(height=2.9, width=width_for(len(pairs)))
        at = np.arange(len(pairs), dtype=float)
        band = np.array([p.decision.tolerance_deg for p in pairs])
        edges = np.concatenate([[-0.5], at + 0.5])
        axes.fill_between(
            edges,
            -np.append(band, band[-1]),
            np.append(band, band[-1]),
            step="post",
            color=BAND,
            lw=0,
            label="tolerance",
        )
        axes.axhline(0, color=GREY, lw=0.8)
        for k, p in enumerate(pairs):
            axes.errorbar(at[k], p.quantity.value, p.quantity.U, color=BLUE, marker="o", mfc=_FACES[p.decision.outcome])
        name_ticks(axes, [f"{p.left}\n{p.right}" for p in pairs])
        axes.set_xlim(-0.5, len(pairs) - 0.5)
        axes.set_ylabel("left − right")
        axes.set_xlabel("filled: conforming; pale: undecided; hollow: nonconforming", fontsize=9)
        tidy_degrees(axes)
    words = "; ".join(f"{p.left} minus {p.right} {degrees(p.quantity, True)}, {p.decision.outcome}" for p in pairs)
    return Plot("symmetry", "Left minus right", f"Left minus right with tolerance band. {words}.", figure)
