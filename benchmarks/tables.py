"""Tables of errors by class, in Markdown, and the environment they were made in."""

from __future__ import annotations

import os
import platform
from collections import Counter
from collections.abc import Callable, Sequence

import cv2
import numpy as np
import scipy
from measured import Measured
from scipy import stats

from shared.version import version

FEWEST_PULLS = 5
HEAD = (
    "class",
    "line",
    "n",
    "refused",
    "flagged",
    "median \\|e\\|",
    "95 % \\|e\\|",
    "worst \\|e\\|",
    "median U",
    "U covers",
    "worst \\|e\\|/u",
)


def environment() -> str:
    """Versions and machine, one line."""
    parts = [f"{m.__name__} {m.__version__}" for m in (np, scipy, cv2)]
    return (
        f"ribangle {version()}, Python {platform.python_version()}, "
        + ", ".join(parts)
        + f"; {platform.system()} {platform.machine()}, {os.cpu_count()} cores"
    )


def markdown(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """A Markdown table; numbers stand to the right."""
    line = [
        "| " + " | ".join(head) + " |",
        "|" + "|".join("---" if k < 2 else "--:" for k in range(len(head))) + "|",
    ]
    return "\n".join(line + ["| " + " | ".join(r) + " |" for r in rows])


def by_class(found: Sequence[Measured], key: Callable[[Measured], str] = lambda m: m.group) -> str:
    """Errors by class and line; flagged values count, refused ones do not."""
    rows = []
    groups = sorted({key(m) for m in found})
    for line in ("chord", "spar"):
        for group in (*groups, "all"):
            some = [m for m in found if m.line == line and group in ("all", key(m))]
            if some:
                rows.append(_row(group, line, some))
    return markdown(HEAD, rows)


def _row(group: str, line: str, some: Sequence[Measured]) -> tuple[str, ...]:
    values = [m for m in some if not m.refused]
    counts = (
        group,
        line,
        str(len(some)),
        str(len(some) - len(values)),
        str(sum(bool(m.flags) for m in values)),
    )
    if not values:
        return (*counts, *["-"] * (len(HEAD) - len(counts)))
    error, u = np.abs([m.error for m in values]), np.array([m.u for m in values])
    shown = (np.median(error), np.quantile(error, 0.95), error.max(), 2 * np.median(u))
    covered = 100 * np.mean(error <= 2 * u)
    return (*counts, *(f"{v:.3f}" for v in shown), f"{covered:.0f} %", f"{(error / u).max():.1f}")


PULLS = ("class", "line", "n", "mean", "sd", "excess kurtosis", "U covers", "median U / 95 % \\|e\\|")


def pulls(found: Sequence[Measured]) -> str:
    """Pulls, error / u, by class and line: honest u gives mean 0, sd 1, excess kurtosis 0 and 95 % covered.

    The last column tells whether U is honest or merely safe: 1 where it is as large as errors are. Values of
    one photo's two lines share errors, so that their numbers are not independent.
    """
    rows = []
    for line in ("chord", "spar"):
        for group in (*sorted({m.group for m in found}), "all"):
            some = [m for m in found if m.line == line and group in ("all", m.group) and not m.refused]
            if len(some) >= FEWEST_PULLS:
                e, u = np.array([m.error for m in some]), np.array([m.u for m in some])
                pull = e / u
                shown = (pull.mean(), pull.std(ddof=1), stats.kurtosis(pull, bias=False))
                covered = f"{100 * np.mean(np.abs(pull) <= 2):.0f} %"
                ratio = 2 * np.median(u) / np.quantile(np.abs(e), 0.95)
                rows.append((group, line, str(len(some)), *(f"{v:+.2f}" for v in shown), covered, f"{ratio:.1f}"))
    return markdown(PULLS, rows) if rows else "Too few values for pulls."


def faults(found: Sequence[Measured]) -> str:
    """What went wrong: unflagged errors beyond 3 u, refusals with reasons, flags by how often."""
    wrong = [f"- {m.photo}, {m.line} ({m.group}): error {m.error:+.3f}, u {m.u:.3f}" for m in found if m.wrong]
    late = [
        f"- {m.photo}, {m.line} ({m.group}): error {m.error:+.3f}, u {m.u:.3f}, flags {', '.join(m.flags)}"
        for m in found
        if not m.refused and abs(m.error) > 3 * m.u and m.flags
    ]
    refused = [f"- {m.photo}, {m.line} ({m.group}): {m.reason}" for m in found if m.refused]
    flags = Counter(f for m in found for f in m.flags)
    parts = [
        f"Errors beyond 3 u without a flag: {len(wrong) or 'none'}.",
        *wrong,
        "",
        f"Errors beyond 3 u with a flag: {len(late) or 'none'}.",
        *late,
        "",
        f"Refused: {len(refused) or 'none'}.",
        *refused,
        "",
        "Flags: " + (", ".join(f"{k} {n}" for k, n in flags.most_common()) or "none") + ".",
    ]
    return "\n".join(parts)
