"""Pictures of the cross-check: difference against mean with limits; per station with error bars."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from rigging.crosscheck_types import Agreement, CrossCheck, Pair
from shared.gauge_readings import Line

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK = {"chord": "#1f4e79", "spar": "#8c4a00"}
MARK = {"chord": "o", "spar": "s"}


def crosscheck_figure(check: CrossCheck) -> Figure:
    """Per station above (camera - gauge, bars +- U of the difference), difference against mean below.

    Chord and spar lines, 90 degrees apart, have a panel each below. Hollow points: |En| > 1.
    """
    from matplotlib.figure import Figure

    lines: list[Line] = [line for line in ("chord", "spar") if any(p.line == line for p in check.pairs)]
    figure = Figure(figsize=(9.0, 6.4), layout="constrained")
    grid = figure.add_gridspec(2, max(len(lines), 1))
    _stations(figure.add_subplot(grid[0, :]), check, lines)
    limits = dict(check.by_line)
    for i, line in enumerate(lines):
        pairs = [p for p in check.pairs if p.line == line]
        _bland_altman(figure.add_subplot(grid[1, i]), pairs, limits.get(line), line)
    return figure


def crosscheck_png(check: CrossCheck, dpi: int = 130) -> bytes:
    """The figure as PNG bytes."""
    stream = io.BytesIO()
    crosscheck_figure(check).savefig(stream, format="png", dpi=dpi)
    return stream.getvalue()


def _stations(axes: Axes, check: CrossCheck, lines: list[Line]) -> None:
    names = list(dict.fromkeys(p.station for p in check.pairs))
    for k, line in enumerate(lines):
        shift = (k - (len(lines) - 1) / 2) * 0.25
        for j, p in enumerate(p for p in check.pairs if p.line == line):
            axes.errorbar(
                names.index(p.station) + shift, p.difference.value, yerr=p.difference.U, fmt=MARK[line],
                color=INK[line], capsize=3, markersize=6, mfc=INK[line] if p.agrees else "white",
                label=line if j == 0 else None,
            )  # fmt: skip
    axes.axhline(0, color="0.5", linewidth=0.8)
    axes.set_xticks(range(len(names)), names)
    axes.set_xlim(-0.6, len(names) - 0.4)
    axes.set_ylabel("camera − gauge, deg (bars: ±U)")
    axes.set_title("Station by station (hollow: |En| > 1)", fontsize=10, loc="left")
    if lines:
        axes.legend(frameon=False, ncols=2, fontsize=9)


def _bland_altman(axes: Axes, pairs: list[Pair], a: Agreement | None, line: Line) -> None:
    means = [(p.camera.value + p.gauge.value) / 2 for p in pairs]
    for x, p in zip(means, pairs, strict=True):
        axes.plot(x, p.difference.value, MARK[line], color=INK[line], markersize=6,
                  mfc=INK[line] if p.agrees else "white")  # fmt: skip
        if a is not None and not a.lower.value <= p.difference.value <= a.upper.value:
            axes.annotate(p.station, (x, p.difference.value), xytext=(7, -3), textcoords="offset points")
    axes.axhline(0, color="0.5", linewidth=0.8)
    if a is not None:
        for name, interval, style in (("bias", a.bias, "-"), ("+1.96 sd", a.upper, "--"),
                                      ("−1.96 sd", a.lower, "--")):  # fmt: skip
            axes.axhspan(interval.low, interval.high, color=INK[line], alpha=0.10, linewidth=0)
            axes.axhline(interval.value, color=INK[line], linestyle=style, linewidth=1)
            axes.annotate(f"{name}\n{interval.value:+.2f}", (1, interval.value), xytext=(4, 0), va="center",
                          xycoords=("axes fraction", "data"), textcoords="offset points", fontsize=8)  # fmt: skip
    axes.margins(x=0.12, y=0.15)
    axes.set_xlabel(f"mean of camera and gauge, {line}, deg")
    axes.set_ylabel("camera − gauge, deg")
    title = f"{line}: bias, 95 % limits (bands: 95 % CI), n = {len(pairs)}"
    axes.set_title(title, fontsize=10, loc="left")
