"""Camera against inclinometer: difference against mean with limits of agreement, and station by station."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from rigging.crosscheck.types import Agreement, CrossCheck, Pair
from rigging.plots.canvas import (
    BLUE,
    GREY,
    ORANGE,
    Plot,
    look,
    name_ticks,
    new_figure,
    short,
    tidy_degrees,
    width_for,
)
from shared.rounding import degrees, number


def agreement_plot(check: CrossCheck) -> Plot | None:
    """Difference against mean, chord and spar lines side by side (Bland and Altman, Lancet 1986).

    None without pairs. Bias and limits are those of all pairs together.
    """
    lines = [line for line in ("chord", "spar") if any(p.line == line for p in check.pairs)]
    if not lines:
        return None
    with look():
        figure, panels = new_figure(1, len(lines), height=3.1, share_y=True)
        for axes, line in zip(panels, lines, strict=True):
            own = [p for p in check.pairs if p.line == line]
            axes.set_title(f"{line} line")
            for agrees in (True, False):
                _points(axes, [p for p in own if p.agrees == agrees], agrees, check.agreement)
            axes.axhline(0, color=GREY, lw=0.8)
            if check.agreement is not None:
                axes.axhline(check.agreement.bias.value, color=BLUE, lw=1.2)
                for limit in (check.agreement.lower, check.agreement.upper):
                    axes.axhline(limit.value, color=BLUE, lw=1.0, ls="--")
            axes.set_xlabel("mean of the two")
            axes.xaxis.set_major_formatter(lambda v, _: f"{v:g}°".replace("-", "\N{MINUS SIGN}"))
            axes.xaxis.set_major_locator(MaxNLocator(4))
            axes.margins(x=0.14, y=0.12)
        panels[0].set_ylabel("camera − inclinometer")
        figure.supxlabel("line: bias; dashed: 95 % limits of agreement; hollow: |En| > 1", fontsize=9)
        tidy_degrees(panels[0])
    return Plot("agreement", "Difference against mean", _agreement_words(check), figure)


def station_plot(check: CrossCheck) -> Plot | None:
    """Camera minus inclinometer station by station with U of the difference; None without pairs."""
    if not check.pairs:
        return None
    names = list(dict.fromkeys(p.station for p in check.pairs))
    with look():
        figure, (axes,) = new_figure(height=3.2, width=width_for(len(names)))
        for line, marker, shift, colour in (("chord", "o", -0.14, BLUE), ("spar", "^", 0.14, ORANGE)):
            own = [p for p in check.pairs if p.line == line]
            if own:
                axes.plot([], [], ls="none", marker=marker, color=colour, label=f"{line} line")
            for p in own:
                axes.errorbar(
                    names.index(p.station) + shift,
                    p.difference.value,
                    p.difference.U,
                    marker=marker,
                    color=colour,
                    mfc=colour if p.agrees else "white",
                    ls="none",
                )
        axes.axhline(0, color=GREY, lw=0.8)
        name_ticks(axes, names)
        axes.set_ylabel("camera − inclinometer")
        tidy_degrees(axes)
        axes.legend(
            loc="upper center", bbox_to_anchor=(0.5, -0.1), ncols=2, title="hollow: |En| > 1", title_fontsize=8.5
        )
    words = "; ".join(
        f"{p.station} {p.line} {degrees(p.difference, True)}, En {number(p.en, 1, True)}" for p in check.pairs
    )
    return Plot("stations", "Station by station", f"Differences with U, station by station. {words}.", figure)


def _points(axes: Axes, pairs: Sequence[Pair], agrees: bool, limits: Agreement | None) -> None:
    """Pairs as dots, hollow beyond |En| = 1; those outside the limits of agreement carry their names."""
    for p in pairs:
        x, y = (p.camera.value + p.gauge.value) / 2, p.difference.value
        axes.plot(x, y, ls="none", marker="o", color=BLUE, mfc=BLUE if agrees else "white")
        if limits is not None and not limits.lower.value <= y <= limits.upper.value:
            axes.annotate(short(p.station), (x, y), (6, 3), textcoords="offset points", fontsize=9)


def _agreement_words(check: CrossCheck) -> str:
    words = f"Camera minus inclinometer against their mean, {len(check.pairs)} pairs."
    if check.agreement is not None:
        a = check.agreement
        words += (
            f" Bias {number(a.bias.value, 3, True)} degrees, 95 % limits of agreement "
            f"{number(a.lower.value, 3, True)} and {number(a.upper.value, 3, True)}."
        )
    worst = [f"{p.station} {p.line}" for p in check.disagreeing]
    return words + (f" Beyond |En| = 1: {', '.join(worst)}." if worst else " All within |En| = 1.")
