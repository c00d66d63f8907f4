"""How the chord angle changed during a live run."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rigging.live.setting import Moment
from rigging.plots.canvas import BAND, BLUE, GREY, ORANGE, Plot, look, new_figure, tidy_degrees
from shared.rounding import degrees


def live_plot(station: str, moments: Sequence[Moment]) -> Plot | None:
    """Change since the first photo with its U, over minutes; None where nothing was measured against it.

    Where the camera was moved the curve starts again from zero.
    """
    seen = [(m, m.change.turn) for m in moments if m.change is not None and m.change.turn is not None]
    if not seen:
        return None
    begun = moments[0].at
    with look():
        figure, (axes,) = new_figure(height=3.2)
        axes.axhline(0, color=GREY, lw=0.8)
        for since in dict.fromkeys(m.since for m, _ in seen):
            own = [(m, q) for m, q in seen if m.since == since]
            t = np.array([(m.at - begun).total_seconds() / 60 for m, _ in own])
            v, u = np.array([q.value for _, q in own]), np.array([q.U for _, q in own])
            axes.fill_between(t, v - u, v + u, color=BAND, lw=0)
            axes.plot(t, v, color=BLUE, marker="o" if len(t) < 60 else "", ms=3.5)
        for m in moments:
            if m.state == "camera moved":
                axes.axvline((m.at - begun).total_seconds() / 60, color=ORANGE, ls="--", lw=1.2)
                axes.annotate(
                    "camera moved",
                    ((m.at - begun).total_seconds() / 60, 0.98),
                    xycoords=("data", "axes fraction"),
                    rotation=90,
                    va="top",
                    ha="right",
                    fontsize=8,
                    color=ORANGE,
                )
        axes.set_xlabel("minutes since the first photo")
        axes.set_ylabel("change, nose-up positive")
        tidy_degrees(axes)
    title = f"Change of the chord angle at {station}"
    last = seen[-1][1]
    return Plot(
        "live", title, f"{title} since the first photo, band: U. At the end {degrees(last, sign=True)}.", figure
    )
