"""Pulls: error over standard uncertainty. Their statistics by class, and pictures of them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.stats import beta, kurtosis, norm
from tables import markdown

K = 2.0
FEW = 30
"""Below so many values a class is shown but not judged."""


@dataclass(frozen=True)
class Pull:
    """One angle with its error. what : "washout"... classes : set-up. flags : codes that doubt it."""

    what: str
    classes: tuple[str, ...]
    error: float
    u: float
    flags: tuple[str, ...] = ()
    reason: str | None = None

    @property
    def refused(self) -> bool:
        """Whether there is no value."""
        return self.reason is not None

    @property
    def pull(self) -> float:
        """Error over standard uncertainty."""
        return self.error / self.u

    @property
    def wrong(self) -> bool:
        """Beyond 3 u without a flag."""
        return not self.refused and not self.flags and abs(self.pull) > 3


@dataclass(frozen=True)
class Stats:
    """Statistics of one class.

    low, high : 95 % confidence interval of the coverage (Clopper and Pearson, Biometrika 26, 1934).
    ratio : median U over the error that 95 % stay within.
    """

    n: int
    refused: int
    mean: float
    sd: float
    kurtosis: float
    coverage: float
    low: float
    high: float
    error95: float
    median_U: float
    wrong: int

    @property
    def ratio(self) -> float:
        """How safe U is: 1 is just right, over 2 is timid."""
        return self.median_U / self.error95


def stats(found: Sequence[Pull]) -> Stats:
    """Statistics of some pulls; the flagged count, the refused do not."""
    values = [p for p in found if not p.refused]
    pulls = np.array([p.pull for p in values])
    errors = np.abs([p.error for p in values])
    n, inside = len(values), int((np.abs(pulls) <= K).sum())
    low = float(beta.ppf(0.025, inside, n - inside + 1)) if inside else 0.0
    high = float(beta.ppf(0.975, inside + 1, n - inside)) if inside < n else 1.0
    return Stats(
        n,
        len(found) - n,
        float(pulls.mean()),
        float(pulls.std(ddof=1)),
        float(kurtosis(pulls)),
        inside / n,
        low,
        high,
        float(np.quantile(errors, 0.95)),
        K * float(np.median([p.u for p in values])),
        sum(p.wrong for p in values),
    )


HEAD = (
    "class", "angle", "n", "refused", "mean pull", "sd", "excess kurtosis", "U covers", "95 % interval",
    "95 % \\|e\\|", "median U", "U / 95 % \\|e\\|", "beyond 3 u unflagged",
)  # fmt: skip


def table(found: Sequence[Pull], groups: Sequence[str]) -> str:
    """Markdown, one row for each group and angle; "all" takes every class."""
    rows = []
    for what in dict.fromkeys(p.what for p in found):
        for group in groups:
            some = [p for p in found if p.what == what and (group == "all" or group in p.classes)]
            if sum(not p.refused for p in some) > 1:
                rows.append(_row(group, what, stats(some)))
    return markdown(HEAD, rows)


def _row(group: str, what: str, s: Stats) -> tuple[str, ...]:
    return (
        group, what, str(s.n), str(s.refused), f"{s.mean:+.2f}", f"{s.sd:.2f}", f"{s.kurtosis:+.2f}",
        f"{100 * s.coverage:.1f} %", f"{100 * s.low:.0f} to {100 * s.high:.0f} %", f"{s.error95:.3f}",
        f"{s.median_U:.3f}", f"{s.ratio:.2f}", str(s.wrong),
    )  # fmt: skip


def draw_histogram(found: Sequence[Pull], path: Path) -> None:
    """Pulls of each angle as a density, beside the standard normal law."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    kinds = list(dict.fromkeys(p.what for p in found))
    columns = min(3, len(kinds))
    rows = math.ceil(len(kinds) / columns)
    figure, axes = plt.subplots(rows, columns, figsize=(3.5 * columns, 2.6 * rows), squeeze=False, sharex=True)
    x = np.linspace(-4.5, 4.5, 200)
    for axis, what in zip(axes.flat, kinds, strict=False):
        pulls = np.array([p.pull for p in found if p.what == what and not p.refused])
        axis.hist(np.clip(pulls, -4.45, 4.45), bins=np.arange(-4.5, 4.6, 0.3), density=True, color="#8fb8de",
                  edgecolor="white", linewidth=0.4)  # fmt: skip
        axis.plot(x, norm.pdf(x), color="#1b1b1b", linewidth=1.2)
        axis.set_title(f"{what} (n {len(pulls)})", fontsize=9)
        axis.set_yticks([])
        for side in ("top", "right", "left"):
            axis.spines[side].set_visible(False)
    for axis in axes.flat[len(kinds) :]:
        axis.set_visible(False)
    figure.supxlabel("error / u;  line: standard normal law;  ends hold what lies beyond", fontsize=9)
    figure.tight_layout()
    figure.savefig(path, dpi=110)
    plt.close(figure)


def draw_coverage(found: Sequence[Pull], groups: Sequence[str], what: str, path: Path) -> None:
    """Coverage of U by class with its 95 % interval, and the band asked for."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    members = {g: [p for p in found if p.what == what and (g == "all" or g in p.classes)] for g in groups}
    shown = [(g, stats(m)) for g, m in members.items() if sum(not p.refused for p in m) >= FEW]
    figure, axis = plt.subplots(figsize=(7.0, 0.34 * len(shown) + 1.2))
    axis.axvspan(92, 98, color="#e8efe2", label="92 to 98 %, asked of all together")
    axis.axvline(88, color="#b35900", linestyle=":", label="88 %, asked of every class")
    for y, (_, s) in enumerate(reversed(shown)):
        axis.plot([100 * s.low, 100 * s.high], [y, y], color="#2f6690", linewidth=2)
        axis.plot(100 * s.coverage, y, "o", color="#2f6690")
    axis.set_yticks(range(len(shown)), [f"{g} (n {s.n})" for g, s in reversed(shown)], fontsize=8)
    axis.set_xlim(84, 100.5)
    axis.set_xlabel(f"how often U covers the truth, % ({what})", fontsize=9)
    axis.legend(fontsize=7.5, loc="lower left", frameon=False)
    for side in ("top", "right"):
        axis.spines[side].set_visible(False)
    figure.tight_layout()
    figure.savefig(path, dpi=110)
    plt.close(figure)
