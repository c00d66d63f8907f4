"""Pictures of how honest u is: errors against u, and the histogram of pulls."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure
from measured import Measured
from scipy import stats

from shared.files import write_whole


def plot_pulls(found: Sequence[Measured], path: Path) -> None:
    """Write a PNG: |error| against u with the lines of u, U and 3 u; pulls beside the standard normal."""
    values = [m for m in found if not m.refused]
    figure = Figure(figsize=(10, 4.2), layout="constrained")
    left, right = figure.subplots(1, 2)
    for line, colour in (("chord", "tab:blue"), ("spar", "tab:orange")):
        some = [m for m in values if m.line == line]
        clear = [m for m in some if not m.flags]
        for marker, part, label in (
            ("o", clear, line),
            ("x", [m for m in some if m.flags], f"{line}, flagged"),
        ):
            left.loglog(
                [m.u for m in part],
                [max(abs(m.error), 1e-4) for m in part],
                marker,
                color=colour,
                ms=4,
                label=label,
            )
    span = np.array([m.u for m in values])
    ends = np.array([span.min() / 1.3, span.max() * 1.3])
    for factor, style, text in ((1, ":", "u"), (2, "--", "U = 2 u"), (3, "-", "3 u")):
        left.plot(ends, factor * ends, style, color="0.4", lw=1, label=text)
    left.set(xlabel="u, degrees", ylabel="|error|, degrees", title="Errors against u")
    left.legend(fontsize=8)
    pulls = np.clip([m.error / m.u for m in values], -5, 5)
    right.hist(pulls, bins=np.linspace(-5, 5, 41), density=True, color="0.7")
    x = np.linspace(-5, 5, 200)
    right.plot(x, stats.norm.pdf(x), "k-", lw=1, label="standard normal")
    right.set(xlabel="error / u (beyond 5: at 5)", title=f"Pulls of {len(pulls)} values")
    right.legend(fontsize=8)
    stream = io.BytesIO()
    figure.savefig(stream, format="png", dpi=110)
    write_whole(path, stream.getvalue())
